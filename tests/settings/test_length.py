"""Lengths as people write them. 1 in = 25.4 mm exactly (the international inch of 1959)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unfold.settings.length import parse_length_mm


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("3 mm", 3.0),
        ("3mm", 3.0),
        ("1.5 cm", 15.0),
        ("2 m", 2000.0),
        ("1/8 in", 3.175),
        ("10 ft", 3048.0),
        ("1/16 in", 1.5875),
        ("4 ft 6 1/2 in", 1384.3),
        ("4' 6 1/2\"", 1384.3),
        ("-1/8 in", -3.175),
        (".5 in", 12.7),
    ],
)
def test_known_lengths(text: str, millimetres: float) -> None:
    assert parse_length_mm(text) == millimetres


@pytest.mark.parametrize("text", ["", "3", "three mm", "3 furlongs", "1/8", "in", "3 mm and a bit", "1/0 in"])
def test_what_is_no_length_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(ValueError, match="not a length.*mm, cm, m, in, ft"):
        parse_length_mm(text)


@given(st.integers(0, 500), st.integers(0, 63))
def test_feet_and_inches_add_up_exactly(feet: int, sixtyfourths: int) -> None:
    text = f"{feet} ft {sixtyfourths}/64 in"
    assert parse_length_mm(text) == float(Fraction(feet * 3048, 10) + Fraction(sixtyfourths * 254, 640))
