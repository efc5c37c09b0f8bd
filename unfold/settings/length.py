"""Lengths as people write them: `3`, `"3 mm"`, `"1/8 in"`, `"10 ft"`, `"4' 6 1/2\\""`; all become millimetres."""

import re
from fractions import Fraction
from typing import Annotated, Any

from pydantic import BeforeValidator

MM_PER_UNIT = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
_ALLOWED = "write a number and a unit (mm, cm, m, in, ft), as '3 mm' or '1/8 in'"
_SYMBOLS = {'"': "in", "″": "in", "'": "ft", "′": "ft"}
_NUMBER = r"\d+\s+\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+"
_TERM = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|m|in|ft|\"|″|'|′)\s*")


def parse_length_mm(text: str) -> float:
    """Read a length with its unit and return millimetres; terms add up, so `4 ft 6 1/2 in` is one length.

    Raises ValueError, saying what is allowed, for a missing or an unknown unit.
    """
    stripped = text.strip()
    sign, rest = (-1, stripped[1:]) if stripped.startswith("-") else (1, stripped)
    total, position = Fraction(0), 0
    while position < len(rest) or not rest:
        match = _TERM.match(rest, position)
        if match is None:
            raise ValueError(f"{text!r} is not a length; {_ALLOWED}")
        try:
            total += sum(Fraction(part) for part in match[1].split()) * MM_PER_UNIT[_SYMBOLS.get(match[2], match[2])]
        except ZeroDivisionError as error:
            raise ValueError(f"{text!r} is not a length; {_ALLOWED}") from error
        position = match.end()
    return float(sign * total)


def _to_mm(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("true and false are no lengths; write a number and a unit, as '3 mm'")
    return parse_length_mm(value) if isinstance(value, str) else value


Millimetres = Annotated[float, BeforeValidator(_to_mm)]
"""A pydantic field type: a plain number is millimetres, a text carries its unit."""
