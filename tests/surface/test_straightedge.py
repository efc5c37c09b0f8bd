"""The straightedge against closed forms, a brute-force twin, and shapes that only a diagonal one finds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tests.surface.plain import gap_under as plain_gap
from tests.surface.plain import worst_anywhere
from unfold.arrays import Floats
from unfold.surface import straightedge_kernels as kernels
from unfold.surface.blocks import block_sums
from unfold.surface.straightedge import (
    HeightField,
    coarse_step_mm,
    directions,
    from_corners,
    search,
    worst_straightedge,
)

U, V = np.meshgrid(np.arange(5.0, 3600.0, 10.0), np.arange(5.0, 2500.0, 10.0))


def worst_of(height: Floats, length_mm: float) -> tuple[float, float]:
    """Worst gap of a map with cells of 10 mm, and its direction in degrees."""
    ratio = round(coarse_step_mm(length_mm, 10.0) / 10.0)
    blocks = block_sums(height, ratio) / block_sums(np.ones(height.shape), ratio)
    field = HeightField(blocks, np.ones(blocks.shape, bool), 10.0 * ratio)
    fine = HeightField(height, np.ones(height.shape, bool), 10.0)
    found = worst_straightedge(field, fine, lambda: np.repeat(blocks[None], 2, axis=0), length_mm, 1e9)
    assert found is not None
    return found[1].gap_mm, float(np.degrees(found[1].angle_rad))


@pytest.mark.parametrize(("length_mm", "gap_mm"), [(609.6, 0.287), (2000.0, 3.086), (3048.0, 7.168)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_bow_of_10_mm_in_3600(length_mm: float, gap_mm: float, sign: float) -> None:
    # s = c^2 / (8 R) with R = 162005 mm, the same for a hollow and, as equal end gaps, for a crown (computed)
    height = sign * (np.sqrt(162005.0**2 - (U - 1800.0) ** 2) - 162005.0)
    assert worst_of(height, length_mm)[0] == pytest.approx(gap_mm, abs=0.02)


@pytest.mark.parametrize(("length_mm", "gap_mm"), [(609.6, 1.025), (900.0, 1.707), (1200.0, 2.0), (3048.0, 2.0)])
@pytest.mark.parametrize("direction_deg", [0.0, 45.0, 77.0])
def test_a_sine_surface(length_mm: float, gap_mm: float, direction_deg: float) -> None:
    # amplitude 1 mm, wavelength 1200 mm: 1 - cos(pi L / 1200) up to one wavelength, then 2 (computed)
    turn = np.radians(direction_deg)
    height = np.sin(2 * np.pi * (U * np.cos(turn) + V * np.sin(turn)) / 1200.0)
    assert worst_of(height, length_mm)[0] == pytest.approx(gap_mm, abs=0.02)


def test_a_twist_shows_on_the_diagonal_only() -> None:
    # z = k u v is straight along u and along v; at 45 degrees it is a parabola of second derivative k
    height = 4e-6 * (U - 1800.0) * (V - 1250.0)
    gap, angle = worst_of(height, 2000.0)
    assert gap == pytest.approx(4e-6 * 2000.0**2 / 8, abs=0.01)
    assert min(abs(angle - 45.0), abs(angle - 135.0)) < 2.0
    ratio = round(coarse_step_mm(2000.0, 10.0) / 10.0)
    blocks = block_sums(height, ratio) / ratio**2
    field = HeightField(blocks[:-1, :-1], np.ones((blocks.shape[0] - 1, blocks.shape[1] - 1), bool), 10.0 * ratio)
    along_the_grid = search(field, 2000.0, 1e9, np.array([0.0, np.pi / 2]))[0]
    assert along_the_grid[0, 0] < 0.01 < gap


def test_it_bridges_an_opening_and_is_shortened_to_the_wall() -> None:
    height = -4.0 * (1 - ((U[:, :200] - 1000.0) / 1000.0) ** 2)
    valid = np.ones(height.shape, bool)
    valid[:, 60:140] = False
    field = HeightField(height[::5, ::5].copy(), valid[::5, ::5].copy(), 50.0)
    windows, _ = search(field, 3048.0, 1.0)
    # the deepest of what was measured lies beside the opening, 400 mm off the middle, and the edge rests on both sides
    assert windows[0, 0] == pytest.approx(4.0 * (1 - 0.4**2), abs=0.25)
    # the wall is 2.0 m wide
    inside = windows[np.abs(windows[:, 3]) < 0.05]
    assert (inside[:, 4] * 50.0 <= 2000.0).all()


@given(arrays(float, st.integers(3, 12), elements=st.floats(-5, 5)))
@settings(max_examples=60, deadline=None)
def test_gap_agrees_with_its_plain_twin(height: Floats) -> None:
    place = np.arange(float(len(height)))
    found = kernels.gap_under(place, height, len(height), np.empty(len(height), np.int64))[0]
    assert found == pytest.approx(plain_gap(place, height), abs=1e-6)


@given(arrays(float, st.integers(3, 12), elements=st.floats(-5, 5)), st.floats(-2, 2), st.floats(-2, 2))
@settings(max_examples=40, deadline=None)
def test_a_tilt_changes_nothing(height: Floats, offset: float, slope: float) -> None:
    place = np.arange(float(len(height)))
    hull = np.empty(len(height), np.int64)
    level = kernels.gap_under(place, height, len(height), hull)[0]
    tilted = kernels.gap_under(place, height + offset + slope * place, len(height), hull)[0]
    assert tilted == pytest.approx(level, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_search_finds_what_brute_force_finds(seed: int) -> None:
    random = np.random.default_rng(seed)
    rows, columns = 14, 18
    y, x = np.mgrid[:rows, :columns]
    height = np.sin(x / random.uniform(3, 5)) + random.uniform(-0.02, 0.02) * x * y + np.cos(y / random.uniform(3, 6))
    valid = np.ones((rows, columns), bool)
    valid[4:7, 6:9] = False
    field = HeightField(height, valid, 50.0)
    angles = directions(8 * 50.0, 50.0)
    brute = worst_anywhere(height, valid, 8.0, angles)
    windows, _ = search(field, 8 * 50.0, 1e9)
    moved = windows[:40, 1:].copy()
    gaps = np.zeros(len(moved))
    kernels.climb(height, valid, moved, 1.0, 1.0, 0.05, gaps)
    # the search takes every second line and moves the best windows on; it may end a little above the twin's own grid
    assert gaps.max() == pytest.approx(brute, rel=0.06)


def test_cells_under_a_gap_over_the_limit_are_marked() -> None:
    height = np.zeros((60, 80))
    height[:, 40:] = 2.0 * (np.arange(40) / 10.0 % 1.0)
    field = HeightField(height, np.ones(height.shape, bool), 30.0)
    over = search(field, 610.0, 1.0)[1]
    assert over[:, 45:].mean() > 0.9 and over[:, :15].mean() == 0.0


@pytest.mark.parametrize("length_mm", [3048.0, 3500.0])
def test_a_twisted_wall_hardly_larger_than_the_edge_is_worst_from_corner_to_corner(length_mm: float) -> None:
    # a saddle h = a x y is convex along one diagonal: from corner to corner the gap in the middle is a X Y, exactly
    rows, columns, corner_mm = 307, 51, 2.7
    y, x = np.mgrid[-1.0 : 1.0 : rows * 1j, -1.0 : 1.0 : columns * 1j]
    field = HeightField(corner_mm * x * y, np.ones((rows, columns), bool), 10.0)
    laid = from_corners(field, length_mm)
    gaps = kernels.gaps_under(np.repeat(field.height_mm[None], len(laid), axis=0), field.valid, laid, 1.0)
    share = min(1.0, length_mm / (10.0 * np.hypot(rows - 1, columns - 1)))
    assert gaps.max() == pytest.approx(corner_mm * share**2, rel=0.02)
