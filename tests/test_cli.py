"""The command line: exit statuses, one-line reasons, nothing written by a run that fails."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from unfold.cli import EXAMPLES, main, parser


def unfold(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the command as a user does."""
    command = [sys.executable, "-m", "unfold", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)


def bad_scans(folder: Path) -> dict[str, Path]:
    """Write one file of every kind that cannot be measured."""
    random = np.random.default_rng(0)
    ball = random.normal(size=(20_000, 3))
    ball /= np.linalg.norm(ball, axis=1)[:, None]
    floor = np.c_[random.uniform(0, 5, (20_000, 2)), random.normal(0, 0.002, 20_000)]
    clouds = {
        "same point": np.ones((5000, 3)),
        "not a number": np.full((5000, 3), np.nan),
        "only a floor": floor,
        "noise": random.uniform(0, 4, (20_000, 3)),
        "sphere": ball,
        "few points": random.uniform(0, 4, (500, 3)),
    }
    paths = {}
    for name, cloud in clouds.items():
        paths[name] = folder / f"{name.replace(' ', '_')}.xyz"
        np.savetxt(paths[name], cloud, fmt="%.4f")
    picture = b"\x89PNG\r\n\x1a\n" + b"pixels" * 500
    contents = {"empty.ply": b"", "wrong_type.e57": picture, "cut.las": b"LASF" + b"\0" * 90}
    for file, content in contents.items():
        paths[file] = folder / file
        paths[file].write_bytes(content)
    paths["missing"] = folder / "missing.e57"
    paths["a folder"] = folder
    return paths


KINDS = [
    "same point", "not a number", "only a floor", "noise", "sphere", "few points", "empty.ply", "wrong_type.e57",
    "cut.las", "missing", "a folder",
]  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_what_cannot_be_measured_ends_with_one_line_and_nothing_written(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scans, jobs = tmp_path / "scans", tmp_path / "jobs"
    scans.mkdir()
    jobs.mkdir()
    status = main(["run", str(bad_scans(scans)[kind]), "--unit", "m", "--out", str(jobs / "job")])
    said = capsys.readouterr()
    assert status == 1
    assert said.out == ""
    assert said.err.startswith("unfold: ")
    assert said.err.count("\n") == 1 and "; " in said.err, "one line: what is wrong; what to do"
    assert list(jobs.iterdir()) == []


def test_wrong_command_lines_end_with_two() -> None:
    assert unfold("run", "scan.e57").returncode == 2
    assert unfold("measure").returncode == 2
    assert unfold("run", "scan.e57", "--out", "job", "--unit", "furlong").returncode == 2


def test_a_bad_setting_names_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = tmp_path / "job.toml"
    settings.write_text('[scan]\nunit = "m"\n\n[drawing]\ncolour = 3\n')
    assert main(["run", "scan.e57", "--out", str(tmp_path / "job"), "--settings", str(settings)]) == 2
    assert "job.toml:5" in capsys.readouterr().err


def test_help_is_quick_and_shows_examples_that_parse() -> None:
    shown = unfold("--help")
    assert shown.returncode == 0
    assert "--out hall-job" in shown.stdout
    for line in EXAMPLES.splitlines():
        if match := re.match(r"  unfold (.+?)(?:  | >|$)", line):
            parser().parse_args(match[1].split())


def test_heavy_libraries_are_loaded_only_by_the_verbs_that_need_them() -> None:
    code = "import sys, unfold.cli; print([n for n in ('numba', 'scipy', 'open3d', 'matplotlib') if n in sys.modules])"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"
