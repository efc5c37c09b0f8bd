"""A job folder appears whole or not at all, and never at the cost of what was there."""

from pathlib import Path

import pytest

from unfold.errors import SettingsError, UnfoldError
from unfold.job_folder.publishing import publish


def make_job(folder: Path, mark: str) -> None:
    with publish(folder) as draft:
        (draft / "elevations.json").write_text(mark)
        (draft / "heatmaps").mkdir()
        (draft / "heatmaps" / f"{mark}.png").write_text(mark)


def names(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def test_a_new_job_appears_and_nothing_else(tmp_path: Path) -> None:
    make_job(tmp_path / "deep" / "job", "first")
    assert names(tmp_path) == {"deep/job/elevations.json", "deep/job/heatmaps/first.png"}


def test_a_second_run_replaces_the_outputs_and_keeps_what_is_not_ours(tmp_path: Path) -> None:
    job = tmp_path / "job"
    make_job(job, "first")
    (job / "site notes.txt").write_text("tape in the van")
    make_job(job, "second")
    assert names(job) == {"elevations.json", "heatmaps/second.png", "site notes.txt"}
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_a_failed_run_leaves_the_earlier_job(tmp_path: Path) -> None:
    job = tmp_path / "job"
    make_job(job, "first")
    with pytest.raises(RuntimeError), publish(job) as draft:
        (draft / "elevations.json").write_text("half")
        raise RuntimeError
    assert (job / "elevations.json").read_text() == "first"
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


@pytest.mark.parametrize("stop", [RuntimeError, KeyboardInterrupt])
def test_a_failed_first_run_leaves_nothing(tmp_path: Path, stop: type[BaseException]) -> None:
    with pytest.raises(stop), publish(tmp_path / "deep" / "job") as draft:
        (draft / "elevations.json").write_text("half")
        raise stop
    assert list(tmp_path.iterdir()) == []


def test_part_of_a_job_is_replaced_and_the_rest_kept(tmp_path: Path) -> None:
    job = tmp_path / "job"
    make_job(job, "first")
    with publish(job, keep_rest=True) as draft:
        (draft / "layout.json").write_text("panels")
    assert names(job) == {"elevations.json", "heatmaps/first.png", "layout.json"}


def test_a_folder_of_other_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "photographs").mkdir()
    (tmp_path / "photographs" / "one.jpg").write_text("x")
    with pytest.raises(SettingsError, match="no job folder"), publish(tmp_path / "photographs"):
        pass
    assert names(tmp_path) == {"photographs/one.jpg"}


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UnfoldError, match="cannot be made"), publish(tmp_path / "file" / "job"):
        pass
