"""The second pass over the points: pack the walls, stream the chunks through the kernels, unpack per wall.

A ray proves the space along it empty, so each point is held against the walls that its ray can meet first; a table
per station from the direction in plan to those walls makes that one look-up a ray. Points whose station is not known
are held against the walls near them, by where they lie.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Counts, Floats, Floats32, Ints
from unfold.room.result import Wall
from unfold.surface.coarse import COARSE_STEP_CELLS, CoarseSurface
from unfold.surface.kernels import (
    BESIDE,
    BESIDE_SUM,
    BLOCKED,
    DEPTH,
    FRONT,
    HIT,
    HIT_SQUARES,
    HIT_SUM,
    LOST,
    PROUD,
    RECESS,
    THROUGH,
    Plan,
    Sums,
    View,
    WallTable,
    cast_escaped,
    cast_rays,
    place_points,
)
from unfold.surface.result import Grid

NEAR_REACH_MM = 30.0
PROUD_REACH_MM = 100.0
EXTENT_SLACK_MM = 50.0
TILE_CELLS = 10
SECTORS = 2048
_PLAN_STEP_M = 0.25
_MOST_FINE_COUNTS = 150_000_000  # cells x stations of two bytes


@dataclass(frozen=True, slots=True)
class WallSums:
    """What the rays and points left on one wall's raster; arrays (rows, columns) unless said otherwise."""

    grid: Grid
    coarse_mm: Floats  # the surface that heights are counted from, at the cells' centres
    band_mm: float
    hit: Counts
    recess: Counts
    through: Counts
    proud: Counts
    blocked: Counts
    lost: Counts  # those of `through` that met nothing
    near: Counts  # points within NEAR_REACH_MM of the coarse surface
    front: Counts  # those of `near` that are proud
    depth_sum: Floats
    hit_sum: Floats  # mm, of heights over the coarse surface
    hit_squares: Floats
    near_sum: Floats
    by_station: Counts  # (stations, rows, columns) hits of each station; no stations where not kept
    tiles: Floats  # (stations, tile rows, tile columns, 3) count, sum and sum of squares of hits


