"""XYZ and CSV text: rows of numbers with x, y and z somewhere in them."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from unfold.scan.compressed import open_bytes
from unfold.scan.number_text import read_rows
from unfold.scan.reader import Batch, Part, first_batches
from unfold.settings.scan import LengthUnit


class TextReader:
    """One text file of points."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = None
        self.parts: list[Part] = [Part(path.stem)]
        self.dropped: Counter[str] = Counter()

    def batches(self) -> Iterator[Batch]:
        """Yield the rows."""
        with open_bytes(self.path) as stream:
            for xyz in read_rows(stream, (0, 1, 2)):
                yield Batch(0, xyz[:, 0], xyz[:, 1], xyz[:, 2])

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield the first rows."""
        return first_batches(self, points)
