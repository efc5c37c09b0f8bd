"""Numbers in text, fast: rows of coordinates from a stream of bytes, without a Python object a number."""

from collections.abc import Iterator
from io import BufferedReader
from typing import Any, BinaryIO

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Floats, Ints

BLOCK_BYTES = 1 << 23
POWERS = 10.0 ** np.arange(0, 23)  # exactly representable
_NEWLINE, _RETURN, _MINUS, _PLUS, _DOT, _COMMA = 10, 13, 45, 43, 46, 44


@njit(cache=True, nogil=True)
def parse_number(text: AnyArray, start: int, end: int, point: int) -> float:
    """Return the number in text[start:end], or NaN when it is none. Correct to the last bit up to 15 digits."""
    i, sign = start, 1.0
    if i < end and (text[i] == _MINUS or text[i] == _PLUS):
        sign = -1.0 if text[i] == _MINUS else 1.0
        i += 1
    mantissa, digits, shift, seen_point = 0, 0, 0, False
    while i < end:
        c = text[i]
        if 48 <= c <= 57:
            if mantissa < 100_000_000_000_000_000:
                mantissa = mantissa * 10 + (int(c) - 48)
                shift -= 1 if seen_point else 0
            else:
                shift += 0 if seen_point else 1
            digits += 1
        elif c == point and not seen_point:
            seen_point = True
        else:
            break
        i += 1
    if digits == 0:
        return np.nan
    if i < end and (text[i] == 101 or text[i] == 69):  # e, E
        i += 1
        down = False
        if i < end and (text[i] == _MINUS or text[i] == _PLUS):
            down = text[i] == _MINUS
            i += 1
        power, first = 0, i
        while i < end and 48 <= text[i] <= 57 and power < 1000:
            power = power * 10 + (int(text[i]) - 48)
            i += 1
        if i == first:
            return np.nan
        shift += -power if down else power
    if i < end:
        return np.nan
    value = float(mantissa)
    if -22 <= shift < 0:
        value /= POWERS[-shift]
    elif 0 < shift <= 22:
        value *= POWERS[shift]
    elif shift != 0:
        value *= 10.0**shift
    return sign * value


@njit(cache=True, nogil=True)
def parse_rows(text: AnyArray, columns: Ints, separators: AnyArray, point: int, most: int, out: Floats) -> Any:
    """Read coordinates from whole lines of text into `out` (k, 3), `columns` (3,) of each line.

    `separators` is (256,), nonzero for the bytes that part columns. Stops after `most` rows. A line that lacks one of
    the columns is passed over; what is no number is NaN. Returns rows read, lines passed over, bytes used.
    """
    rows, passed, i, size = 0, 0, 0, len(text)
    while i < size and rows < most and rows < len(out):
        column, filled, blank = 0, 0, True
        while i < size and text[i] != _NEWLINE:
            while i < size and separators[text[i]] != 0:
                i += 1
            start = i
            while i < size and text[i] != _NEWLINE and separators[text[i]] == 0:
                i += 1
            if i > start:
                blank = False
                for axis in range(3):
                    if columns[axis] == column:
                        out[rows, axis] = parse_number(text, start, i, point)
                        filled += 1
                column += 1
        i += 1
        if filled == 3:
            rows += 1
        elif not blank:
            passed += 1
    return rows, passed, min(i, size)


def separator_table(characters: str) -> AnyArray:
    """Return a (256,) table that is 1 for each of the characters and for the carriage return."""
    table = np.zeros(256, np.uint8)
    table[[ord(character) for character in characters + "\r"]] = 1
    return table


def read_rows(
    stream: BinaryIO | BufferedReader,
    columns: tuple[int, int, int],
    most: int = 1 << 62,
    separators: str = " \t,;",
    point: str = ".",
) -> Iterator[Floats]:
    """Yield blocks of rows (n, 3) from the stream; a value that is no number is NaN."""
    wanted, table, rest = np.array(columns, np.int64), separator_table(separators), b""
    while most > 0:
        block = stream.read(BLOCK_BYTES)
        text = rest + block
        cut = len(text) if not block else text.rfind(b"\n") + 1
        text, rest = text[:cut], text[cut:]
        if text:
            out = np.empty((text.count(b"\n") + 1, 3))
            count, _, _ = parse_rows(np.frombuffer(text, np.uint8), wanted, table, ord(point), most, out)
            most -= count
            if count:
                yield out[:count]
        if not block:
            return
