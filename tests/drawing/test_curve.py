"""Rings to lines and arcs: within the tolerance both ways, as few vertices as can be, true to area and length."""

import math
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.arrays import Floats
from unfold.drawing.curve import (
    distances_to_ring_mm,
    fit_path,
    flatten_path,
    mirror_path,
    move_path,
    path_area_mm2,
    path_length_mm,
)

TOLERANCE_MM = 0.05
FLAT_MM = 0.0005


def circle(radius: float, points: int, clockwise: bool = False) -> Floats:
    angle = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False) * (-1.0 if clockwise else 1.0)
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


def rounded_rectangle(width: float, height: float, radius: float, steps: int = 12) -> Floats:
    corners = [(width - radius, height - radius), (radius, height - radius), (radius, radius), (width - radius, radius)]
    turn = np.linspace(0.0, np.pi / 2, steps)
    return np.vstack([
        np.column_stack([x + radius * np.cos(turn + i * np.pi / 2), y + radius * np.sin(turn + i * np.pi / 2)])
        for i, (x, y) in enumerate(corners)
    ])  # fmt: skip


def scribed_panel(seed: int, noise: float) -> Floats:
    """A panel 1200 x 2500 with a scribed foot and head, sampled every 10 mm, and straight sides."""
    generator = np.random.default_rng(seed)
    u = np.arange(0.0, 1201.0, 10.0)
    foot = 2.0 * np.sin(u / 380.0) + generator.normal(0.0, noise, len(u))
    head = 2500.0 + 3.0 * np.cos(u / 510.0) + generator.normal(0.0, noise, len(u))
    return np.vstack([np.column_stack([u, foot]), np.column_stack([u, head])[::-1]])


def farthest_apart_mm(path: Floats, ring: Floats) -> float:
    flat = flatten_path(path, FLAT_MM)
    dense = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(ring), 2.0))[:-1]
    return float(max(distances_to_ring_mm(flat, ring).max(), distances_to_ring_mm(dense, flat).max()))


def test_a_rectangle_stays_as_it_is() -> None:
    ring = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 1200.0], [0.0, 1200.0]])
    path = fit_path(ring, TOLERANCE_MM)
    assert len(path) == 4
    assert np.all(path[:, 2] == 0.0)
    assert path_area_mm2(path) == 720000.0


@pytest.mark.parametrize("clockwise", [False, True])
def test_a_circle_becomes_two_half_circles(clockwise: bool) -> None:
    # A polygon of 100 sides in a circle of 34 mm lies at most 34 (1 - cos 1.8 deg) = 0.0168 mm inside it.
    path = fit_path(circle(34.0, 100, clockwise), TOLERANCE_MM)
    sign = -1.0 if clockwise else 1.0
    assert len(path) == 2
    assert path[:, 2] * sign == pytest.approx([1.0, 1.0], abs=2e-3)  # bulge of a half circle: tan(180 / 4 deg) = 1
    assert path_area_mm2(path) * sign == pytest.approx(math.pi * 34.0**2, rel=2e-3)


def test_rounded_corners_become_quarter_circles() -> None:
    path = fit_path(rounded_rectangle(80.0, 120.0, 5.0), TOLERANCE_MM)
    assert len(path) == 8
    assert sorted(np.round(path[:, 2], 6)) == [0.0] * 4 + [pytest.approx(0.414214, abs=1e-3)] * 4  # tan(90 / 4 deg)
    assert path_length_mm(path) == pytest.approx(2.0 * (70.0 + 110.0) + 2.0 * math.pi * 5.0, rel=1e-6)
    assert path_area_mm2(path) == pytest.approx(80.0 * 120.0 - (4.0 - math.pi) * 25.0, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.01, 0.05, 0.3]), st.sampled_from([0.005, 0.02, 0.05]))
def test_scribed_edges_keep_within_the_tolerance(seed: int, noise: float, tolerance: float) -> None:
    ring = scribed_panel(seed, noise)
    path = fit_path(ring, tolerance)
    assert farthest_apart_mm(path, ring) <= tolerance + FLAT_MM
    assert len(path) <= len(ring)
    assert abs(path_area_mm2(path) - shapely.Polygon(ring).area) <= tolerance * path_length_mm(path)


