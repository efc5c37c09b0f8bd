"""Strips beside an edge: exact on what they can represent, honest about the rest."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from unfold.elevation.strip_fit import basis, fit_strip, uniform_knots


def test_basis_is_that_of_the_reference_library() -> None:
    random = np.random.default_rng(6)
    for spacing in (30.0, 111.0, 5000.0):
        knots = uniform_knots(-41.3, 1234.5, spacing)
        t = np.concatenate([random.uniform(-60.0, 1300.0, 200), knots])
        inside = np.clip(t, knots[3], knots[-4])
        np.testing.assert_array_equal(basis(knots, t), BSpline.design_matrix(inside, knots, 3).toarray())


def test_a_straight_leaning_strip_is_carried_on_exactly() -> None:
    random = np.random.default_rng(1)
    t, d = random.uniform(0, 2700, 800), random.uniform(30, 140, 800)
    fit = fit_strip(t, d, 3.0 + 0.002 * t + 0.004 * d, np.full(800, 0.1))
    assert fit is not None
    value, _ = fit.at(np.array([100.0, 1300.0, 2600.0]), 0.0)
    np.testing.assert_allclose(value, 3.0 + 0.002 * np.array([100.0, 1300.0, 2600.0]), atol=0.02)


def test_heights_far_from_zero_lose_nothing() -> None:
    random = np.random.default_rng(2)
    t, d = random.uniform(0, 2000, 500), random.uniform(30, 140, 500)
    y = 0.001 * t + random.normal(0, 0.2, 500)
    low, high = fit_strip(t, d, y, np.full(500, 0.2)), fit_strip(t, d, y + 5e6, np.full(500, 0.2))
    assert low is not None and high is not None
    at = np.linspace(0, 2000, 9)
    np.testing.assert_allclose(high.at(at, 0.0)[0] - 5e6, low.at(at, 0.0)[0], atol=1e-4)


def test_clutter_in_the_strip_does_not_move_the_edge() -> None:
    random = np.random.default_rng(3)
    t, d = random.uniform(0, 2700, 1500), random.uniform(30, 140, 1500)
    y = 2 * np.sin(t / 600) + random.normal(0, 0.25, 1500)
    y[random.random(1500) < 0.08] += 9.0
    fit = fit_strip(t, d, y, np.full(1500, 0.25))
    assert fit is not None
    at = np.linspace(100, 2600, 20)
    assert np.abs(fit.at(at, 0.0)[0] - 2 * np.sin(at / 600)).max() < 0.3


def test_stated_uncertainty_covers_the_error() -> None:
    """Errors lie within 2 standard uncertainties in about 95 % of cases; at least 85 %, as neighbours correlate."""
    within = []
    for seed in range(40):
        random = np.random.default_rng(seed)
        phase = random.uniform(0, 6)
        t, d = random.uniform(0, 2700, 900), random.uniform(30, 140, 900)
        fit = fit_strip(t, d, 3 * np.sin(t / 500 + phase) + 0.003 * d + random.normal(0, 0.3, 900), np.full(900, 0.3))
        assert fit is not None
        at = np.linspace(50, 2650, 12)
        value, uncertainty = fit.at(at, 0.0)
        within.append(np.abs(value - 3 * np.sin(at / 500 + phase)) < 2 * uncertainty)
    assert 0.85 <= np.mean(within) <= 1.0


def test_where_data_end_the_uncertainty_grows() -> None:
    random = np.random.default_rng(5)
    t, d = random.uniform(1000, 2700, 600), random.uniform(30, 140, 600)
    fit = fit_strip(t, d, 0.5 * np.sin(t / 300) + random.normal(0, 0.3, 600), np.full(600, 0.3), span=(0.0, 2700.0))
    assert fit is not None
    _, uncertainty = fit.at(np.array([100.0, 2000.0]), 0.0)
    assert uncertainty[0] > 5 * uncertainty[1]


@pytest.mark.parametrize("count", [0, 3, 7])
def test_too_few_data_give_no_fit(count: int) -> None:
    assert fit_strip(np.zeros(count), np.zeros(count), np.zeros(count), np.ones(count)) is None