class RayCaster:
    """Streams points over all walls: create, add chunks, finish."""

    def __init__(
        self,
        walls: Sequence[Wall],
        grids: Sequence[Grid],
        coarse: Sequence[CoarseSurface],
        level_from_local: Floats,
        places_m: Sequence[Floats | None],
        recess_reach_mm: float,
    ) -> None:
        self._level_from_local = np.ascontiguousarray(level_from_local, dtype=float)
        self._grids, self._coarse = grids, coarse
        self._table = pack_walls(walls, grids, coarse, level_from_local, recess_reach_mm)
        self._views = [
            None if place is None else view_from(place, walls, self._table, level_from_local) for place in places_m
        ]
        self._plan = plan_of(walls, level_from_local)
        self._places = len(places_m)
        self._sums = self._empty_sums()

    def _empty_sums(self) -> Sums:
        table = self._table
        cells = int(table.shape.prod(axis=1).sum())
        tile_shape = -(-table.shape // TILE_CELLS)
        tiles = tile_shape.prod(axis=1)
        kept = self._places if self._places * cells <= _MOST_FINE_COUNTS else 0
        return Sums(
            np.zeros((cells, 8), np.uint32),
            np.zeros((cells, 4)),
            np.zeros((kept, cells if kept else 0), np.uint16),
            np.zeros((self._places, int(tiles.sum()), 3)),
            np.concatenate([[0], np.cumsum(tiles)[:-1]]).astype(np.int64),
            tile_shape,
        )

    def add(self, points_m: Floats32, escaped: Floats32, station: int) -> None:
        """Add points (n, 3) in local metres of a station, and unit directions (m, 3) of its rays that met nothing."""
        view = self._views[station]
        if view is None:
            place_points(points_m, self._table, self._plan, self._sums, station)
            return
        cast_rays(points_m, self._table, view, self._sums, station)
        if len(escaped):
            cast_escaped(escaped, self._table, view, self._sums, station)

    def set_band(self, w: int, band_mm: float) -> None:
        """Say how far from wall w's coarse surface a point may lie and still be the wall's; only before adding."""
        self._table.band[w] = band_mm

    def clear(self) -> None:
        """Forget what was added."""
        self._sums = self._empty_sums()

    def finish(self, w: int) -> WallSums:
        """What was found on wall w."""
        table, sums, grid = self._table, self._sums, self._grids[w]
        shape = (grid.rows, grid.columns)
        cells = slice(int(table.first[w]), int(table.first[w]) + grid.rows * grid.columns)
        tile_shape = tuple(int(n) for n in sums.tile_shape[w])
        tiles = slice(int(sums.tile_first[w]), int(sums.tile_first[w]) + tile_shape[0] * tile_shape[1])

        def count(which: int) -> Counts:
            return sums.counts[cells, which].reshape(shape)

        def total(which: int) -> Floats:
            return sums.sums[cells, which].reshape(shape)

        return WallSums(
            grid,
            self._coarse[w].at_cells(grid),
            float(table.band[w]),
            count(HIT),
            count(RECESS),
            count(THROUGH),
            count(PROUD),
            count(BLOCKED),
            count(LOST),
            count(HIT) + count(BESIDE),
            count(FRONT),
            total(DEPTH),
            total(HIT_SUM),
            total(HIT_SQUARES),
            total(HIT_SUM) + total(BESIDE_SUM),
            sums.by_station[:, cells].reshape(len(sums.by_station), *shape)
            if len(sums.by_station)
            else np.zeros((0, *shape), np.uint16),
            sums.tiles[:, tiles].reshape(self._places, *tile_shape, 3),
        )


def pack_walls(
    walls: Sequence[Wall],
    grids: Sequence[Grid],
    coarse: Sequence[CoarseSurface],
    level_from_local: Floats,
    recess_reach_mm: float,
) -> WallTable:
    """Pack walls for the kernels, with their frames in local coordinates."""
    shape = np.array([[grid.rows, grid.columns] for grid in grids], np.int64)
    nodes = np.array([surface.nodes_mm.shape for surface in coarse], np.int64)
    cell = grids[0].cell_mm
    return WallTable(
        axes=np.stack([wall.frame.axes @ level_from_local for wall in walls]) * 1000.0,
        origin=np.stack([level_from_local.T @ wall.frame.origin_m for wall in walls]),
        radius=np.array([1000.0 * (wall.frame.radius_m or 0.0) for wall in walls]),
        extent=np.array([[0.0, wall.width_m, wall.bottom_m, wall.top_m] for wall in walls]) * 1000.0,
        corner=np.array([[grid.u0_mm - cell / 2, grid.v0_mm - cell / 2] for grid in grids]),
        shape=shape,
        first=np.concatenate([[0], np.cumsum(shape.prod(axis=1))[:-1]]).astype(np.int64),
        coarse=np.concatenate([surface.nodes_mm.ravel() for surface in coarse]).astype(np.float32),
        coarse_shape=nodes,
        coarse_first=np.concatenate([[0], np.cumsum(nodes.prod(axis=1))[:-1]]).astype(np.int64),
        band=np.array([surface.band_mm for surface in coarse]),
        numbers=np.array(
            [
                cell,
                COARSE_STEP_CELLS * cell,
                NEAR_REACH_MM,
                PROUD_REACH_MM,
                recess_reach_mm,
                EXTENT_SLACK_MM,
                float(TILE_CELLS),
            ]
        ),
    )


def footprint(wall: Wall, steps: int = 33) -> Floats:
    """Places (n, 3) in level coordinates, metres, that bound what is counted as near a wall, row after row along u."""
    u = np.linspace(-0.2, wall.width_m + 0.2, max(steps, 2))
    rows = [
        wall.frame.level_from_uvh(np.stack([u, np.full_like(u, v), np.full_like(u, h)], axis=1))
        for v in (wall.bottom_m - 0.2, wall.top_m + 0.2)
        for h in (-0.05, 0.11)
    ]
    return np.concatenate(rows)


def _turn(angle: Floats) -> Floats:
    """The kernels' stand-in for an angle in plan, in quarter circles: the same order, no sine."""
    x, y = np.cos(angle), np.sin(angle)
    size = np.abs(x) + np.abs(y)
    return np.asarray(np.where(y >= 0.0, 1.0 - x / size, 3.0 + x / size))


def sectors_seen(offsets: Floats, sectors: int = SECTORS) -> Bools:
    """Which sectors of plan a wall's footprint covers; `offsets` (rows, n, 2) m from the station, along the wall."""
    seen = np.zeros(sectors, bool)
    if np.hypot(offsets[..., 0], offsets[..., 1]).min() < 0.3:
        return np.ones(sectors, bool)
    angle = np.unwrap(np.arctan2(offsets[..., 1], offsets[..., 0]), axis=1)
    middle = angle[0, angle.shape[1] // 2]
    angle -= 2 * np.pi * np.round((angle[:, angle.shape[1] // 2, None] - middle) / (2 * np.pi))
    low, high = angle.min(), angle.max()
    if high - low > 1.9 * np.pi:
        return np.ones(sectors, bool)
    edge = np.floor(_turn(np.array([low, high])) * 0.25 * sectors).astype(int)
    first, last = edge[0] - 1, edge[1] + 1
    if last < first:
        last += sectors
    seen[np.arange(first, last + 1) % sectors] = True
    return seen


def view_from(place_m: Floats, walls: Sequence[Wall], table: WallTable, level_from_local: Floats) -> View:
    """What a station at `place_m` (local) can see of the walls, by direction in plan."""
    at = level_from_local @ place_m
    seen = np.stack(
        [
            sectors_seen(
                (footprint(wall, 33 if wall.frame.radius_m is None else 129)[:, :2] - at[:2]).reshape(4, -1, 2)
            )
            for wall in walls
        ]
    )
    uvh = np.einsum("wij,wj->wi", table.axes, place_m - table.origin)
    start, listed = _listed(seen.T)
    return View(
        np.array(place_m, dtype=float), uvh, np.ascontiguousarray(level_from_local[:2], dtype=float), start, listed
    )


def plan_of(walls: Sequence[Wall], level_from_local: Floats) -> Plan:
    """Which walls a point may belong to, by where it lies in plan."""
    marks = [footprint(wall, max(33, int(wall.width_m / 0.05)))[:, :2] for wall in walls]
    low = np.min([mark.min(axis=0) for mark in marks], axis=0) - 0.7
    size = np.ceil((np.max([mark.max(axis=0) for mark in marks], axis=0) + 0.7 - low) / _PLAN_STEP_M).astype(np.int64)
    near = np.zeros((len(walls), size[1], size[0]), bool)
    reach = range(-2, 3)
    for w, mark in enumerate(marks):
        a, b = np.floor((mark - low) / _PLAN_STEP_M).astype(int).T
        for i in reach:
            for j in reach:
                near[w, np.clip(b + i, 0, size[1] - 1), np.clip(a + j, 0, size[0] - 1)] = True
    start, listed = _listed(near.reshape(len(walls), -1).T)
    return Plan(np.ascontiguousarray(level_from_local[:2], dtype=float), low, _PLAN_STEP_M, size, start, listed)


def _listed(holds: Bools) -> tuple[Ints, Ints]:
    """Turn a table (places, walls) into lists of walls, place after place."""
    start = np.concatenate([[0], np.cumsum(holds.sum(axis=1))]).astype(np.int64)
    return start, np.nonzero(holds)[1].astype(np.int64)
