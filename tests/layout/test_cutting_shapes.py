"""Inside corners get the cutter's radius, and boxes their clearance."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from tests.layout.sample_walls import opening, rectangle, round_opening
from unfold.layout.cutting_shapes import clearance_region, narrowest_mm, round_inside_corners
from unfold.layout.wall_face import region, ring_points
from unfold.settings.layout import CuttingSettings, GapSettings, LayoutSettings

L_SHAPE = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 400.0], [600.0, 400.0], [600.0, 900.0], [0.0, 900.0]])


def test_a_rounded_notch_gains_what_a_quarter_circle_leaves_of_its_square() -> None:
    ring, sharp = round_inside_corners(L_SHAPE, 8.0)
    assert not len(sharp)
    assert Polygon(ring).area - Polygon(L_SHAPE).area == pytest.approx(
        64.0 * (1.0 - math.pi / 4.0), abs=0.005 * 4.0 * math.pi
    )
    arc = ring[np.hypot(*(ring - [608.0, 408.0]).T) < 8.5]
    np.testing.assert_allclose(np.hypot(*(arc - [608.0, 408.0]).T), 8.0, rtol=1e-9)


def test_a_turned_corner_gets_a_tangent_arc() -> None:
    # A notch of 120 degrees: tangents start r tan(30 deg) from the corner.
    turn = math.radians(60.0)
    corner = np.array([600.0, 400.0])
    ring = np.array(
        [
            [0.0, 0.0],
            [1000.0, 0.0],
            [1000.0, 400.0],
            corner,
            corner + 300.0 * np.array([-math.cos(turn), math.sin(turn)]),
            [0.0, 660.0],
        ]
    )
    rounded, _ = round_inside_corners(ring, 10.0)
    on_side = rounded[np.isclose(rounded[:, 1], 400.0) & (rounded[:, 0] < 999.0)]
    assert on_side[:, 0].min() == pytest.approx(600.0 + 10.0 * math.tan(turn / 2.0))


def test_corners_too_close_for_the_radius_stay_and_are_named() -> None:
    slot = np.array([[0, 0], [500, 0], [500, 500], [254, 500], [254, 300], [246, 300], [246, 500], [0, 500]], float)
    ring, sharp = round_inside_corners(slot, 5.0)
    np.testing.assert_array_equal(ring, slot)
    np.testing.assert_array_equal(np.sort(sharp[:, 0]), [246.0, 254.0])


def test_a_scribed_edge_is_no_corner() -> None:
    u = np.arange(0.0, 1001.0, 10.0)
    scribed = np.stack([u, 2.0 * np.sin(u / 40.0)], axis=1)
    ring = np.concatenate([scribed, [[1000.0, 500.0], [0.0, 500.0]]])
    rounded, sharp = round_inside_corners(ring, 5.0)
    np.testing.assert_array_equal(rounded, ring)
    assert not len(sharp)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 20.0), st.floats(0.0, 20.0))
def test_the_clearance_around_a_box_holds_all_round(radius: float, clearance: float) -> None:
    rules = LayoutSettings(gaps=GapSettings(box=clearance), cutting=CuttingSettings(inside_radius=radius))
    box = opening("W1-O1", "service", 100.0, 100.0, 70.0, 115.0)
    grown = clearance_region(box, rules)
    hole = ring_points(orient(grown, sign=-1.0).exterior)  # clockwise: the material is outside
    rounded, sharp = round_inside_corners(hole, radius)
    assert not len(sharp)
    ring = Polygon(rounded).exterior
    assert ring.distance(Polygon(box.ring_mm)) >= clearance * (1.0 - 3.1e-4) - 0.005  # chords
    # A disc as large as the cutter goes into every corner: opening the hole by it takes nothing away.
    hole_shape = Polygon(rounded)
    opened = hole_shape.buffer(-radius * 0.99, quad_segs=64).buffer(radius * 0.99, quad_segs=64)
    left_out = hole_shape.difference(opened)
    # A sharp corner would leave 0.215 r2 out.
    assert max((piece.area for piece in getattr(left_out, "geoms", [left_out])), default=0.0) < 0.05 * radius**2 + 1e-6


def test_round_corners_keep_exactly_the_clearance_when_the_cutter_is_small() -> None:
    grown = clearance_region(opening("W1-O1", "service", 0.0, 0.0, 70.0, 115.0), LayoutSettings())
    # 70 x 115 grown by 5 with round corners: 70 * 115 + 5 * perimeter + pi 25
    assert grown.area == pytest.approx(70 * 115 + 5 * 370 + math.pi * 25.0, rel=1e-5)


def test_a_pipe_gets_a_larger_circle() -> None:
    grown = clearance_region(round_opening("W1-O1", 0.0, 0.0, 60.0), LayoutSettings())
    assert grown.area == pytest.approx(math.pi * 35.0**2, rel=3e-3)


def test_a_door_keeps_straight_sides_at_its_gap() -> None:
    grown = clearance_region(opening("W1-O1", "door", 1000.0, 0.0, 900.0, 2050.0), LayoutSettings())
    assert grown.bounds == pytest.approx((1000.0 - 3.175, -3.175, 1900.0 + 3.175, 2053.175))
    assert grown.area == pytest.approx(906.35 * 2056.35)


def test_the_narrowest_part() -> None:
    assert narrowest_mm(region(rectangle(0.0, 0.0, 1000.0, 120.0)), 150.0) == pytest.approx(120.0, abs=1.5)
    assert narrowest_mm(region(rectangle(0.0, 0.0, 1000.0, 160.0)), 150.0) is None
    # A U with legs of 80 and a floor of 400.
    u_shape = np.array([[0, 0], [1000, 0], [1000, 900], [920, 900], [920, 400], [80, 400], [80, 900], [0, 900]], float)
    assert narrowest_mm(region(u_shape), 150.0) == pytest.approx(80.0, abs=1.5)
