"""Quantities and decisions against published cases."""

import math

import pytest
from scipy.stats import norm

from unfold.quantity import Quantity, combine, decide, worst_verdict


def test_uncertainty_is_zero_or_more() -> None:
    assert Quantity(1.0, 0.0).standard_uncertainty == 0.0
    for wrong in (-0.1, math.nan):
        with pytest.raises(ValueError, match="zero or more"):
            Quantity(1.0, wrong)


def test_independent_parts_add_in_quadrature() -> None:
    # JCGM 100:2008, 5.1.2
    assert combine([3.0, 4.0]) == 5.0
    assert combine([]) == 0.0


@pytest.mark.parametrize(
    ("worst", "verdict", "conformance"),
    [
        (2.40, "conforms", 0.9951),
        (2.575, "conforms", 0.9772),
        (2.70, "cannot be decided", 0.943),
        (4.00, "does not conform", 0.0030),
    ],
)
def test_the_worked_decision(worst: float, verdict: str, conformance: float) -> None:
    # Tolerance 3.175 mm, u = 0.30 mm, k = 2 (JCGM 106:2012, 8.3): accepted to 2.575, rejected from 3.775; computed.
    # 3.175 - 2.575 is not 0.6 in binary, so the case on the limit is moved by less than a nanometre.
    assert decide(worst - 1e-9, 0.30, 3.175) == verdict
    assert norm.cdf((3.175 - worst) / 0.30) == pytest.approx(conformance, abs=6e-4)


def test_with_an_uncertainty_of_half_the_tolerance_nothing_can_conform() -> None:
    assert all(decide(worst, 1.6, 3.175) != "conforms" for worst in (0.0, 1.0, 3.0, 10.0))


def test_conformance_probability_of_jcgm_106() -> None:
    # JCGM 106:2012, 7.4: result 13.6, u = 1.8, limits 12.5 and 16.3: probability 0.66. Between the guard bands of both
    # limits nothing is left, so neither one-sided decision can accept.
    assert norm.cdf((16.3 - 13.6) / 1.8) - norm.cdf((12.5 - 13.6) / 1.8) == pytest.approx(0.6626, abs=1e-4)
    assert decide(13.6, 1.8, 16.3) == "cannot be decided"


def test_guard_band_of_twice_u_accepts_falsely_less_than_one_time_in_forty() -> None:
    # ILAC-G8:09/2019, 4.2: with w = U the risk of a false accept is below 2.5 %
    limit, u = 3.175, 0.3
    true = limit + 1e-6
    accept = norm.cdf((limit - 2 * u - true) / u)
    assert decide(limit - 2 * u - 1e-9, u, limit) == "conforms" and decide(limit - 2 * u + 1e-3, u, limit) != "conforms"
    assert accept < 0.025


@pytest.mark.parametrize(
    ("worst", "u", "tolerance", "verdict"),
    [
        (1.0, 0.0, 1.0, "conforms"),
        (1.0000001, 0.0, 1.0, "does not conform"),
        (3.0, 0.5, 1.0, "does not conform"),
        (2.0, 0.5, 1.0, "cannot be decided"),
        (math.nan, 0.5, 1.0, "cannot be decided"),
        (0.1, math.inf, 1.0, "cannot be decided"),
        (math.inf, 0.1, 1.0, "cannot be decided"),
    ],
)
def test_decisions(worst: float, u: float, tolerance: float, verdict: str) -> None:
    assert decide(worst, u, tolerance) == verdict


def test_the_worst_verdict_decides() -> None:
    assert worst_verdict(["conforms", "cannot be decided"]) == "cannot be decided"
    assert worst_verdict(["does not conform", "cannot be decided"]) == "does not conform"
    assert worst_verdict(["conforms"]) == "conforms"
    assert worst_verdict([]) == "cannot be decided"
