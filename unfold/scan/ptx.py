"""PTX text: scans on a grid of columns and rows, each with its scanner position and a matrix, misses as 0 0 0."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.errors import ScanError
from unfold.scan.compressed import open_bytes
from unfold.scan.grid import directions_of_misses
from unfold.scan.number_text import Layout, NumberText
from unfold.scan.reader import Batch, Part, first_batches
from unfold.settings.scan import LengthUnit

HEADER_LINES = (1, 1, 3, 3, 3, 3, 4, 4, 4, 4)  # numbers in each line of a scan's header
MOST_CELLS = 1 << 40


class PtxReader:
    """One PTX file; every scan in it is a station."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = None
        self.metres_per_unit = 1.0
        self.parts: list[Part] = []
        self.dropped: Counter[str] = Counter()

    def batches(self) -> Iterator[Batch]:
        """Yield the scans in order. Raises ScanError naming the scan that is broken or cut short."""
        self.parts, self.dropped = [], Counter()
        with open_bytes(self.path) as stream:
            text = NumberText(stream)
            while (line := text.line()) is not None:
                yield from self._scan(text, line)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield the first points."""
        return first_batches(self, points)

    def _scan(self, text: NumberText, first_line: str) -> Iterator[Batch]:
        number = len(self.parts)
        what = f"scan {number + 1} of {self.path}"
        columns, rows, stated, matrix = _read_header(text, first_line, what)
        axis = matrix[:, 2] / np.linalg.norm(matrix[:, 2])
        moved = matrix[:, 3].copy()
        self.parts.append(Part(f"scan {number + 1}", moved, axis, stated=True, other_position=stated))
        passed, index = text.passed, 0
        for xyz in text.rows(Layout(separators=" \t,;"), columns * rows):
            yield self._batch(xyz, index, rows, matrix)
            index += len(xyz)
            if text.passed != passed:
                raise ScanError(f"{what} has a broken line near point {index}", "export the scan again")
        if index < columns * rows:
            raise ScanError(f"{what} is cut short: {index} of {columns * rows} points", "copy or export it again")

    def _batch(self, xyz: Floats, index: int, rows: int, matrix: Floats) -> Batch:
        missed: Bools = np.asarray(~xyz.any(axis=1), np.bool_)
        batch = Batch(len(self.parts) - 1, xyz[:, 0], xyz[:, 1], xyz[:, 2], matrix=matrix)
        if missed.any():
            self.dropped["rays that met nothing"] += int(missed.sum())
            batch.drop = np.asarray(missed, np.int8)
            batch.escaped = directions_of_misses(xyz, missed, index, rows) @ matrix[:, :3].T
        return batch


def _read_header(text: NumberText, first_line: str, what: str) -> tuple[int, int, Floats, Floats]:
    """Return columns, rows, the scanner position as stated, and file_from_scanner (3, 4).

    The matrix in the file acts on row vectors, p' = [x y z 1] M; its transpose is returned, without the last row.
    """
    numbers: list[list[float]] = []
    line: str | None = first_line
    for wanted in HEADER_LINES:
        try:
            values = [float(word) for word in (line or "").split()]
        except ValueError:
            values = []
        if len(values) != wanted or not np.isfinite(values).all():
            raise ScanError(
                f"the header of {what} has {(line or '')[:40]!r} where {wanted} numbers should stand", _AGAIN
            )
        numbers.append(values)
        line = text.line() if len(numbers) < len(HEADER_LINES) else None
    columns, rows = numbers[0][0], numbers[1][0]
    if not (columns >= 0 and rows >= 0 and columns * rows < MOST_CELLS and columns % 1 == rows % 1 == 0):
        raise ScanError(f"the header of {what} gives {columns:g} columns and {rows:g} rows", _AGAIN)
    matrix = np.array(numbers[6:]).T[:3]
    if abs(float(np.linalg.det(matrix[:, :3]))) < 1e-12:
        raise ScanError(f"the matrix of {what} is singular", _AGAIN)
    return int(columns), int(rows), np.array(numbers[2]), matrix


_AGAIN = "export the scan again"
