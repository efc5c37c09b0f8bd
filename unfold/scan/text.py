"""XYZ, CSV and PTS text: rows of numbers with x, y and z somewhere in them; PTS puts a count before each block."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from unfold.arrays import Floats
from unfold.errors import ScanError
from unfold.scan.compressed import GZIP, open_bytes
from unfold.scan.number_text import NumberText
from unfold.scan.reader import Batch, Part, first_batches
from unfold.scan.text_layout import TextForm, find_form
from unfold.settings.scan import LengthUnit

HEAD_BYTES = 1 << 16
RUNS, RUN_BYTES = 16, 1 << 18  # in a sample


class TextReader:
    """One text file of points, one a line."""

    def __init__(self, path: Path, form: TextForm | None = None) -> None:
        self.path = path
        self.parts: list[Part] = [Part(path.stem, np.zeros(3))]
        self.dropped: Counter[str] = Counter()
        self.metres_per_unit = 1.0
        form = form or find_form(head_lines(path), path)
        self.unit: LengthUnit | None = form.unit
        self._layout, self._header_lines = form.layout, form.header_lines

    def batches(self) -> Iterator[Batch]:
        """Yield the rows; lines that hold no point are counted."""
        self.dropped = Counter()
        with open_bytes(self.path) as stream:
            for _ in range(self._header_lines):
                stream.readline()
            text = NumberText(stream)
            for xyz in text.rows(self._layout):
                yield as_batch(0, xyz)
            self.dropped["lines without three numbers"] += text.passed

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield runs of rows spread over the file; of a gzip'd file the first ones."""
        size = self.path.stat().st_size
        with self.path.open("rb") as stream:
            spread = stream.read(2) != GZIP and size > RUNS * RUN_BYTES
            if not spread:
                yield from first_batches(self, points)
                return
            for run in range(RUNS):
                stream.seek(size * run // RUNS)
                stream.readline()
                text = NumberText(stream)
                for xyz in text.rows(self._layout, points // RUNS):
                    yield as_batch(0, xyz)


class PtsReader:
    """One PTS file: a line with the number of points, then the points; further blocks may follow."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = None
        self.parts: list[Part] = []
        self.dropped: Counter[str] = Counter()
        self.metres_per_unit = 1.0
        self._layout = find_form(head_lines(path)[1:], path).layout

    def batches(self) -> Iterator[Batch]:
        """Yield the blocks in order. Raises ScanError when one is shorter than its count."""
        self.parts, self.dropped = [], Counter()
        with open_bytes(self.path) as stream:
            text = NumberText(stream)
            while (line := text.line()) is not None:
                yield from self._block(text, line)

    def _block(self, text: NumberText, line: str) -> Iterator[Batch]:
        number = len(self.parts) + 1
        if not line.isdigit():
            raise ScanError(
                f"block {number} of {self.path} begins with {line[:40]!r} where a count should stand",
                "export the file again",
            )
        wanted, found = int(line), 0
        self.parts.append(Part(f"block {number}", np.zeros(3)))
        for xyz in text.rows(self._layout, wanted):
            found += len(xyz)
            yield as_batch(number - 1, xyz)
        if found < wanted:
            what = f"block {number} of {self.path} is cut short: {found} of {wanted} points"
            raise ScanError(what, "copy or export the file again")

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield the first points."""
        return first_batches(self, points)


def head_lines(path: Path) -> list[str]:
    """Return the whole lines in the first 64 KiB of a text file, unpacked."""
    with open_bytes(path) as stream:
        head = stream.read(HEAD_BYTES)
    whole = head if len(head) < HEAD_BYTES else head[: head.rfind(b"\n") + 1]
    return whole.decode("utf-8", "replace").split("\n")  # and not at every other line end of Unicode


def as_batch(part: int, xyz: Floats) -> Batch:
    """Return rows (n, 3) as a batch."""
    return Batch(part, xyz[:, 0], xyz[:, 1], xyz[:, 2])
