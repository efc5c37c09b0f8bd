"""Scribed edges stay scribed: the offset is parallel, exactly."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from unfold.arrays import Floats
from unfold.layout.parallel import left_normals, mitre_wedge, parallel_line, parallel_strip


def scribed(seed: int, count: int, roughness: float) -> Floats:
    """A floor line sampled each 10 mm with a random walk in height."""
    rng = np.random.default_rng(seed)
    return np.stack([10.0 * np.arange(count), np.cumsum(rng.normal(0.0, roughness, count))], axis=1)


def test_the_parallel_of_a_straight_edge() -> None:
    moved = parallel_line(np.array([[0.0, 0.0], [10.0, 0.0], [30.0, 0.0]]), 3.175)
    np.testing.assert_allclose(moved, [[0.0, 3.175], [10.0, 3.175], [30.0, 3.175]], atol=1e-12)


def test_pieces_meet_in_a_mitre() -> None:
    # A right angle to the left, sides 100: the parallel's corner is at (100 - d, d).
    moved = parallel_line(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0]]), 6.35)
    np.testing.assert_allclose(moved, [[0.0, 6.35], [93.65, 6.35], [93.65, 100.0]], atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 120), st.floats(0.0, 1.0), st.floats(0.5, 12.0))
def test_every_piece_is_moved_by_exactly_the_gap(seed: int, count: int, roughness: float, gap: float) -> None:
    points = scribed(seed, count, roughness)
    moved = parallel_line(points, gap)
    normals = left_normals(points)
    # Both ends of each moved piece lie at the gap from the piece's own line: a parallel, not a copy pushed upward.
    np.testing.assert_allclose(np.einsum("ij,ij->i", moved[:-1] - points[:-1], normals), gap, rtol=1e-9)
    np.testing.assert_allclose(np.einsum("ij,ij->i", moved[1:] - points[1:], normals), gap, rtol=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(10, 80), st.floats(0.0, 4.0), st.floats(0.5, 12.0))
def test_the_strip_holds_what_is_nearer_than_the_gap(seed: int, count: int, roughness: float, gap: float) -> None:
    points = scribed(seed, count, roughness)
    strip, line = parallel_strip(points, gap), LineString(points)
    rng = np.random.default_rng(seed + 1)
    for u, above in rng.uniform(
        (points[0, 0] + 2.0 * gap, 0.05), (max(points[-1, 0] - 2.0 * gap, 2.1 * gap), 3.0), (30, 2)
    ):
        probe = Point(u, float(np.interp(u, *points.T)) + above * gap)
        distance = probe.distance(line)
        if distance < gap - 1e-6:
            assert strip.contains(probe)
        elif distance > gap * 3.0 + 1e-6:  # mitres reach at most three gaps far
            assert not strip.contains(probe)


def test_a_gentle_edge_agrees_with_a_fine_library_buffer() -> None:
    points = scribed(3, 300, 0.3)
    strip = parallel_strip(points, 3.175)
    assert shapely.length(LineString(points)) * 3.175 == pytest.approx(strip.area, rel=1e-3)
    buffered = LineString(points).buffer(3.175, cap_style="flat", join_style="round", quad_segs=64)
    assert strip.difference(buffered).area < 0.5  # mitre tips, and what the library's simplification moves


def test_an_edge_that_would_cross_its_parallel_is_built_of_pieces() -> None:
    notch = np.array([[0.0, 0.0], [50.0, 0.0], [52.0, -30.0], [54.0, 0.0], [100.0, 0.0]])
    strip = parallel_strip(notch, 6.0)
    assert strip.is_valid
    assert strip.covers(Point(52.0, 1.0)) and strip.covers(Point(80.0, 5.99)) and not strip.covers(Point(80.0, 6.01))


def test_strips_of_different_width_meet_round_a_corner() -> None:
    # Round the lower corner of a drop the strips are 6 and 3 wide: the wedge is the rectangle between them.
    wedge = mitre_wedge(np.zeros(2), np.array([0.0, -1.0]), np.array([-1.0, 0.0]), 6.0, 3.0)
    assert wedge.area == pytest.approx(18.0) and wedge.bounds == pytest.approx((-3.0, -6.0, 0.0, 0.0))


def test_no_gap_takes_nothing() -> None:
    assert parallel_strip(scribed(1, 20, 0.5), 0.0).is_empty
