"""Patches by hand, and that a wall patched to plan keeps its rules under a straightedge laid anywhere."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.sample_walls import Surface, dent, elevation, flat, rectangle_corners, surface
from unfold.arrays import Floats
from unfold.layout.patching import EdgeRule, PatchLimits, PatchPlan, patch_spots, plan_patch, robust_plane
from unfold.layout.wall_face import WallFace
from unfold.layout.wall_heights import WallHeights, wall_heights

WALL = elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"))

ANYTHING = PatchLimits(100.0, 100.0, 1.0)
RULES = (EdgeRule(3048.0, 3.175), EdgeRule(609.6, 1.5875))


def measured(height: Surface) -> WallHeights:
    return wall_heights(WallFace(WALL), surface(WALL, height, standard_error=0.0))


def greatest_gap(heights: WallHeights, length: float, seed: int, tries: int = 300) -> float:
    """The greatest gap under a straightedge laid at random places and angles: slow and plain."""
    rng = np.random.default_rng(seed)
    worst = 0.0
    for _ in range(tries):
        angle = rng.uniform(0.0, math.pi)
        reach = length / 2.0 * np.array([abs(math.cos(angle)), abs(math.sin(angle))])
        low, high = reach + 10.0, np.array([4000.0, 2700.0]) - reach - 10.0
        if (low > high).any():
            continue
        centre = rng.uniform(low, high)
        along = np.arange(-length / 2.0, length / 2.0, 10.0)
        u, v = centre[:, None] + np.array([[math.cos(angle)], [math.sin(angle)]]) * along
        column, row = np.searchsorted(heights.u_mm, u) - 1, np.searchsorted(heights.v_mm, v) - 1
        worst = max(worst, gap_under_edge(along, heights.height_mm[row, column]))
    return worst


def gap_under_edge(along: Floats, height: Floats) -> float:
    """The widest gap between the upper hull of a profile and the profile."""
    hull: list[int] = []
    for index in range(len(along)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (height[b] - height[a]) * (along[index] - along[a]) > (height[index] - height[a]) * (
                along[b] - along[a]
            ):
                break
            hull.pop()
        hull.append(index)
    return float((np.interp(along, along[hull], height[hull]) - height).max())


def _planned(heights: WallHeights, band_mm: float) -> PatchPlan:
    return plan_patch(heights, band_mm, (), ANYTHING)


def test_a_dent_by_hand() -> None:
    # Depth 6 times cos2 over a radius of 500: volume = pi R2 d (1/2 - 2/pi2), filled but for what is thinner than 0.3.
    heights = measured(dent(2000.0, 1300.0, 500.0, 6.0))
    spots = patch_spots(heights, _planned(heights, 1e-3))
    assert [spot.kind for spot in spots] == ["fill"]
    volume = math.pi * 500.0**2 * 6.0 * (0.5 - 2.0 / math.pi**2) * 1e-6
    assert spots[0].volume_litres == pytest.approx(volume, rel=0.02)
    assert spots[0].most_mm == pytest.approx(6.0, abs=0.15)
    centre = spots[0].ring_mm.mean(axis=0)
    np.testing.assert_allclose(centre, [2000.0, 1300.0], atol=25.0)
    assert spots[0].area_mm2 < math.pi * 500.0**2


def test_a_bump_is_taken_down() -> None:
    heights = measured(dent(2000.0, 1300.0, 150.0, -4.0))
    spots = patch_spots(heights, _planned(heights, 1.0))
    assert [spot.kind for spot in spots] == ["take_down"] and spots[0].most_mm == pytest.approx(3.0, abs=0.1)


def test_a_flat_wall_needs_nothing() -> None:
    heights = measured(flat)
    plan = plan_patch(heights, 1.0, RULES, ANYTHING)
    assert plan.proved and not plan.correction_mm.any() and patch_spots(heights, plan) == ()


def test_dents_do_not_pull_the_plane() -> None:
    heights = measured(lambda u, v: 0.001 * u - 0.002 * v + 1.0 + dent(2000.0, 1300.0, 600.0, 9.0)(u, v))
    plane = robust_plane(heights)
    truth = 0.001 * heights.u_mm[None, :] - 0.002 * heights.v_mm[:, None] + 1.0
    assert np.abs(plane - truth).max() < 0.05


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6))
def test_a_patched_wall_keeps_its_rules_wherever_an_edge_is_laid(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shapes = [
        dent(*rng.uniform((300.0, 300.0, 80.0, -5.0), (3700.0, 2400.0, 700.0, 9.0)))
        for _ in range(int(rng.integers(1, 5)))
    ]
    heights = measured(lambda u, v: sum((shape(u, v) for shape in shapes), 0.0005 * u + 0.0 * v))
    plan = plan_patch(heights, 9.7, RULES, ANYTHING)
    assert plan.proved
    patched = heights.corrected(plan.correction_mm)
    assert greatest_gap(patched, 2400.0, seed) <= 3.175
    assert greatest_gap(patched, 609.6, seed) <= 1.5875