@settings(max_examples=30, deadline=None)
@given(st.floats(2.0, 3000.0), st.floats(20.0, 300.0), st.integers(0, 1000))
def test_arcs_keep_within_the_tolerance(radius: float, span_deg: float, seed: int) -> None:
    """An arc closed by its chord, its chords within 0.02 mm of it, with noise of 0.01 mm."""
    step = 2.0 * math.acos(1.0 - min(0.02 / radius, 0.5))
    angle = np.linspace(0.0, math.radians(span_deg), max(8, math.ceil(math.radians(span_deg) / step)) + 1)
    noisy = radius + np.random.default_rng(seed).uniform(-0.01, 0.01, len(angle))
    ring = np.column_stack([noisy * np.cos(angle), noisy * np.sin(angle)])
    path = fit_path(ring, TOLERANCE_MM)
    assert farthest_apart_mm(path, ring) <= TOLERANCE_MM + FLAT_MM
    assert len(path) <= 1 + math.ceil(span_deg / 179.0) + 1


def fewest_lines(ring: Floats, tolerance: float) -> int:
    """The fewest vertices of any polygon on the ring's own vertices, the first among them, that keeps the tolerance."""
    count = len(ring)
    closed = np.vstack([ring, ring[:1]])
    for inner in range(2, count):
        for chosen in combinations(range(1, count), inner):
            ends = (0, *chosen, count)
            if all(_line_fits(closed, a, b, tolerance) for a, b in pairwise(ends)):
                return inner + 1
    return count


def _line_fits(points: Floats, first: int, last: int, tolerance: float) -> bool:
    line = shapely.LineString(points[[first, last]])
    return all(line.distance(shapely.Point(point)) <= tolerance for point in points[first : last + 1])


@pytest.mark.parametrize("seed", range(12))
def test_no_polygon_has_fewer_vertices(seed: int) -> None:
    generator = np.random.default_rng(seed)
    u = np.arange(0.0, 91.0, 10.0)
    ring = np.vstack([
        np.column_stack([u, np.cumsum(generator.normal(0.0, 0.05, len(u)))]), [[90.0, 300.0], [0.0, 300.0]]
    ])  # fmt: skip
    path = fit_path(ring, TOLERANCE_MM, arcs=False)
    assert np.all(path[:, 2] == 0.0)
    assert len(path) <= fewest_lines(np.roll(ring, 1, axis=0), TOLERANCE_MM)


def test_mirroring_and_moving_keep_the_shape() -> None:
    path = fit_path(rounded_rectangle(80.0, 120.0, 5.0), TOLERANCE_MM)
    mirrored = mirror_path(path, 40.0)
    assert path_area_mm2(mirrored) == pytest.approx(path_area_mm2(path), rel=1e-12)
    flat, mirrored_flat = flatten_path(path, 0.001), flatten_path(mirrored, 0.001)
    assert distances_to_ring_mm(mirrored_flat * [-1.0, 1.0] + [80.0, 0.0], flat).max() < 1e-6
    turned = move_path(path, True, (120.0, 0.0))
    assert turned[:, :2].min(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert turned[:, :2].max(axis=0) == pytest.approx([120.0, 80.0], abs=1e-9)
    assert path_area_mm2(turned) == pytest.approx(path_area_mm2(path), rel=1e-12)


def test_repeated_points_do_no_harm() -> None:
    ring = np.array([[0.0, 0.0], [0.0, 0.0], [600.0, 0.0], [600.0, 1200.0], [600.0, 1200.0], [0.0, 1200.0]])
    assert len(fit_path(ring, TOLERANCE_MM)) == 4


def test_too_few_points_are_a_fault() -> None:
    with pytest.raises(ValueError, match="three points"):
        fit_path(np.zeros((5, 2)), TOLERANCE_MM)
