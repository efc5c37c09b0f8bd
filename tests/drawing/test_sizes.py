"""Widths and heights are read off the outline where they are said to be."""

import numpy as np
import pytest

from tests.drawing.sample_job import HALL, WallPlan, make_elevation, sample_job
from unfold.drawing.sizes import crossings, edge_at, wall_heights, wall_widths


def test_a_sloped_ceiling_gives_a_different_height_at_each_place() -> None:
    wall = make_elevation(WallPlan((0, 0), (4, 0), height=3000.0, ceiling_rise=-400.0), "W1", ["W1"])
    left, middle, right = (size.length_mm.value for size in wall_heights(wall))
    # the outline's sides bow by up to 3 mm, most of it in the middle
    np.testing.assert_allclose([left, middle, right], [2990.0, 2800.0, 2610.0], atol=6.0)


def test_the_top_width_is_taken_under_a_sloped_ceiling_not_in_its_tip() -> None:
    wall = make_elevation(WallPlan((0, 0), (4, 0), height=3000.0, ceiling_rise=-400.0), "W1", ["W1"])
    bottom, middle, top = wall_widths(wall)
    np.testing.assert_allclose([size.length_mm.value for size in (bottom, middle, top)], 4000.0, atol=6.0)
    assert top.ends_mm[0, 1] == pytest.approx(2500.0, abs=1.0)


def test_uncertainty_is_that_of_both_edges() -> None:
    wall = sample_job().elevations.walls[0]
    for size in (*wall_widths(wall), *wall_heights(wall)):
        assert size.length_mm.standard_uncertainty == pytest.approx(0.35 * np.sqrt(2.0))


def test_a_wall_that_the_scan_cuts_off_says_so() -> None:
    wall = make_elevation(WallPlan((0, 0), (4, 0), ends=("inside_corner", "end")), "W1", ["W1"])
    assert all(size.to_scan_end for size in wall_widths(wall))
    assert not any(size.to_scan_end for size in wall_heights(wall))


def test_every_segment_of_an_outline_belongs_to_the_edge_it_lies_on() -> None:
    for plan, wall in zip(HALL, sample_job().elevations.walls, strict=True):
        for edge in wall.edges:
            middle = (edge.first + ((edge.last - edge.first) % len(wall.outline_mm)) // 2) % len(wall.outline_mm)
            assert edge_at(wall, middle) is edge, plan


def test_crossings_of_a_ring_with_a_drop() -> None:
    # trade sheet section 7: wall 4.0 x 2.7 m with a 2.5 x 0.3 m drop
    ring = np.array([(0, 0), (4000, 0), (4000, 2700), (2500, 2700), (2500, 2400), (0, 2400)], dtype=float)
    np.testing.assert_allclose(crossings(ring, 1, 2500.0)[0], [2500.0, 4000.0])
    np.testing.assert_allclose(crossings(ring, 0, 1000.0)[0], [0.0, 2400.0])
    np.testing.assert_allclose(crossings(ring, 0, 3000.0)[0], [0.0, 2700.0])
