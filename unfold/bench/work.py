"""The pieces of work that are measured: `python -m unfold.bench.work decode|run|planes|walls FILE`."""

import sys
import tempfile
import time
from contextlib import redirect_stdout
from pathlib import Path


def decode(scan: Path) -> None:
    """Read the file with the scan stage's own reader and touch every coordinate once."""
    from unfold.scan.detect import open_reader
    from unfold.settings.scan import ScanSettings

    total = 0.0
    for batch in open_reader(scan, ScanSettings()).batches():
        total += float(batch.x.sum()) + float(batch.y.sum()) + float(batch.z.sum())
    if total == 0.0:
        raise ValueError(f"{scan.name}: nothing was decoded")


def run(scan: Path) -> None:
    """Do the whole main job, as `unfold run` does it, into a temporary folder."""
    from unfold.cli import main

    with tempfile.TemporaryDirectory() as folder, redirect_stdout(sys.stderr):  # standard output is for seconds
        if main(["run", str(scan), "--out", str(Path(folder) / "job"), "--unit", "m"]) != 0:
            raise RuntimeError(f"{scan.name}: the run failed")


def planes(scan: Path) -> None:
    """Find six planes the general-purpose way and print how many seconds that took, and how many of processor."""
    from unfold.bench.planes import six_planes

    print(*six_planes(scan))


def walls(scan: Path) -> None:
    """Find the room's walls; print the seconds from decoded points to cells and from cells to walls, and the same of
    processor time.

    Both are done twice, and the second time counts: Open3D's code needs no loading of what was compiled either.
    """
    from unfold.room.find import fold_cells, room_of
    from unfold.scan import open_scan
    from unfold.settings import JobSettings
    from unfold.settings.scan import ScanSettings

    settings = JobSettings()
    with open_scan([scan], ScanSettings(unit="m")) as opened:
        for _ in range(2):
            start = time.perf_counter(), time.process_time()
            cells = fold_cells(opened)  # the first time decodes, too
            folded = time.perf_counter(), time.process_time()
            room_of(cells, opened, settings.room)
            found = time.perf_counter(), time.process_time()
    print(folded[0] - start[0], found[0] - folded[0], folded[1] - start[1], found[1] - folded[1])


if __name__ == "__main__":
    {"decode": decode, "run": run, "planes": planes, "walls": walls}[sys.argv[1]](Path(sys.argv[2]))
