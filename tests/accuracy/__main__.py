"""The command `python -m tests.accuracy`."""

import argparse
import platform
import tempfile
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from tests.accuracy.jobs import with_spacing
from tests.accuracy.results import CaseResult, measure_case
from tests.accuracy.table import Row, rows
from tests.simulate.generate import DRAWN
from tests.simulate.rooms import ROOMS
from tests.simulate.scanner import PROFILES, Instrument

HEAD = """# Accuracy on simulated rooms

Each room is simulated with exact truth, run through the tool, and judged wall by wall. A wall is right when outline,
corners, every opening, both verdicts and the unseen area are right all at once. The conventions are in
`tests/accuracy/__init__.py`, the limits in `tests/accuracy/results.py`; `make accuracy` makes this page anew.

"""


def main() -> None:
    """Measure accuracy, print it, and write it where asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument(
        "--rooms", default="all", help="names, separated by commas; random_0-23 or rims_0-7 for those drawn at random"
    )
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--profile", choices=sorted(PROFILES), default="tripod")
    parser.add_argument("--spacing-mm", type=float)
    parser.add_argument("--out", type=Path, help="write the tables to this Markdown file")
    parser.add_argument("--add", action="store_true", help="add them to the end of the file that is there")
    parser.add_argument("--work", type=Path, help="where simulated scans are kept between runs; default: nowhere")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--keep", action="store_true", help="judge jobs already in --work without running them again")
    parser.add_argument("--details", action="store_true", help="print each wall that fails as it comes")
    args = parser.parse_args()
    rooms = _names(args.rooms)
    instrument = with_spacing(PROFILES[args.profile], args.spacing_mm)
    cases: list[CaseResult] = []
    with tempfile.TemporaryDirectory() as temporary:
        work = args.work or Path(temporary)
        jobs = [(name, seed, instrument, work, args.profile, args.keep) for name in rooms for seed in range(args.seeds)]
        with ProcessPoolExecutor(args.processes, get_context("spawn")) as pool:
            for case in pool.map(measure_case, jobs):
                cases.append(case)
                print(_line(case), flush=True)
                if args.details:
                    print("".join(f"    {line}\n" for line in _failures([case])), end="", flush=True)
    table = rows(cases, args.profile)
    print("\n".join(f"{row.name:60s} {row.goal:30s} {row.measured}" for row in table))
    if args.out is not None:
        before = args.out.read_text() + "\n" if args.add else HEAD
        args.out.write_text(before + _document(cases, table, args.profile, instrument, args.seeds, args.rooms))


def _names(rooms: str) -> list[str]:
    """Names of rooms: `all`, or a list in which `random_3-5` stands for three of those drawn at random."""
    names: list[str] = []
    for name in list(ROOMS) if rooms == "all" else rooms.split(","):
        kind, _, numbers = name.rpartition("_")
        first, dash, last = numbers.partition("-")
        drawn = kind in DRAWN and dash
        names += [f"{kind}_{number}" for number in range(int(first), int(last) + 1)] if drawn else [name]
    return names


def _line(case: CaseResult) -> str:
    right = sum(not wall.failed for wall in case.walls)
    return f"{case.room} seed {case.seed}: {right} of {len(case.walls)} walls right, {case.seconds:.0f} s" + (
        f"; {case.failure}" if case.failure else ""
    )


def _failures(cases: Sequence[CaseResult]) -> list[str]:
    lines = [
        f"{wall.room} {wall.seed} {wall.wall}: {line}" for case in cases for wall in case.walls for line in wall.failed
    ]
    return lines + [f"{case.room} {case.seed}: wall invented: {name}" for case in cases for name in case.invented]


def _document(
    cases: Sequence[CaseResult], table: Sequence[Row], profile: str, instrument: Instrument, seeds: int, rooms: str
) -> str:
    names = list(dict.fromkeys(case.room for case in cases))
    command = f"python -m tests.accuracy --rooms {rooms} --seeds {seeds} --profile {profile}"
    kinds = {name.rpartition("_")[0] if name not in ROOMS else "" for name in names}
    which = "drawn at random" if kinds <= set(DRAWN) else "described by hand"
    which = "with a lump or hollow at an edge of every wall" if kinds == {"rims"} else which
    parts = [
        f"## {profile.capitalize()}, {len(names)} rooms {which}",
        f"{_instrument(instrument)}; {seeds} noise {'seed' if seeds == 1 else 'seeds'} each. "
        f"Made by `{command} --spacing-mm {1000 * instrument.spacing_m:g}` on Python {platform.python_version()}.",
        _grid("figure | goal | measured", [(row.name, row.goal, row.measured) for row in table]),
        "Walls right, by room: " + "; ".join(f"{name} {_right(cases, name)}" for name in names) + ".",
        "What failed walls, and how often:",
        _grid("line | how often", [(line, str(count)) for line, count in _reasons(cases).most_common()]),
        "Each wall that fails, with its line (room, seed, true wall):",
        "\n".join(f"- {line}" for line in _failures(cases)) or "none",
    ]
    return "\n\n".join(parts) + "\n"


def _instrument(instrument: Instrument) -> str:
    return (
        f"noise {1000 * instrument.noise_m:g} mm, spacing {1000 * instrument.spacing_m:g} mm at the median range, "
        f"registration {1000 * instrument.registration_m:g} mm, drift {1000 * instrument.drift_m:g} mm"
    )


def _grid(head: str, lines: Sequence[tuple[str, ...]]) -> str:
    columns = head.count("|") + 1
    return "\n".join([f"| {head} |", "|---" * columns + "|", *(f"| {' | '.join(line)} |" for line in lines)])


def _right(cases: Sequence[CaseResult], room: str) -> str:
    walls = [wall for case in cases if case.room == room for wall in case.walls]
    return f"{sum(not wall.failed for wall in walls)} of {len(walls)}"


def _reasons(cases: Sequence[CaseResult]) -> Counter[str]:
    """How often each kind of line failed a wall; the kind is what stands before the colon, less names."""
    lines = [line for case in cases for wall in case.walls for line in wall.failed]
    return Counter(line.split(":")[0] for line in lines)


if __name__ == "__main__":
    main()
