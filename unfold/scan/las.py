"""LAS and LAZ (ASPRS LAS 1.0 to 1.4): scaled integers, in the unit of their coordinate reference system."""

import logging
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import laspy
import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.errors import ScanError
from unfold.scan.las_units import read_units
from unfold.scan.reader import BATCH_POINTS, Batch, Part

logging.getLogger("laspy").addHandler(logging.NullHandler())  # a short read is an error here, not a line of log
NEEDED = (
    laspy.DecompressionSelection.XY_RETURNS_CHANNEL
    | laspy.DecompressionSelection.Z
    | laspy.DecompressionSelection.FLAGS
)
RUNS = 16  # in a sample


class LasReader:
    """One LAS or LAZ file. The format holds no scanner position."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.parts: list[Part] = [Part(path.stem)]
        self.dropped: Counter[str] = Counter()
        self.metres_per_unit = 1.0
        with self._open() as file:
            self.unit, self._height_factor = read_units(file.header, path)

    def batches(self) -> Iterator[Batch]:
        """Yield the points. Raises ScanError when there are fewer than the header says."""
        self.dropped = Counter()
        with self._open() as file:
            matrix, left = self._matrix(file.header), int(file.header.point_count)
            while left > 0:
                points = self._read(file, min(left, BATCH_POINTS), left)
                left -= len(points)
                yield self._batch(points, matrix)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield short runs spread over the file."""
        with self._open() as file:
            matrix, total = self._matrix(file.header), int(file.header.point_count)
            runs = RUNS if total > points else 1
            for run in range(runs):
                start = total * run // runs
                if start > 0:
                    self._seek(file, start)
                if total > start:
                    yield self._batch(self._read(file, min(points // runs, total - start), total - start), matrix)
        self.dropped = Counter()

    def _open(self) -> Any:
        try:
            return laspy.open(
                self.path,
                laz_backend=laspy.LazBackend.LazrsParallel,
                decompression_selection=NEEDED,
                read_evlrs=True,
            )
        except OSError as error:
            raise ScanError(f"{self.path}: {error.strerror or error}", "give the path of a readable file") from error
        except Exception as error:
            raise ScanError(f"{self.path} has a broken LAS header ({_line(error)})", "export the scan again") from error

    def _read(self, file: Any, count: int, left: int) -> Any:
        total = int(file.header.point_count)
        try:
            points = file.read_points(count)
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:  # a panic of the decompressor is a BaseException
            raise ScanError(
                f"{self.path} cannot be decoded after point {total - left} of {total} ({_line(error)})",
                "copy or export the file again",
            ) from error
        if len(points) != count:
            raise ScanError(
                f"{self.path} is cut short: {total - left + len(points)} of {total} points", "copy or export it again"
            )
        return points

    def _seek(self, file: Any, start: int) -> None:
        try:
            file.seek(start)
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:
            raise ScanError(f"{self.path} cannot be decoded ({_line(error)})", "copy or export it again") from error

    def _batch(self, points: Any, matrix: Floats) -> Batch:
        raw = points.array
        withheld: AnyArray | None = np.asarray(points.withheld, np.int8)
        if withheld is not None:
            count = int(np.count_nonzero(withheld))
            self.dropped["points flagged as withheld"] += count
            withheld = withheld if count else None
        return Batch(0, raw["X"], raw["Y"], raw["Z"], withheld, matrix, zero_is_miss=False)

    def _matrix(self, header: Any) -> Floats:
        matrix = np.column_stack((np.diag(header.scales), header.offsets)).astype(np.float64)
        matrix[2] *= self._height_factor
        if not np.isfinite(matrix).all() or np.any(np.diag(matrix[:, :3]) == 0):
            raise ScanError(f"{self.path} has a broken scale or offset in its header", "export the scan again")
        return matrix


def _line(error: BaseException) -> str:
    return str(error).split("\n")[0].strip()[:120] or type(error).__name__
