"""Small holes without stations: told by their reveal and by what is missing, not by a shadow or by chance."""

import numpy as np
import pytest
from scipy.stats import poisson

from tests.elevation.scenes import surface, upright, wall
from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.candidates import find_candidates
from unfold.elevation.evidence import BEHIND, EMPTY, PROUD, WALL, Evidence
from unfold.elevation.hollows import CHANCE, goes_on, is_hollow, with_holes
from unfold.elevation.local_rays import LocalRays
from unfold.elevation.rings import signed_distance


def circle(diameter: float) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return 0.5 * diameter * np.column_stack([np.cos(turn), np.sin(turn)])


def points_about(
    seed: int, diameter: float, spacing: float, open_hole: bool, reveal: int, turn_deg: float
) -> LocalRays:
    """Points on a wall about a pipe's hole, `reveal` of them on the half of its side face that one station sees."""
    random = np.random.default_rng(seed)
    a, b = random.uniform(-90, 90, (2, int((180 / spacing) ** 2)))
    keep = np.hypot(a, b) > diameter / 2 if open_hole else np.ones(a.size, bool)
    turn = np.radians(random.uniform(-turn_deg, turn_deg, reveal))
    a, b = (np.r_[one[keep], 0.5 * diameter * at] for one, at in ((a, np.cos(turn)), (b, np.sin(turn))))
    depth = np.r_[random.normal(0, 0.8, int(keep.sum())), random.uniform(5.0, 80.0, reveal)]
    none = np.zeros(a.size)
    return LocalRays(a, b, none, none, depth, np.zeros(a.size, np.int64))


@pytest.mark.parametrize(("diameter", "spacing"), [(75.0, 8.0), (90.0, 6.0), (127.0, 10.0)])
def test_an_empty_hole_with_a_reveal_is_hollow(diameter: float, spacing: float) -> None:
    # the number of points missing is beyond the chance asked for, by the tables of the Poisson distribution
    assert poisson.cdf(0, np.pi * (diameter / 2 - 3) ** 2 / spacing**2) < CHANCE
    for seed in range(20):
        assert is_hollow(points_about(seed, diameter, spacing, True, 40, 90.0), circle(diameter), 0.8)


def test_a_shadow_has_no_reveal_and_strays_on_one_side_are_none() -> None:
    for seed in range(20):
        assert not is_hollow(points_about(seed, 90.0, 6.0, True, 0, 90.0), circle(90.0), 0.8)
        assert not is_hollow(points_about(seed, 90.0, 6.0, True, 40, 10.0), circle(90.0), 0.8)


def test_a_wall_with_strays_behind_it_is_not_hollow_by_chance() -> None:
    found = [is_hollow(points_about(s, 60.0, 14.0, False, 12, 180.0), circle(60.0), 0.8) for s in range(300)]
    assert not any(found)


def test_few_points_missing_are_no_proof() -> None:
    # a hole of 50 mm where points lie 15 mm apart would miss 6.8 of them: an empty place of that size comes by chance
    assert not any(is_hollow(points_about(s, 50.0, 15.0, True, 12, 90.0), circle(50.0), 0.8) for s in range(20))


def test_the_part_of_a_hole_that_gave_points_is_completed_to_the_hole() -> None:
    grid = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0)).grid
    inside = np.zeros((grid.rows, grid.columns), dtype=bool)
    inside[20:270, 20:220] = True
    kind = np.where(inside, WALL, EMPTY).astype(np.int8)
    kind[100:112, 100:112] = EMPTY  # a box of 120 mm
    kind[100:112, 107:112] = BEHIND  # of which one station sees the right side face
    kind[200:212, 100:112] = EMPTY  # a shadow
    behind = np.where(kind == BEHIND, 3, 0)
    evidence = Evidence(grid, kind, kind, np.full(kind.shape, 6.0), np.zeros(kind.shape, dtype=bool))
    floor = np.zeros(grid.columns)
    part = find_candidates(evidence, behind, inside, floor)
    assert [one.box_mm[0] for one in part] == [870.0]
    whole = with_holes(part, evidence, 0.8, behind, inside, floor)
    assert [one.box_mm for one in whole] == [(800.0, 800.0, 920.0, 920.0)]


@pytest.mark.parametrize("open_hole", [True, False])
def test_where_the_wall_goes_on_what_lies_behind_is_no_back(open_hole: bool) -> None:
    # the back of a niche in the next wall round the corner lies behind this one, and rays never told which it is
    rays, ring = points_about(1, 120.0, 5.0, open_hole, 300, 180.0), circle(120.0)
    distance = signed_distance(ring, np.column_stack([rays.a, rays.b]))
    assert goes_on(rays, distance, ring, 0.8) == (not open_hole)


def hole_in_a_wall(sparse: bool) -> tuple[Evidence, Bools, AnyArray]:
    """A box of 100 mm seen from one side: nothing came from its left, but for two strays that stand proud.

    Where points are sparse each empty cell is taken for what the nearest point is, wall or box.
    """
    grid = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0)).grid
    inside = np.zeros((grid.rows, grid.columns), dtype=bool)
    inside[20:270, 20:220] = True
    seen = np.where(inside, WALL, EMPTY).astype(np.int8)
    seen[100:110, 100:110] = EMPTY
    seen[100:110, 108:110] = BEHIND
    seen[103, 102] = seen[106, 102] = PROUD
    kind = seen.copy()
    if sparse:
        kind[100:110, 100:104], kind[100:110, 106:108] = WALL, BEHIND
    else:
        kind[100:110, 101:104] = PROUD
    spacing = np.full(kind.shape, 14.0 if sparse else 8.0)
    return Evidence(grid, seen, kind, spacing, np.zeros(kind.shape, dtype=bool)), inside, np.where(seen == BEHIND, 3, 0)


@pytest.mark.parametrize("sparse", [False, True])
def test_neither_strays_nor_the_scale_of_sparse_points_part_a_hole(sparse: bool) -> None:
    # 80 cells without a point, of 14 mm spacing: 41 points are missing, of which the chance is exp(-41) (Poisson)
    assert poisson.pmf(0, 80 * (10.0 / 14.0) ** 2) < CHANCE
    evidence, inside, behind = hole_in_a_wall(sparse)
    if sparse:
        evidence.seen[103, 102] = evidence.seen[106, 102] = EMPTY
    whole = with_holes([], evidence, 0.8, behind, inside, np.zeros(inside.shape[1]))
    assert [one.box_mm for one in whole] == [(800.0, 800.0, 900.0, 900.0)]


def test_boards_around_a_clear_opening_are_no_lack_of_wall_beside_it() -> None:
    """A few points of a cased door's reveal lie at the height of the wall: it does not go on within for that."""
    random = np.random.default_rng(5)
    a, b = random.uniform(-400, 400, (2, 40_000))
    reach = np.maximum(np.abs(a), np.abs(b))
    depth = np.where(reach < 300.0, 60.0, np.where(reach < 380.0, -16.0, 0.0)) + random.normal(0, 0.8, a.size)
    rim = (reach < 300.0) & (reach > 280.0) & (random.random(a.size) < 0.2)
    depth[rim] = random.normal(0, 1.0, rim.sum())
    none = np.zeros(a.size)
    rays = LocalRays(a, b, none, none, depth, np.zeros(a.size, np.int64))
    ring = np.array([[-300.0, -300.0], [300.0, -300.0], [300.0, 300.0], [-300.0, 300.0]])
    distance = signed_distance(ring, np.column_stack([a, b]))
    assert not goes_on(rays, distance, ring, 0.8)
