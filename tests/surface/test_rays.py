"""What rays prove: the compiled pass against its plain twin, cut in any way, and against hand-made cases."""

from collections.abc import Sequence

import numpy as np
import pytest

from tests.surface.made_room import wall_between
from tests.surface.plain import ray_evidence
from unfold.arrays import Floats, Floats32
from unfold.room.result import Wall
from unfold.surface.coarse import COARSE_STEP_CELLS, CoarseSurface, grid_of
from unfold.surface.rays import EXTENT_SLACK_MM, RayCaster

BAND_MM = 4.0
NONE = np.zeros((0, 3), np.float32)
# an L-shaped room, 4 x 3 m less 2 x 1.5 m, clockwise seen from above, and a concave wall in place of its last side
CORNERS = [(0.0, 0.0), (0.0, 3.0), (2.0, 3.0), (2.0, 1.5), (4.0, 1.5), (4.0, 0.0)]
L_SHAPE = [wall_between(f"W{k + 1}", CORNERS[k], CORNERS[(k + 1) % 6]) for k in range(5)]
CURVED = wall_between("W6", (4.0, -0.4), (0.0, -0.4), radius_m=6.0)


def caster(walls: Sequence[Wall], places: Sequence[Floats | None]) -> RayCaster:
    grids = [grid_of(wall) for wall in walls]
    shape = [(-(-g.rows // COARSE_STEP_CELLS) + 1, -(-g.columns // COARSE_STEP_CELLS) + 1) for g in grids]
    flat = [CoarseSurface(np.zeros(s), BAND_MM) for s in shape]
    return RayCaster(walls, grids, flat, np.eye(3), places, 400.0)


def counts(walls: Sequence[Wall], cast: RayCaster) -> list[tuple[int, str, int, int, int]]:
    found = []
    for w in range(len(walls)):
        sums = cast.finish(w)
        for kind in ("hit", "recess", "through", "proud", "blocked"):
            table = getattr(sums, kind)
            found += [(w, kind, int(i), int(j), int(table[i, j])) for i, j in zip(*np.nonzero(table), strict=True)]
    return sorted(found)


def points_around(random: np.random.Generator, number: int) -> Floats32:
    """Points in and beyond the room, many of them near its walls."""
    spread = random.uniform((-0.8, -1.2, 0.05), (4.8, 3.8, 2.45), (number, 3))
    near = random.random(number) < 0.6
    spread[near, random.integers(0, 2)] = random.choice([0.0, 1.5, 3.0], near.sum()) + random.normal(
        0, 0.03, near.sum()
    )
    return spread.astype(np.float32)


@pytest.mark.parametrize("walls", [L_SHAPE, [*L_SHAPE[:5], CURVED]], ids=["planes", "with a curved wall"])
def test_rays_agree_with_their_plain_twin(walls: list[Wall]) -> None:
    random = np.random.default_rng(3)
    place = np.array([1.0, 0.9, 1.3])  # in front of every wall
    points = points_around(random, 400)
    cast = caster(walls, [place])
    cast.add(points, NONE, 0)
    expected: dict[tuple[int, str, int, int], int] = {}
    for end in points.astype(float):
        for w, kind, u, v in ray_evidence(walls, place, end, BAND_MM, EXTENT_SLACK_MM, 400.0):
            grid = grid_of(walls[w])
            i, j = int(np.floor((v - grid.v0_mm) / 10 + 0.5)), int(np.floor((u - grid.u0_mm) / 10 + 0.5))
            if 0 <= i < grid.rows and 0 <= j < grid.columns:
                expected[w, kind, i, j] = expected.get((w, kind, i, j), 0) + 1
    assert counts(walls, cast) == sorted((*key, number) for key, number in expected.items())
    assert {kind for _, kind, *_ in counts(walls, cast)} == {"hit", "recess", "through", "proud", "blocked"}


@pytest.mark.parametrize("pieces", [1, 3, 50])
def test_however_the_points_are_cut_the_sums_are_the_same(pieces: int) -> None:
    points = points_around(np.random.default_rng(4), 3000)
    place = np.array([1.0, 0.9, 1.3])
    whole, cut = caster(L_SHAPE, [place]), caster(L_SHAPE, [place])
    whole.add(points, NONE, 0)
    for piece in np.array_split(points, pieces):
        cut.add(np.ascontiguousarray(piece), NONE, 0)
    assert counts(L_SHAPE, whole) == counts(L_SHAPE, cut)
    np.testing.assert_allclose(whole.finish(0).hit_sum, cut.finish(0).hit_sum, atol=1e-9)


@pytest.mark.parametrize("place", [(1.0, 1.2, 1.3), (0.9, 2.2, 0.2), (3.2, 0.9, 2.0)])
def test_no_ray_that_can_meet_a_wall_is_passed_over_for_its_rise(place: tuple[float, float, float]) -> None:
    column = wall_between("W7", (1.4, 1.8), (1.6, 1.8), radius_m=-0.3)
    walls = [*L_SHAPE, CURVED, column]
    random = np.random.default_rng(6)
    points = np.concatenate([points_around(random, 20_000), random.uniform((-9, -9, -3), (9, 9, 6), (20_000, 3))])
    lost = random.normal(size=(3000, 3))
    lost /= np.linalg.norm(lost, axis=1, keepdims=True)
    quick, thorough = caster(walls, [np.array(place)]), caster(walls, [np.array(place)])
    view = thorough._views[0]
    assert view is not None and np.isfinite(view.rise).any()
    view.rise[:] = -np.inf, np.inf
    for cast in (quick, thorough):
        cast.add(points.astype(np.float32), lost.astype(np.float32), 0)
    assert counts(walls, quick) == counts(walls, thorough)


def test_more_than_64_walls() -> None:
    # a row of stub walls along y = 0, seen from y = -2
    walls = [wall_between(f"W{k}", (0.2 * k + 0.19, 0.0), (0.2 * k, 0.0)) for k in range(80)]
    place = np.array([8.0, 2.0, 1.2])
    walls = [wall_between(f"W{k}", (0.2 * k + 0.19, 0.0), (0.2 * k, 0.0)) for k in range(80)]
    points = np.array([[0.2 * k + 0.1, 0.0, 1.0] for k in range(80)], np.float32)
    cast = caster(walls, [place])
    cast.add(points, NONE, 0)
    assert [int(cast.finish(w).hit.sum()) >= 1 for w in range(80)] == [True] * 80


def test_a_ray_that_met_nothing_went_through_the_first_wall_only_where_it_is() -> None:
    place = np.array([1.0, 0.9, 1.3])
    cast = caster(L_SHAPE, [place])
    toward = np.array([[-1.0, 0.0, 0.0], [-1.0, 0.0, 3.0]], np.float32)
    cast.add(NONE, toward / np.linalg.norm(toward, axis=1, keepdims=True), 0)
    west = cast.finish(0)
    assert west.through.sum() == west.lost.sum() == 1  # the second passes over the wall's top
    assert all(cast.finish(w).through.sum() == 0 for w in range(1, 5))


def test_without_a_station_nothing_is_through_or_blocked() -> None:
    cast = caster(L_SHAPE, [None])
    points = np.array(
        [[0.001, 1.0, 1.0], [0.02, 1.0, 1.0], [-0.1, 1.0, 1.0], [-2.0, 1.0, 1.0], [1.0, 1.0, 1.0]], np.float32
    )
    cast.add(points, NONE, 0)
    west = cast.finish(0)
    assert (west.hit.sum(), west.proud.sum(), west.recess.sum()) == (1, 1, 1)
    assert west.through.sum() == west.blocked.sum() == 0
    assert west.depth_sum.sum() == pytest.approx(100.0, abs=1e-3)


def test_without_a_station_a_column_s_far_face_is_no_recess_of_its_near_one() -> None:
    # a column 0.35 m deep: its faces look away from each other, nearer than the deepest recess
    faces = [wall_between("W1", (0.35, 0.35), (0.0, 0.35)), wall_between("W2", (0.0, 0.0), (0.35, 0.0))]
    cast = caster(faces, [None])
    u, v = np.meshgrid(np.arange(0.055, 0.3, 0.01), np.arange(0.5, 2.0, 0.01))
    for y in (0.0, 0.35):
        cast.add(np.column_stack([u.ravel(), np.full(u.size, y), v.ravel()]).astype(np.float32), NONE, 0)
    for w in (0, 1):
        assert cast.finish(w).hit.sum() == u.size
        assert cast.finish(w).recess.sum() == 0


def test_sums_keep_nist_numacc4() -> None:
    # NIST StRD, univariate, NumAcc4 (1001 values): mean 10000000.2, standard deviation 0.1. Heights are summed about a
    # coarse surface, so squares far from zero never are subtracted; here in mm about 10000000.2 - 0.3.
    values = np.r_[10000000.2, np.tile([10000000.1, 10000000.3], 500)]
    about = 10000000.2 - 0.3
    points = np.stack([(values - about) / 1000.0, np.full(1001, 1.005), np.full(1001, 1.005)], axis=1)
    cast = caster(L_SHAPE, [np.array([1.0, 1.005, 1.005])])
    cast.add(points.astype(np.float32), NONE, 0)
    sums = cast.finish(0)
    i, j = np.unravel_index(np.argmax(sums.hit), sums.hit.shape)
    n, total, squares = int(sums.hit[i, j]), sums.hit_sum[i, j], sums.hit_squares[i, j]
    assert n == 1001
    assert about + total / n == pytest.approx(10000000.2, abs=1e-6)  # single precision points: 0.06 um at 1 m
    assert np.sqrt((squares - total**2 / n) / (n - 1)) == pytest.approx(0.1, rel=1e-5)


def test_lanes_joined_hold_what_one_lane_would() -> None:
    random = np.random.default_rng(8)
    places: list[Floats | None] = [np.array([1.0, 0.9, 1.3]), np.array([3.0, 0.8, 1.5])]
    parts = [(points_around(random, 300), number % 2) for number in range(6)]
    alone, both = caster(L_SHAPE, places), caster(L_SHAPE, places)
    for number, (points, station) in enumerate(parts):
        alone.add(points, NONE, station)
        both.add(points, NONE, station, number % both.lanes)
    both.join_lanes()
    assert both.lanes == 2
    assert counts(L_SHAPE, both) == counts(L_SHAPE, alone)
    for w in range(len(L_SHAPE)):
        one, two = alone.finish(w), both.finish(w)
        np.testing.assert_array_equal(two.by_station, one.by_station)
        np.testing.assert_allclose(two.hit_sum, one.hit_sum, atol=1e-9)
        np.testing.assert_allclose(two.tiles, one.tiles, atol=1e-9)
