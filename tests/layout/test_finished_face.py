"""The bed by hand, and the promise that it is never thinner than the least."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.sample_walls import bow, elevation, opening, rectangle, rectangle_corners, surface
from unfold.layout.finished_face import bed_of, finished_face, plumb_slope
from unfold.layout.wall_face import WallFace
from unfold.layout.wall_heights import cells_of, wall_heights
from unfold.surface.result import Grid

WALL = elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2"))


def test_a_bowed_wall_by_hand() -> None:
    # Bow 4 mm proud in the middle, u(h) 0.05: face at 4 + 2 * 0.05 + 3 + 6 = 13.1.
    heights = wall_heights(WallFace(WALL), surface(WALL, bow(3000.0, 4.0)))
    face = finished_face(heights, 3.0, 6.0)
    assert face.offset_mm == pytest.approx(13.1, abs=1e-3)
    bed = bed_of(face, heights, 8.1e6, 3.0)
    # A parabola's mean is two thirds of its sagitta: mean bed 7.1 - 4 * 2/3; 8.1 m2 of it.
    assert (bed.least_mm, bed.mean_mm, bed.most_mm) == pytest.approx((3.1, 7.1 - 8.0 / 3.0, 7.1), abs=0.03)
    assert bed.volume_litres == pytest.approx(8.1 * bed.mean_mm)


def test_a_plumb_face_before_a_leaning_wall() -> None:
    # The frame leans 2 mm/m into the room; a plumb plane falls behind it going up.
    tilt = np.arctan(0.002)
    up, inward = np.array([0.0, -np.sin(tilt), np.cos(tilt)]), np.array([0.0, -np.cos(tilt), -np.sin(tilt)])
    slope = plumb_slope(np.array([0.0, 0.0, 1.0]), up, inward)
    assert slope == pytest.approx(-0.002)
    heights = wall_heights(WallFace(WALL), surface(WALL, standard_error=0.0))
    face = finished_face(heights, 3.0, 6.0, slope)
    bed = bed_of(face, heights, 8.1e6, 3.0)
    # Least at the top; at the foot 2 mm/m * 2.7 m more (cells' centres reach from 5 to 2695 mm or so).
    assert bed.least_mm == pytest.approx(3.0) and bed.most_mm == pytest.approx(3.0 + 5.4, abs=0.05)


def test_board_makes_the_bed_even() -> None:
    heights = wall_heights(WallFace(WALL), surface(WALL, bow(3000.0, 15.0)))
    face = finished_face(heights, 3.0, 6.0, 0.0, 12.7)
    assert face.offset_mm == pytest.approx(15.1 + 12.7 + 3.0 + 6.0, abs=1e-2)
    assert bed_of(face, heights, 8.1e6, 3.0).most_mm == 3.0


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.0, 4.0), st.floats(0.01, 2.0))
def test_the_least_bed_is_kept_at_the_surfaces_upper_bound(seed: int, waves: float, error: float) -> None:
    rng = np.random.default_rng(seed)
    kx, ky, phase = rng.uniform((0.001, 0.001, 0.0), (0.01, 0.01, 6.0))
    heights = wall_heights(
        WallFace(WALL),
        surface(WALL, lambda u, v: waves * np.sin(kx * u + phase) * np.cos(ky * v), standard_error=error),
    )
    face = finished_face(heights, 3.0, 6.0)
    upper = heights.height_mm + 2.0 * heights.standard_error_mm
    assert np.nanmin(face.offset_mm - 6.0 - upper) == pytest.approx(3.0)


def test_heights_count_inside_the_outline_and_outside_openings_only() -> None:
    door = opening("W1-O1", "door", 1000.0, 0.0, 900.0, 2050.0)
    face = WallFace(elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2"), [door]))
    inside = cells_of(face.net, Grid(-5.0, -5.0, 10.0, 272, 302))
    assert inside.sum() == 300 * 270 - 90 * 205
    assert inside[1:271, 1:101].all() and not inside[1:206, 101:191].any() and inside[206:271, 101:191].all()


def test_what_is_unseen_is_not_measured() -> None:
    hidden = elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2"), (), [rectangle(1000.0, 0.0, 500.0, 800.0)])
    heights = wall_heights(WallFace(hidden), surface(hidden))
    row, column = int(np.argmin(np.abs(heights.v_mm - 400.0))), int(np.argmin(np.abs(heights.u_mm - 1250.0)))
    assert not heights.measured[row, column]


def test_uncertain_cells_are_averaged_and_say_so() -> None:
    rng = np.random.default_rng(7)
    noise = rng.normal(0.0, 2.0, (300, 400))
    heights = wall_heights(
        WallFace(WALL), surface(WALL, lambda u, v: noise[: v.shape[0], : u.shape[1]], standard_error=2.0)
    )
    middle = heights.height_mm[50:-50, 50:-50]
    # 25 cells: 2 / 5 = 0.4; what is claimed is what is found.
    assert middle.std() == pytest.approx(0.4, rel=0.1)
    assert heights.standard_error_mm[100, 100] == pytest.approx(0.4)
