"""Reference planes against exact cases: least squares, minimum zone, lean and bow."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.surface.reference_planes import least_squares_plane, low_order, minimum_zone_plane

GRID_U, GRID_V = (axis.ravel() for axis in np.meshgrid(np.arange(3.0), np.arange(3.0)))


@pytest.mark.parametrize("apex", [(0.5, 0.25), (0.3, 0.3), (0.5, 0.5)])
def test_three_one_contact(apex: tuple[float, float]) -> None:
    # square +-1 at 0 with an apex of 1 anywhere inside: minimum zone 1 (computed, linear program)
    u, v = np.array([-1.0, 1, 1, -1, apex[0]]), np.array([-1.0, -1, 1, 1, apex[1]])
    assert minimum_zone_plane(u, v, np.array([0.0, 0, 0, 0, 1])).flatness == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("apex", "flatness"), [((0.0, 0.0), 1.0), ((0.5, 0.25), 1.0824)])
def test_least_squares_of_a_square_with_an_apex(apex: tuple[float, float], flatness: float) -> None:
    # 1 at the centre, 1.0824 with the apex at (0.5, 0.25) (computed)
    u, v = np.array([-1.0, 1, 1, -1, apex[0]]), np.array([-1.0, -1, 1, 1, apex[1]])
    assert least_squares_plane(u, v, np.array([0.0, 0, 0, 0, 1])).flatness == pytest.approx(flatness, abs=5e-5)


def test_two_two_crossing() -> None:
    # corners of a unit square 0, 0, 0, 4: width 2; least squares the same, residuals +-1 (computed)
    u, v, z = np.array([0.0, 1, 1, 0]), np.array([0.0, 0, 1, 1]), np.array([0.0, 0, 0, 4])
    assert minimum_zone_plane(u, v, z).flatness == pytest.approx(2.0, abs=1e-9)
    plane = least_squares_plane(u, v, z)
    assert [plane.highest, plane.deepest] == pytest.approx([1.0, -1.0])


def test_the_three_by_three_grid() -> None:
    # rows (0 4 6)(-5 20 -9)(-10 -3 8): minimum zone 27, least squares 32.333 (+18.778, -13.556, rms 8.2556) (computed)
    z = np.array([0.0, 4, 6, -5, 20, -9, -10, -3, 8])
    assert minimum_zone_plane(GRID_U, GRID_V, z).flatness == pytest.approx(27.0, abs=1e-8)
    plane = least_squares_plane(GRID_U, GRID_V, z)
    assert plane.flatness == pytest.approx(32.333, abs=1e-3)
    assert [plane.highest, plane.deepest] == pytest.approx([18.778, -13.556], abs=1e-3)
    residual = z - (plane.offset + plane.slope_u * GRID_U + plane.slope_v * GRID_V)
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(8.2556, abs=1e-4)


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_the_minimum_zone_is_the_least(seed: int) -> None:
    random = np.random.default_rng(seed)
    u, v = random.uniform(0, 4000, (2, 300))
    z = random.normal(0, 1, 300) + 1e-3 * u
    zone = minimum_zone_plane(u, v, z)
    assert zone.flatness <= least_squares_plane(u, v, z).flatness + 1e-9
    for _ in range(20):
        tilt = z - (zone.slope_u + random.normal(0, 1e-5)) * u - (zone.slope_v + random.normal(0, 1e-5)) * v
        assert zone.flatness <= np.ptp(tilt) + 1e-9


def test_lean_and_bows_of_a_known_shape() -> None:
    u, v = (axis.ravel() for axis in np.meshgrid(np.arange(5.0, 4000, 10), np.arange(5.0, 2500, 10)))
    z = (
        3.0 * (1 - ((u - 2000) / 2000) ** 2)
        - 1.5 * (1 - ((v - 1250) / 1250) ** 2)
        + 0.002 * v
        + 1e-7 * (u - 2000) * (v - 1250)
    )
    maps = low_order(u, v, (4000.0, 2500.0))
    assert maps.bow_horizontal @ z == pytest.approx(3.0, abs=1e-6)
    assert maps.bow_vertical @ z == pytest.approx(-1.5, abs=1e-6)
    assert maps.lean @ z == pytest.approx(2.0, abs=1e-3)
