"""Rays collected near edges: against a plain twin, however the points are cut and ordered."""

from typing import cast

import numpy as np
import pytest

from tests.elevation.scenes import MadeScan, grid_of, room, upright, wall
from unfold.arrays import Floats
from unfold.elevation import collect
from unfold.elevation.collect import FRONT_M, Zone, ZoneRays, collect_zone_rays
from unfold.elevation.kernels import FACE, direction_cell
from unfold.room.frame import WallFrame
from unfold.room.result import Room
from unfold.scan import Scan
from unfold.scan.result import Chunk, Station

PLACE = np.array([0.4, -2.1, 1.3])


def scan_of(points: Floats, known: bool = True, pieces: int = 1) -> Scan:
    station = Station("one", 0, PLACE if known else None, None, len(points))
    chunks = tuple(
        Chunk(0, part.astype(np.float32), np.zeros((0, 3), np.float32)) for part in np.array_split(points, pieces)
    )
    return cast(Scan, MadeScan((station,), chunks, np.zeros(3)))


def one_wall(radius: float | None) -> Room:
    # the wall faces the station, which stands at y = -2.1: inward is right x up = -y
    return room((wall("W1", upright((-0.5, 0.0, 0.0), 0.0, radius), 1.8),), (), np.zeros((1, 3)))


def crossing(frame: WallFrame, end: Floats, height: float) -> Floats | None:
    """Where a ray first comes down to a height before the wall, by bisection on the frame's own formulas; (u, v)."""
    share = np.linspace(0, 3.0, 3001)
    path = PLACE + share[:, None] * (end - PLACE)
    h = frame.uvh_from_level(path)[:, 2] - height
    down = np.flatnonzero((h[:-1] > 0) & (h[1:] <= 0))
    if down.size == 0:
        return None
    low, high = share[down[0]], share[down[0] + 1]
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (
            (middle, high)
            if frame.uvh_from_level(PLACE + middle * (end - PLACE)[None])[0, 2] > height
            else (low, middle)
        )
    return frame.uvh_from_level(PLACE + low * (end - PLACE)[None])[0, :2] * 1000


@pytest.mark.parametrize("radius", [None, 3.0, -2.5])
@pytest.mark.parametrize("height_mm", [0.0, 12.0])
def test_crossings_are_those_of_a_plain_search(radius: float | None, height_mm: float) -> None:
    scene = one_wall(radius)
    frame = scene.walls[0].frame
    random = np.random.default_rng(2)
    ends = frame.level_from_uvh(
        np.column_stack(
            [
                random.uniform(0, 1.8, 400),
                random.uniform(0, 2.5, 400),
                random.choice([0.0, -0.05, -1.0, 0.02, 0.5], 400),
            ]
        )
    )
    grid = grid_of(scene.walls[0])
    cells = np.argwhere(np.ones((grid.rows, grid.columns), dtype=bool))
    found = collect_zone_rays(scan_of(ends), scene, [grid], [Zone(0, cells, height_mm)])[0]
    expected = []
    for end in ends.astype(np.float32).astype(float):
        place = crossing(frame, end, height_mm / 1000)
        h = frame.uvh_from_level(end[None])[0, 2]
        if place is not None and h <= FRONT_M:
            expected.append([*place, h * 1000])
    rays = np.column_stack([found.u, found.v, found.h])
    assert len(rays) == len(expected)
    wanted = np.array(expected)
    np.testing.assert_allclose(rays[np.argsort(rays[:, 0])], wanted[np.argsort(wanted[:, 0])], atol=0.02)


def test_drift_leads_from_the_crossing_to_the_end() -> None:
    scene = one_wall(None)
    frame = scene.walls[0].frame
    ends = frame.level_from_uvh(np.array([[0.4, 1.0, -0.3], [1.5, 2.0, -0.1], [0.9, 0.5, 0.03]]))
    grid = grid_of(scene.walls[0])
    zone = Zone(0, np.argwhere(np.ones((grid.rows, grid.columns), dtype=bool)), 0.0)
    rays = collect_zone_rays(scan_of(ends), scene, [grid], [zone])[0]
    reached = np.column_stack([rays.u + rays.du * rays.h, rays.v + rays.dv * rays.h])
    wanted = frame.uvh_from_level(ends)[:, :2] * 1000
    np.testing.assert_allclose(reached[np.argsort(reached[:, 0])], wanted[np.argsort(wanted[:, 0])], atol=0.01)


@pytest.mark.parametrize("pieces", [1, 3, 50])
def test_the_sample_does_not_depend_on_how_points_are_cut_or_ordered(
    pieces: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(collect, "SAMPLE_RAYS", 600)
    scene = one_wall(None)
    random = np.random.default_rng(7)
    ends = scene.walls[0].frame.level_from_uvh(random.uniform((0, 0, -0.1), (1.8, 2.5, 0.02), (5000, 3)))
    grid = grid_of(scene.walls[0])
    zone = Zone(0, np.argwhere(np.ones((grid.rows, grid.columns), dtype=bool)), 0.0)

    def sample(points: Floats, parts: int) -> ZoneRays:
        return collect_zone_rays(scan_of(points, pieces=parts), scene, [grid], [zone])[0]

    whole, cut = sample(ends, 1), sample(random.permutation(ends), pieces)
    np.testing.assert_array_equal(whole.u, cut.u)
    assert 250 < whole.u.size <= 600
    assert whole.share == cut.share < 1


def test_points_of_unknown_station_count_where_they_lie() -> None:
    scene = one_wall(None)
    places = np.array([[0.4, 1.0, -0.3], [1.5, 2.0, -0.6], [0.9, 0.5, 0.03], [0.9, 0.5, 0.2]])
    grid = grid_of(scene.walls[0])
    zone = Zone(0, np.argwhere(np.ones((grid.rows, grid.columns), dtype=bool)), 0.0)
    ends = scene.walls[0].frame.level_from_uvh(places)
    rays = collect_zone_rays(scan_of(ends, known=False), scene, [grid], [zone])[0]
    np.testing.assert_allclose(np.sort(rays.u), [400.0, 900.0], atol=0.01)
    assert not rays.du.any()


def test_every_direction_has_its_own_cell() -> None:
    directions = np.random.default_rng(1).normal(size=(3000, 3))
    cells = np.array([direction_cell(*direction) for direction in directions])
    assert cells.min() >= 0 and cells.max() < 6 * FACE * FACE
    assert all(direction_cell(*(2.5 * direction)) == cell for direction, cell in zip(directions, cells, strict=True))
