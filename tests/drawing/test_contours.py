"""Contours run where the height is, and noise alone has none."""

import numpy as np
import pytest

from tests.drawing.sample_job import WallPlan, make_elevation, make_surface
from unfold.arrays import Floats
from unfold.drawing.contours import contour_lines, smoothed_heights
from unfold.surface.result import WallSurface


def surface_of(height: Floats, noise: float = 0.0) -> WallSurface:
    """A 3 x 2 m wall of the given heights (220, 310)."""
    plan = WallPlan((0, 0), (3, 0), height=2100.0)
    made = make_surface(plan, make_elevation(plan, "W1", ["W1"]), seed=1)
    heights = np.broadcast_to(height, made.height_mm.shape) + np.random.default_rng(2).normal(
        0.0, noise, made.height_mm.shape
    )
    return WallSurface(
        **{name: getattr(made, name) for name in made.__slots__}
        | {"height_mm": np.where(made.is_wall, heights, np.nan)}
    )


def plain_mean(height: Floats, row: int, column: int, half: int) -> float:
    """The two-pass moving mean at one cell, slow and obvious: a tent of weights over its neighbours."""
    weights = np.convolve(np.ones(2 * half + 1), np.ones(2 * half + 1))
    patch = height[row - 2 * half : row + 2 * half + 1, column - 2 * half : column + 2 * half + 1]
    tent = np.outer(weights, weights) * np.isfinite(patch)
    return float(np.nansum(tent * np.nan_to_num(patch)) / tent.sum())


def test_smoothing_is_a_weighted_mean_of_what_was_measured() -> None:
    surface = surface_of(np.zeros(1), noise=1.0)
    surface.height_mm[100:104, 150:154] = np.nan
    smooth = smoothed_heights(surface)
    half = 5  # 100 mm of 10 mm cells, made odd: 11
    for row, column in ((60, 60), (98, 149), (140, 200)):
        assert smooth[row, column] == pytest.approx(plain_mean(surface.height_mm, row, column, half), abs=1e-9)
    assert np.isnan(smooth[101, 151])


def test_contours_of_a_slope_stand_where_the_height_is() -> None:
    slope = np.asarray((-50.0 + 10.0 * np.arange(310)) / 500.0, dtype=np.float64)
    surface = surface_of(slope, noise=0.3)  # 2 mm a metre
    contours = contour_lines(surface, smoothed_heights(surface))
    assert contours.step_mm == 1.0
    assert {level for level, _ in contours.lines} == {1.0, 2.0, 3.0, 4.0, 5.0}
    for level, line in contours.lines:
        np.testing.assert_allclose(line[:, 0], 500.0 * level, atol=40.0)
        assert np.ptp(line[:, 1]) > 1900.0


def test_noise_alone_draws_nothing() -> None:
    surface = surface_of(np.zeros(1), noise=2.0)
    assert contour_lines(surface, smoothed_heights(surface)).lines == ()


def test_a_wall_that_was_not_measured_has_no_contours() -> None:
    surface = surface_of(np.full(1, np.nan))
    assert contour_lines(surface, smoothed_heights(surface)).step_mm is None
