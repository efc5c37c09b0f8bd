"""Lengths are written as the trade reads them, and what is rounded never stands alone."""

from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unfold.drawing import lengths
from unfold.quantity import Quantity
from unfold.settings.drawing import DrawingSettings
from unfold.settings.length import parse_length_mm

MM, INCH = DrawingSettings(), DrawingSettings(units="ft-in")


@pytest.mark.parametrize(
    ("length_mm", "denominator", "words"),
    [
        (3.175, 16, '1/8"'),  # the two US flatness limits and their straightedges, exact in inches
        (1.5875, 16, '1/16"'),
        (3048.0, 16, "10' 0\""),
        (609.6, 16, "2' 0\""),
        (2100.0, 16, "6' 10 11/16\""),  # 82.677 in: 11/16 is 0.6875
        (1847.85, 16, "6' 0 3/4\""),  # 72.75 in
        (0.0, 16, '0"'),
        (-50.8, 16, '−2"'),
        (25.4 / 32, 16, '0"'),  # half of a sixteenth rounds to even
        (2.38125, 16, '1/8"'),  # three halves
        (304.79, 16, "1' 0\""),  # rounding carries into the foot
    ],
)
def test_feet_and_inches(length_mm: float, denominator: int, words: str) -> None:
    assert lengths.feet_and_inches(length_mm, denominator) == words


@given(st.floats(0.0, 30_000.0), st.sampled_from([8, 16, 32, 64]))
def test_what_is_written_reads_back_within_half_a_fraction(length_mm: float, denominator: int) -> None:
    words = lengths.feet_and_inches(length_mm, denominator)
    assert abs(parse_length_mm(words) - length_mm) <= 25.4 / denominator / 2 + 1e-9


@pytest.mark.parametrize(
    ("value", "uncertainty", "words"),
    [
        (2.4149, 0.30, "2.41 ± 0.60 mm"),
        (-9.04, 1.6, "−9.0 ± 3.2 mm"),
        (123.4, 14.0, "123 ± 28 mm"),
        (-0.0004, 0.05, "0.00 ± 0.10 mm"),
        (None, 0.1, "not measured"),
        (float("nan"), 0.1, "not measured"),
        (2.0, float("nan"), "2.0 mm, uncertainty unknown"),
    ],
)
def test_uncertainty_sets_the_digits(value: float | None, uncertainty: float, words: str) -> None:
    assert lengths.plus_minus(value, uncertainty, MM) == words


def test_inches_always_come_with_millimetres() -> None:
    assert lengths.length(2110.0, INCH) == "6' 11 1/16\" (2110 mm)"
    assert lengths.dimension(2110.0, INCH) == "6' 11 1/16\" (2110)"
    assert lengths.dimension(-50.8, INCH) == '-2" (-51)'
    assert lengths.quantity(Quantity(3.2, 0.3), INCH) == '3.20 ± 0.60 mm (1/8")'
    assert lengths.limit(3.175, INCH) == '3.175 mm (1/8")'


@pytest.mark.parametrize("units", ["mm", "ft-in"])
def test_a_limit_is_written_exactly(units: Literal["mm", "ft-in"]) -> None:
    assert lengths.limit(1.5875, DrawingSettings(units=units)).startswith("1.5875 mm")
