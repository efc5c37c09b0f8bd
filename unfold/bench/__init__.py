"""`unfold bench`: time and memory of the main job against decoding alone, as ratios measured in one run."""

import platform
import statistics
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from unfold.bench.made_scan import make_e57, make_laz
from unfold.bench.planes import PLANE_DISTANCE_M, PLANE_ITERATIONS, PLANE_SAMPLE
from unfold.bench.probe import Probe, run_probe

MAKERS = {"e57": make_e57, "laz": make_laz}
SMALL_MILLIONS = 0.3  # the fixed time is read off a scan so small that its points hardly count
PLANES_AT_MILLIONS = 5
ONCE_FROM_MILLIONS = 50  # larger scans are run once


@dataclass(frozen=True, slots=True)
class Row:
    """The medians of one scan's runs."""

    form: str
    millions: float
    decode: Probe
    run: Probe
    planes: Probe | None
    walls: Probe | None


def run_bench(millions: Sequence[float], formats: Sequence[str], repeats: int, out: Path | None) -> None:
    """Measure every size and format, print the table, and write it to `out` when given."""
    rows = []
    for form in formats:
        for size in sorted({SMALL_MILLIONS, *millions}):
            rows.append(_measure(form, size, repeats if size < ONCE_FROM_MILLIONS else 1))
            print(_line(rows[-1]), flush=True)
    text = report(rows, repeats)
    print(text)
    if out is not None:
        out.write_text(text, encoding="utf-8")


def _measure(form: str, millions: float, repeats: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        scan = Path(folder) / f"made.{form}"
        MAKERS[form](scan, int(millions * 1e6))
        run_probe("decode" if millions > SMALL_MILLIONS else "run", scan)  # fills the compiler's cache, and the files'
        decode, run = [], []
        for _ in range(repeats):  # in turn, so that a slow minute of the machine falls on both
            decode.append(run_probe("decode", scan))
            run.append(run_probe("run", scan))
        planes = walls = None
        if millions == PLANES_AT_MILLIONS:
            walls = _median([run_probe("walls", scan) for _ in range(repeats)])
            planes = run_probe("planes", scan)
        return Row(form, millions, _median(decode), _median(run), planes, walls)


def _median(probes: Sequence[Probe]) -> Probe:
    return Probe(
        statistics.median(probe.seconds for probe in probes),
        statistics.median(probe.processor_s for probe in probes),
        statistics.median(probe.peak_mib for probe in probes),
        tuple(statistics.median(parts) for parts in zip(*(probe.reported_s for probe in probes), strict=True)),
    )


def _line(row: Row) -> str:
    ratio = row.run.seconds / row.decode.seconds
    return (
        f"| {row.form} | {row.millions:g} M | {row.decode.seconds:.2f} s | {row.run.seconds:.2f} s | {ratio:.2f} "
        f"| {row.decode.processor_s:.2f} s | {row.run.processor_s:.2f} s | {row.run.peak_mib:.0f} MiB |"
    )


def report(rows: Sequence[Row], repeats: int) -> str:
    """Return the page of figures in Markdown."""
    forms = list(dict.fromkeys(row.form for row in rows))
    lines = [
        "# Performance",
        "",
        f"Made by `unfold bench` on {_machine()}. Medians of {repeats} runs (one from {ONCE_FROM_MILLIONS} million "
        "points on), each a whole process, in turn.",
        "",
        "*decode* reads the file with the same reader and touches every point once; *run* is `unfold run` with every "
        "stage and every file. Processor time is that of all threads and processes: it depends less on what else the "
        "machine does.",
        "",
        "| format | points | decode | run | run / decode | decode, processor | run, processor | peak memory of run |",
        "|---|---|---|---|---|---|---|---|",
        *(_line(row) for row in rows),
        "",
        "## Against decoding alone",
        "",
        "Time of a point more, of *run* over that of *decode*; target 2.0, aim 1.3. Fixed time: the smallest scan; "
        "target 6 s.",
        "",
        "| format | between | decode, a point | run, a point | ratio | ratio of processor time | fixed time of run |",
        "|---|---|---|---|---|---|---|",
        *(line for form in forms for line in _marginal([row for row in rows if row.form == form])),
        "",
        "## Against the general-purpose way to find the planes",
        "",
        f"Six calls of Open3D's `segment_plane` (distance_threshold {PLANE_DISTANCE_M:g} m, ransac_n {PLANE_SAMPLE}, "
        f"num_iterations {PLANE_ITERATIONS}, its own early stopping left on; after each the plane's points are taken "
        "out), decoding not counted. Target: 50 times faster. *cells to planes* is the finding of planes alone, from "
        "what the first pass leaves: a plane around each cell and plumb, strips of upright surface, random sampling on "
        "them, and the fit of every wall, floor and ceiling. *cells to walls* is the whole stage, which also tells "
        "walls from furniture and openings, inside from outside, and where walls end; *points to walls* has the pass "
        "over the decoded points too; *run* is everything from the file to the drawings. Only *points to walls* begins "
        "with the points, as the six calls do. Times and ratios are wall / processor.",
        "",
        "| format | points | six calls | cells to planes | cells to walls | points to walls | run |",
        "|---|---|---|---|---|---|---|",
        *(_planes_line(row, False) for row in rows if row.planes is not None),
        "",
        "Six calls over each:",
        "",
        "| format | points | cells to planes | cells to walls | points to walls | run |",
        "|---|---|---|---|---|---|",
        *(_planes_line(row, True) for row in rows if row.planes is not None),
        "",
    ]
    return "\n".join(lines)


def _marginal(rows: Sequence[Row]) -> list[str]:
    lines, fixed = [], f"{rows[0].run.seconds:.1f} s ({rows[0].run.processor_s:.1f} s of processor)"
    base = rows[1] if len(rows) > 2 else rows[0]  # once every cell of the room is met
    for row in rows[rows.index(base) + 1 :]:
        more = row.millions - base.millions
        decode, run = (row.decode.seconds - base.decode.seconds) / more, (row.run.seconds - base.run.seconds) / more
        processor = (row.run.processor_s - base.run.processor_s) / (row.decode.processor_s - base.decode.processor_s)
        lines.append(
            f"| {row.form} | {base.millions:g} and {row.millions:g} M | {decode:.3f} \u00b5s | {run:.3f} \u00b5s "
            f"| {run / decode:.2f} | {processor:.2f} | {fixed} |"
        )
    return lines


def _planes_line(row: Row, ratios: bool) -> str:
    """One format's line: times as wall / processor seconds, or the ratios of the six calls to them."""
    assert row.planes is not None and row.walls is not None
    fold, find, alone, fold_processor, find_processor, alone_processor = row.walls.reported_s
    calls, calls_processor = row.planes.reported_s
    ours = (
        (alone, alone_processor),
        (find, find_processor),
        (fold + find, fold_processor + find_processor),
        (row.run.seconds, row.run.processor_s),
    )
    if ratios:
        cells = [f"{calls / wall:.1f} / {calls_processor / processor:.1f}" for wall, processor in ours]
    else:
        times = ((calls, calls_processor), *ours)
        cells = [f"{wall:.2f} / {processor:.2f} s" for wall, processor in times]
    return f"| {row.form} | {row.millions:g} M | {' | '.join(cells)} |"


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
