"""How a text file of points is laid out: header, separators, decimal mark, which columns, unit in the header."""

import re
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from unfold.errors import ScanError
from unfold.scan.number_text import Layout
from unfold.scan.units import METRES_PER_UNIT
from unfold.settings.scan import LengthUnit

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
_COMMA = re.compile(r"[+-]?(\d+,\d+|\d+)([eE][+-]?\d+)?$")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}((,\d{3})+\.\d+|(\.\d{3})+,\d+)$")
_AXIS_NAMES = (
    {"x", "easting", "east", "e"},
    {"y", "northing", "north", "n"},
    {"z", "elevation", "height", "altitude", "h"},
)
_NOT_A_NUMBER = {"nan", "-nan", "+nan", "inf", "-inf", "+inf", "infinity", "-infinity"}
COMMENT = ("#", "//", "%", "!")
OBJ_VERTICES = Layout((1, 2, 3), " \t", lead="v")
COMMAS_PART = Layout()
COMMAS_ARE_DECIMAL = Layout(separators=' \t;|"', point=",")


@dataclass(frozen=True, slots=True)
class TextForm:
    """A file's layout, the unit that its header names, and how many lines stand before the first point."""

    layout: Layout
    unit: LengthUnit | None
    header_lines: int


def find_form(lines: list[str], path: Path) -> TextForm:
    """Work the form out from the first lines of a file. Raises ScanError when no line holds three numbers."""
    base = COMMAS_ARE_DECIMAL if _has_decimal_commas(lines, path) else COMMAS_PART
    split = [_split(line, base) for line in lines]
    first = next(
        (number for number, words in enumerate(split) if _numbers(words, base) >= 3 and lines[number].strip()), None
    )
    if first is None:
        raise ScanError(f"{path} holds no line with three numbers", "give a file with x, y and z on each line")
    width = Counter(len(words) for words in split[first:] if _numbers(words, base) >= 3).most_common(1)[0][0]
    rows = [words for words in split[first:] if len(words) == width and _numbers(words, base) >= 3]
    names, unit = _header(lines[:first], base, width)
    columns = names or _leading_columns(rows, base)
    return TextForm(Layout(columns, base.separators, base.point), unit, first)


def _has_decimal_commas(lines: list[str], path: Path) -> bool:
    """Commas are decimal marks when words parted by blanks or semicolons read as numbers only so."""
    votes = 0
    for line in lines:
        words = _split(line, COMMAS_ARE_DECIMAL)
        if any(_THOUSANDS.match(word) for word in words):
            raise ScanError(f"{path} has thousands separators ({line.strip()[:40]!r})", "export it without them")
        with_comma = [word for word in words if "," in word]
        if len(words) >= 3 and with_comma:
            votes += 1 if all(_COMMA.match(word) for word in with_comma) else -1
    return votes > 0


def _split(line: str, layout: Layout) -> list[str]:
    if line.lstrip().startswith(COMMENT):
        return []
    return [word for word in re.split(f"[{re.escape(layout.separators)}\\s]+", line.strip("\ufeff\r\n ")) if word]


def _is_number(word: str, layout: Layout) -> bool:
    return bool((_COMMA if layout.point == "," else _PLAIN).match(word)) or word.lower() in _NOT_A_NUMBER


def _numbers(words: list[str], layout: Layout) -> int:
    return sum(_is_number(word, layout) for word in words)


def _header(lines: list[str], base: Layout, width: int) -> tuple[tuple[int, int, int] | None, LengthUnit | None]:
    """Return the columns that the last header line names x, y and z, and the unit that it gives them."""
    for line in reversed(lines):
        bare = line.strip("\ufeff\r\n #/%!").lower()
        unit = _unit_in(bare)
        bare = re.sub(r"\s*[\[(][^\])]*[\])]", "", bare)  # "X [m]" is one name
        words = [re.sub(r"[\"'_]|coordinate|coord|\bm\b|mm$", "", word) for word in _split(bare, COMMAS_PART)]
        if len(words) < 3:
            continue
        found = [next((i for i, word in enumerate(words) if word in names), None) for names in _AXIS_NAMES]
        if all(column is not None and column < width for column in found):
            return (found[0] or 0, found[1] or 0, found[2] or 0), unit
    return None, None


def _unit_in(header: str) -> LengthUnit | None:
    """Return the unit that stands in brackets behind x: "x [mm]", "X(m)"."""
    match = re.search(r"\bx\s*[\[(]\s*([a-z-]+)\s*[\])]", header)
    named: dict[str, LengthUnit] = {unit: unit for unit in METRES_PER_UNIT}
    named.update({"metre": "m", "meter": "m", "metres": "m", "meters": "m", "feet": "ft", "inch": "in"})
    return named.get(match[1]) if match else None


def _leading_columns(rows: list[list[str]], base: Layout) -> tuple[int, int, int]:
    """Return the first three numeric columns, after one that only counts the lines."""
    sample = rows[:200]
    numeric = [i for i in range(len(rows[0])) if sum(_is_number(row[i], base) for row in sample) > len(sample) // 2]
    if len(numeric) > 3 and len(sample) > 2 and _counts(sample, numeric[0]):
        numeric = numeric[1:]
    if len(numeric) < 3:
        numeric = [0, 1, 2]
    return numeric[0], numeric[1], numeric[2]


def _counts(rows: list[list[str]], column: int) -> bool:
    words = [row[column] for row in rows]
    if not all(word.isdigit() for word in words):
        return False
    values = [int(word) for word in words]
    return all(later - earlier == 1 for earlier, later in pairwise(values))
