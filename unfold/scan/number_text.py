"""Numbers in text, fast: rows of coordinates from a stream of bytes, without a Python object a number."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.scan import kernels

BLOCK_BYTES = 1 << 22  # so short that even rows of six bytes make less than a chunk
BYTE_ORDER_MARK = (0xEF, 0xBB, 0xBF)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the coordinates stand in a line of text."""

    columns: tuple[int, int, int] = (0, 1, 2)  # of x, y and z
    separators: str = ' \t,;|"'
    point: str = "."
    lead: str = ""  # the word that begins a line of coordinates; of one letter, or none

    def table(self) -> AnyArray:
        """Return a (256,) table that is 1 for each byte that parts columns."""
        table = np.zeros(256, np.uint8)
        table[[ord(character) for character in self.separators + "\r\v\f"]] = 1
        table[list(BYTE_ORDER_MARK)] = 1
        return table


class NumberText:
    """A stream of text from which lines and blocks of coordinate rows are taken in turn."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._text, self._rest, self._position, self._ended = b"", b"", 0, False
        self.passed = 0  # lines without coordinates, so far

    def line(self) -> str | None:
        """Return the next line that is not blank, or None at the end."""
        while self._fill():
            end = self._text.find(b"\n", self._position)
            end = len(self._text) if end < 0 else end
            line = self._text[self._position : end].decode("latin-1").strip()
            self._position = min(end + 1, len(self._text))
            if line:
                return line
        return None

    def rows(self, layout: Layout, most: int = 1 << 62) -> Iterator[Floats]:
        """Yield blocks (n, 3) of x, y, z of the next `most` rows, or fewer at the end; what is no number is NaN."""
        order = np.argsort(layout.columns)
        columns, table = np.array(layout.columns, np.int64)[order], layout.table()
        point, lead = ord(layout.point), ord(layout.lead or "\0")
        while most > 0 and self._fill():
            text = np.frombuffer(self._text, np.uint8)
            out = np.empty((min(self._text.count(b"\n", self._position) + 1, most), 3))
            count, passed, self._position = kernels.parse_rows(
                text, self._position, columns, table, point, lead, most, out
            )
            most -= count
            self.passed += passed
            if count:
                yield out[:count, np.argsort(order)] if np.any(order != np.arange(3)) else out[:count]

    def _fill(self) -> bool:
        """Have whole lines at hand; False at the end of the text."""
        while self._position == len(self._text):
            if self._ended:
                return False
            self._read_block()
        return True

    def _read_block(self) -> None:
        block = self._stream.read(BLOCK_BYTES)
        self._ended = not block
        text = self._rest + block
        cut = len(text) if self._ended else text.rfind(b"\n") + 1
        self._text, self._rest, self._position = text[:cut], text[cut:], 0
