"""Openings and corners, against textbook values and brute force."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.layout.passage import Passage, longest_round_corner_mm, passes, rectangle_fits


def test_the_ladder_problem() -> None:
    # Thin ladder, corridors of equal width: 2 sqrt(2) w; of 8 and 27 (cubes): (4 + 9)^(3/2) = 46.872 (computed).
    assert longest_round_corner_mm(1000.0, 1000.0, 0.0) == pytest.approx(2828.427, abs=1e-3)
    assert longest_round_corner_mm(8.0, 27.0, 0.0) == pytest.approx(13.0**1.5, abs=1e-9)


def test_equal_corridors_with_thickness() -> None:
    # By symmetry the tightest angle is 45 deg: L = 2 sqrt(2) w - 2 t.
    assert longest_round_corner_mm(1000.0, 1000.0, 100.0) == pytest.approx(2828.4271 - 200.0, abs=1e-3)
    assert longest_round_corner_mm(1000.0, 90.0, 100.0) == 0.0


@settings(max_examples=40)
@given(st.floats(600.0, 2000.0), st.floats(600.0, 2000.0), st.floats(5.0, 200.0), st.floats(0.9, 1.1))
def test_the_corner_against_polygons(width: float, next_width: float, thickness: float, share: float) -> None:
    """Slide a box round the corner in steps of 0.1 degrees, its ends on both outer walls: does it stay in the room?"""
    length = share * longest_round_corner_mm(width, next_width, thickness)
    room = shapely.union(shapely.box(0.0, 0.0, 1e5, width), shapely.box(0.0, 0.0, next_width, 1e5))
    angles = np.radians(np.arange(0.5, 90.0, 0.1))
    fits = True
    for angle in angles:
        a, b = np.array([length * math.cos(angle), 0.0]), np.array([0.0, length * math.sin(angle)])
        inward = thickness * np.array([math.sin(angle), math.cos(angle)])
        inside = shapely.Polygon([a, b, b + inward, a + inward]).difference(room).area < 1e-3 * length
        fits = fits and inside
    if not 0.998 < share < 1.002:
        assert fits == (share < 1.0)


def test_rectangles_inclined() -> None:
    # A rectangle of 10 x 1 in a square of 8: upright it does not fit; inclined by 45 deg it spans 11 / sqrt(2) = 7.78.
    assert rectangle_fits(10.0, 1.0, 8.0, 8.0)
    assert not rectangle_fits(10.4, 1.0, 8.0, 8.0)  # 11.4 / sqrt(2) = 8.06
    assert not rectangle_fits(5.0, 4.0, 9.0, 3.9)


@settings(max_examples=60)
@given(st.floats(1.0, 15.0), st.floats(0.1, 10.0), st.floats(2.0, 10.0), st.floats(2.0, 10.0))
def test_rectangles_against_turning(length: float, width: float, room_length: float, room_width: float) -> None:
    angle = np.linspace(0.0, math.pi, 36001)
    spans = (
        length * np.abs(np.cos(angle)) + width * np.abs(np.sin(angle)),
        length * np.abs(np.sin(angle)) + width * np.abs(np.cos(angle)),
    )
    over = np.maximum(spans[0] - room_length, spans[1] - room_width).min()
    if abs(over) > 1e-3:
        assert rectangle_fits(length, width, room_length, room_width) == (over < 0.0)


def test_a_panel_through_a_door_and_round_a_corner() -> None:
    door = Passage("door", 915.0, 2040.0)
    assert passes(door, (1200.0, 2700.0), 6.0)  # 1200 upright
    assert passes(door, (2200.0, 2700.0), 6.0)  # inclined: hypot(915, 2040) = 2235.8
    assert not passes(door, (2260.0, 2700.0), 6.0)
    corner = Passage("corridor", 1200.0, 2400.0, next_width_mm=1000.0)
    assert passes(corner, (1200.0, 3000.0), 6.0)  # longest (1200^(2/3) + 1000^(2/3))^(3/2) = 3105 less the thickness
    assert not passes(corner, (1200.0, 3150.0), 6.0)
    assert not passes(corner, (2500.0, 3000.0), 6.0)  # taller than the corridor


def test_behind_a_door_the_room_has_to_be_deep_or_wide() -> None:
    # On its long side it goes straight into a room 3100 deep. In one 1500 deep it turns, as up to
    # (915^(2/3) + 1500^(2/3))^(3/2) = 3385 less about the thickness do; 900 deep that is 2567, and it cannot be told.
    sides = (3000.0, 1200.0)
    assert passes(Passage("door", 915.0, 2040.0, depth_behind_mm=3100.0), sides, 6.0) is True
    assert passes(Passage("door", 915.0, 2040.0, depth_behind_mm=1500.0), sides, 6.0) is True
    assert passes(Passage("door", 915.0, 2040.0, depth_behind_mm=900.0), sides, 6.0) is None
    assert passes(Passage("door", 915.0, 1100.0, depth_behind_mm=900.0), sides, 6.0) is None  # inclined
    assert passes(Passage("hatch", 500.0, 600.0, depth_behind_mm=5000.0), sides, 6.0) is False


def test_a_passage_needs_a_size() -> None:
    with pytest.raises(ValueError, match="lift"):
        Passage("lift", 0.0, 2000.0)
