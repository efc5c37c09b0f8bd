"""Rings: areas with known answers, shapely as the reference, and the kernels' plain twins."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPoint, Polygon

from unfold.arrays import Floats
from unfold.elevation.ring_kernels import cells_near_wall
from unfold.elevation.rings import (
    cells_inside,
    counter_clockwise,
    outer_rings,
    polygons_of_cells,
    signed_area,
    signed_distance,
)
from unfold.room.frame import WallFrame
from unfold.surface.result import Grid


def star(radii: list[float]) -> Floats:
    """A simple ring: one point in each of equally spaced directions."""
    turn = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    return np.column_stack([np.array(radii) * np.cos(turn), np.array(radii) * np.sin(turn)])


def test_area_of_the_textbook_polygon() -> None:
    # trade sheet section 7: (3,4)(5,11)(12,8)(9,5)(5,6) = 30, clockwise so signed -30 (from memory, textbook)
    ring = np.array([[3.0, 4], [5, 11], [12, 8], [9, 5], [5, 6]])
    assert signed_area(ring) == pytest.approx(-30.0)
    assert signed_area(counter_clockwise(ring)) == pytest.approx(30.0)


def test_area_of_an_l_shaped_wall() -> None:
    # trade sheet section 7: wall 4.0 x 2.7 m with a 2.5 x 0.3 m drop = 10 050 000 mm2 (computed)
    ring = np.array([[0.0, 0], [4000, 0], [4000, 2700], [2500, 2700], [2500, 2400], [0, 2400]])
    assert signed_area(ring) == pytest.approx(10_050_000.0)
    assert signed_area(ring + 5e8) == pytest.approx(10_050_000.0, rel=1e-6)  # map coordinates


def test_least_area_box_of_a_turned_square() -> None:
    # trade sheet section 7, Freeman and Shapira 1975: unit square turned 30 deg: area 1, upright box 1.8660
    c, s = np.cos(np.pi / 6), np.sin(np.pi / 6)
    square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) @ np.array([[c, s], [-s, c]])
    assert MultiPoint(square).minimum_rotated_rectangle.area == pytest.approx(1.0)
    assert np.prod(np.ptp(square, axis=0)) == pytest.approx(1.8660, abs=5e-5)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(5.0, 60.0), min_size=3, max_size=24), st.integers(0, 2**31))
def test_distances_are_those_of_shapely(radii: list[float], seed: int) -> None:
    ring, points = star(radii), np.random.default_rng(seed).uniform(-80, 80, (50, 2))
    polygon = Polygon(ring)
    places = shapely.points(points)
    distance = shapely.distance(polygon.exterior, places)
    expected = np.where(shapely.contains(polygon, places), -distance, distance)
    np.testing.assert_allclose(signed_distance(ring, points), expected, atol=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(5.0, 60.0), min_size=3, max_size=24))
def test_cells_inside_are_those_of_shapely(radii: list[float]) -> None:
    ring, grid = star(radii), Grid(-70.3, -71.1, 7.0, 21, 22)
    u = grid.u0_mm + grid.cell_mm * np.arange(grid.columns)
    v = grid.v0_mm + grid.cell_mm * np.arange(grid.rows)
    expected = shapely.contains_xy(Polygon(ring), *np.meshgrid(u, v))
    np.testing.assert_array_equal(cells_inside(ring, grid), expected)


def test_cells_become_rings_of_the_same_area_also_around_a_hole() -> None:
    cells = np.zeros((12, 15), dtype=bool)
    cells[2:9, 3:12] = True
    cells[4:6, 5:8] = False  # a hole
    cells[10, 1] = True
    rings = outer_rings(polygons_of_cells(cells, Grid(0.0, 0.0, 10.0, 12, 15)), 1.0)
    assert sum(signed_area(ring) for ring in rings) == pytest.approx(cells.sum() * 100.0)
    assert all(Polygon(ring).is_valid and signed_area(ring) > 0 for ring in rings)


@pytest.mark.parametrize("radius", [None, 1.4, -0.6])
def test_cells_near_a_wall_are_those_of_its_frame(radius: float | None) -> None:
    frame = WallFrame(
        np.array([0.3, -0.2, 0.1]),
        np.array([0.8, 0.6, 0.0]),
        np.array([0.0, 0, 1]),
        np.cross([0.8, 0.6, 0.0], [0.0, 0, 1]),
        radius,
    )
    mean = np.random.default_rng(3).uniform(-2, 2, (4000, 3)).astype(np.float32)
    packed = np.concatenate([frame.origin_m, frame.right, frame.up, frame.inward])
    found = cells_near_wall(mean, packed, radius or 0.0, 1.5, 0.03, 0.3)
    u, _, h = frame.uvh_from_level(mean.astype(float)).T
    np.testing.assert_array_equal(found, np.flatnonzero((h > 0.03) & (h < 0.3) & (u > 0) & (u < 1.5)))
