"""Binary points stored as records of one size, one after the other, as PLY and PCD store them."""

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np

from unfold.arrays import AnyArray
from unfold.errors import ScanError
from unfold.scan.compressed import GZIP
from unfold.scan.reader import BATCH_POINTS

RUNS = 16  # in a sample


def read_records(stream: BinaryIO, row: "np.dtype[np.void]", total: int, path: Path) -> Iterator[AnyArray]:
    """Yield all records in blocks. Raises ScanError when there are fewer than `total`."""
    left = total
    while left > 0:
        data = stream.read(min(left, BATCH_POINTS) * row.itemsize)
        records = np.frombuffer(data[: len(data) // row.itemsize * row.itemsize], row)
        if len(records) == 0:
            raise cut_short(path, total - left, total)
        left -= len(records)
        yield records


def sample_records(
    stream: BinaryIO, row: "np.dtype[np.void]", total: int, points: int, path: Path
) -> Iterator[AnyArray]:
    """Yield runs of records spread over the file, about `points` in all; of a packed file the first ones."""
    with path.open("rb") as raw:
        runs = 1 if raw.read(2) == GZIP or total <= points else RUNS
    first = stream.tell()
    for run in range(runs):
        start = total * run // runs
        stream.seek(first + start * row.itemsize)
        data = stream.read(min(points // runs, total - start) * row.itemsize)
        yield np.frombuffer(data[: len(data) // row.itemsize * row.itemsize], row)


def cut_short(path: Path, found: int, wanted: int) -> ScanError:
    """Return the error for a file that ends before the points that its header promises."""
    return ScanError(f"{path} is cut short: {found} of {wanted} points", "copy or export the file again")
