"""The pieces of work that are measured: `python -m unfold.bench.work decode|planes|walls FILE`."""

import sys
import time
from pathlib import Path

FINDING_PLANES = (
    ("unfold.room.find", "_level"),  # a plane around each cell, and plumb
    ("unfold.room.find", "gather_strips"),
    ("unfold.room.find", "find_traces"),  # random sampling
    ("unfold.room.find", "find_slabs"),  # floor and ceiling
    ("unfold.room.walls", "fit_base"),  # each wall once more, by robust least squares
)


def decode(scan: Path) -> None:
    """Read the file with the scan stage's own reader and touch every coordinate once."""
    from unfold.scan.detect import open_reader
    from unfold.settings.scan import ScanSettings

    total = 0.0
    for batch in open_reader(scan, ScanSettings()).batches():
        total += float(batch.x.sum()) + float(batch.y.sum()) + float(batch.z.sum())
    if total == 0.0:
        raise ValueError(f"{scan.name}: nothing was decoded")


def planes(scan: Path) -> None:
    """Find six planes the general-purpose way and print how many seconds that took, and how many of processor."""
    from unfold.bench.planes import six_planes

    print(*six_planes(scan))


def walls(scan: Path) -> None:
    """Find the room's walls; print the seconds from decoded points to cells, from cells to walls, and, out of the
    latter, those for the planes alone; then the same of processor time.

    All is done twice, and the second time counts: Open3D's code needs no loading of what was compiled either.
    """
    from threadpoolctl import threadpool_limits

    from unfold.bench.stopwatch import Stopwatch
    from unfold.room.find import fold_cells, room_of
    from unfold.scan import open_scan
    from unfold.settings import JobSettings
    from unfold.settings.scan import ScanSettings

    settings, alone = JobSettings(), Stopwatch()
    for module, name in FINDING_PLANES:
        alone.watch(module, name)
    with threadpool_limits(1, "blas"), open_scan([scan], ScanSettings(unit="m")) as opened:  # as a run has it
        for _ in range(2):
            start = time.perf_counter(), time.process_time()
            cells = fold_cells(opened)  # the first time decodes, too
            folded = time.perf_counter(), time.process_time()
            alone.reset()
            room_of(cells, opened, settings.room)
            found = time.perf_counter(), time.process_time()
    print(folded[0] - start[0], found[0] - folded[0], alone.wall_s)
    print(folded[1] - start[1], found[1] - folded[1], alone.processor_s)


if __name__ == "__main__":
    {"decode": decode, "planes": planes, "walls": walls}[sys.argv[1]](Path(sys.argv[2]))
