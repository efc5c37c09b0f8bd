"""`unfold bench`: time and memory of the main job against decoding alone, as ratios measured in one run."""

import platform
import statistics
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from unfold.bench.made_scan import make_e57, make_laz
from unfold.bench.probe import Probe, run_probe

MAKERS = {"e57": make_e57, "laz": make_laz}
SMALL_MILLIONS = 0.3  # the fixed time is read off a scan so small that its points hardly count
PLANES_AT_MILLIONS = 5


@dataclass(frozen=True, slots=True)
class Row:
    """The medians of one scan's runs."""

    form: str
    millions: float
    decode: Probe
    run: Probe
    planes: Probe | None


def run_bench(millions: Sequence[float], formats: Sequence[str], repeats: int, out: Path | None) -> None:
    """Measure every size and format, print the table, and write it to `out` when given."""
    rows = []
    for form in formats:
        for size in sorted({SMALL_MILLIONS, *millions}):
            rows.append(_measure(form, size, repeats))
            print(_line(rows[-1]), flush=True)
    text = report(rows, repeats)
    print(text)
    if out is not None:
        out.write_text(text, encoding="utf-8")


def _measure(form: str, millions: float, repeats: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        scan = Path(folder) / f"made.{form}"
        MAKERS[form](scan, int(millions * 1e6))
        run_probe("run", scan)  # fills the compiler's cache and the file system's, once
        decode, run = [], []
        for _ in range(repeats):  # in turn, so that a slow minute of the machine falls on both
            decode.append(run_probe("decode", scan))
            run.append(run_probe("run", scan))
        planes = run_probe("planes", scan) if millions == PLANES_AT_MILLIONS else None
        return Row(form, millions, _median(decode), _median(run), planes)


def _median(probes: Sequence[Probe]) -> Probe:
    seconds = statistics.median(probe.seconds for probe in probes)
    return Probe(seconds, statistics.median(probe.peak_mib for probe in probes))


def _line(row: Row) -> str:
    ratio = row.run.seconds / row.decode.seconds
    planes = "" if row.planes is None else f"{row.planes.seconds / row.run.seconds:.0f} x"
    return (
        f"| {row.form} | {row.millions:g} M | {row.decode.seconds:.2f} s | {row.run.seconds:.2f} s | {ratio:.2f} "
        f"| {row.run.peak_mib:.0f} MiB | {planes} |"
    )


def report(rows: Sequence[Row], repeats: int) -> str:
    """Return the page of figures in Markdown."""
    lines = [
        "# Performance",
        "",
        f"Made by `unfold bench` on {_machine()}. Medians of {repeats} runs, each a whole process, in turn.",
        "",
        "*decode* reads the file with the same reader and touches every point once; *run* is `unfold run` with every "
        "stage and every file; *planes* is how many times longer six calls of Open3D's `segment_plane` took on the "
        "same points, decoding not counted.",
        "",
        "| format | points | decode | run | run / decode | peak memory of run | planes / run |",
        "|---|---|---|---|---|---|---|",
        *(_line(row) for row in rows),
        "",
        "| format | marginal time of run / of decode, per point | target | fixed time of run | target |",
        "|---|---|---|---|---|",
        *(_slopes([row for row in rows if row.form == form]) for form in dict.fromkeys(row.form for row in rows)),
        "",
    ]
    return "\n".join(lines)


def _slopes(rows: Sequence[Row]) -> str:
    sizes = [row.millions for row in rows]
    run = statistics.linear_regression(sizes, [row.run.seconds for row in rows])
    decode = statistics.linear_regression(sizes, [row.decode.seconds for row in rows])
    fixed = rows[0].run.seconds
    return f"| {rows[0].form} | {run.slope / decode.slope:.2f} | 2.0, aim 1.3 | {fixed:.1f} s | 6 s |"


def _machine() -> str:
    import os

    model = platform.processor() or platform.machine()
    for line in _cpu_lines():
        if line.startswith("model name"):
            model = line.split(":", 1)[1].strip()
            break
    return f"{os.cpu_count()} cores of {model}, Python {platform.python_version()}, {platform.system()}"


def _cpu_lines() -> list[str]:
    try:
        return Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
