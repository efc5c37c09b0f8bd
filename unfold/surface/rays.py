"""The second pass over the points: pack the walls, stream the chunks through the kernels, unpack per wall.

A ray proves the space along it empty, so each point is held against the walls that its ray can meet first; a table
per station from the direction in plan to those walls makes that one look-up a ray. Points whose station is not known
are held against the walls near them, by where they lie.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import AnyArray, Counts, Floats, Floats32
from unfold.room.result import Wall
from unfold.surface import kernels as k
from unfold.surface.block_kernels import take_rasters
from unfold.surface.coarse import COARSE_STEP_CELLS, CoarseSurface
from unfold.surface.result import Grid
from unfold.surface.view import Plan, View, plan_of, view_from

NEAR_REACH_MM = 30.0
PROUD_REACH_MM = 100.0
EXTENT_SLACK_MM = 50.0
TILE_CELLS = 10
_MOST_FINE_COUNTS = 150_000_000  # cells x stations of two bytes
_MOST_TWICE = 30_000_000  # the same, up to which a second lane is worth its memory


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
    near_squares: Floats
    by_station: AnyArray  # (stations, rows, columns) hits of each station; no stations where not kept
    tiles: Floats  # (stations, tile rows, tile columns, 3) count, sum and sum of squares of hits


class _Tally:
    """The rasters of all walls that one lane of points adds to."""

    def __init__(self, cells: int, tiles: int, stations: int, kept: int) -> None:
        self.counts, self.sums = np.zeros((cells, 8), np.uint32), np.zeros((cells, 5))
        self.by_station = np.zeros((kept, cells if kept else 0), np.uint16)
        self.tiles = np.zeros((stations, tiles, 3))

    def take(self, other: "_Tally") -> None:
        """Add what another lane found."""
        self.counts += other.counts
        self.sums += other.sums
        room = np.iinfo(np.uint16).max - self.by_station
        self.by_station += np.minimum(other.by_station, room)
        self.tiles += other.tiles


class RayCaster:
    """Streams points over all walls: create, add chunks, join the lanes, finish.

    Each lane keeps rasters of its own, so that lanes may be filled side by side; which points go to which lane must
    not depend on the machine, or equal runs would differ in the last digits.
    """

    def __init__(
        self,
        walls: Sequence[Wall],
        grids: Sequence[Grid],
        coarse: Sequence[CoarseSurface],
        level_from_local: Floats,
        places_m: Sequence[Floats | None],
        recess_reach_mm: float,
    ) -> None:
        self._grids, self._coarse = grids, coarse
        self._walls = pack_walls(walls, grids, coarse, level_from_local, recess_reach_mm)
        self._nodes = np.concatenate([surface.nodes_mm.ravel() for surface in coarse]).astype(np.float32)
        self._level = np.ascontiguousarray(level_from_local, dtype=float)
        self._views: list[View | None] = [
            None if place is None else view_from(place, walls, self._walls, level_from_local) for place in places_m
        ]
        self._plan: Plan = plan_of(walls)
        self._stations = len(places_m)
        self.clear()

    def clear(self) -> None:
        """Forget what was added."""
        cells = int((self._walls[:, k.ROWS] * self._walls[:, k.COLUMNS]).sum())
        tiles = sum(int(np.prod(_tile_shape(grid))) for grid in self._grids)
        kept = self._stations if self._stations * cells <= _MOST_FINE_COUNTS else 0
        self.lanes = 2 if self._stations * cells <= _MOST_TWICE else 1
        self._tallies = [_Tally(cells, tiles, self._stations, kept) for _ in range(self.lanes)]

    def join_lanes(self) -> None:
        """Bring together what the lanes found, once all was added."""
        for other in self._tallies[1:]:
            self._tallies[0].take(other)
        del self._tallies[1:]

    def add(self, points_m: Floats32, escaped: Floats32, station: int, lane: int = 0) -> None:
        """Add points (n, 3) in local metres of a station, and unit directions (m, 3) of its rays that met nothing."""
        tally = self._tallies[lane]
        view, into = self._views[station], (tally.counts, tally.sums, tally.by_station, tally.tiles)
        if view is None:
            plan = self._plan
            k.place_points(
                points_m,
                self._level,
                plan.corner,
                plan.step_m,
                plan.shape,
                self._walls,
                self._nodes,
                plan.start,
                plan.listed,
                station,
                *into,
            )
            return
        for ends, lost in ((points_m, False), (escaped, True)):
            if len(ends):
                k.cast_rays(
                    ends,
                    lost,
                    view.place,
                    self._level,
                    self._walls,
                    self._nodes,
                    view.seen_from,
                    view.start,
                    view.listed,
                    view.rise,
                    station,
                    *into,
                )

    def set_band(self, w: int, band_mm: float) -> None:
        """Say how far from wall w's coarse surface a point may lie and still be the wall's; only before adding."""
        self._walls[w, k.BAND] = band_mm

    def finish(self, w: int) -> WallSums:
        """What was found on wall w by the first lane, or by all once they are joined."""
        grid, wall = self._grids[w], self._walls[w]
        across, tile_shape = (grid.columns, grid.rows), _tile_shape(grid)
        cells = slice(int(wall[k.FIRST]), int(wall[k.FIRST]) + grid.rows * grid.columns)
        tiles = slice(int(wall[k.TILE_FIRST]), int(wall[k.TILE_FIRST]) + tile_shape[0] * tile_shape[1])
        tally = self._tallies[0]
        count = np.empty((tally.counts.shape[1], grid.rows, grid.columns), np.uint32)
        total = np.empty((tally.sums.shape[1], grid.rows, grid.columns))
        take_rasters(tally.counts[cells], count)
        take_rasters(tally.sums[cells], total)
        return WallSums(
            grid=grid,
            coarse_mm=self._coarse[w].at_cells(grid),
            band_mm=float(wall[k.BAND]),
            hit=count[k.HIT],
            recess=count[k.RECESS],
            through=count[k.THROUGH],
            proud=count[k.PROUD],
            blocked=count[k.BLOCKED],
            lost=count[k.LOST],
            near=count[k.HIT] + count[k.BESIDE],
            front=count[k.FRONT],
            depth_sum=total[k.DEPTH],
            hit_sum=total[k.HIT_SUM],
            hit_squares=total[k.HIT_SQUARES],
            near_sum=total[k.HIT_SUM] + total[k.BESIDE_SUM],
            near_squares=total[k.HIT_SQUARES] + total[k.BESIDE_SQUARES],
            by_station=np.ascontiguousarray(
                tally.by_station[:, cells].reshape(len(tally.by_station), *across).transpose(0, 2, 1)
            ),
            tiles=tally.tiles[:, tiles].reshape(self._stations, *tile_shape, 3),
        )


def _tile_shape(grid: Grid) -> tuple[int, int]:
    return -(-grid.rows // TILE_CELLS), -(-grid.columns // TILE_CELLS)


def pack_walls(
    walls: Sequence[Wall],
    grids: Sequence[Grid],
    coarse: Sequence[CoarseSurface],
    level_from_local: Floats,
    recess_reach_mm: float,
) -> Floats:
    """Pack each wall into a row of numbers for the kernels, with its frame in local coordinates."""
    table = np.zeros((len(walls), k.WALL_COLUMNS))
    cells = nodes = tiles = 0
    for row, wall, grid, surface in zip(table, walls, grids, coarse, strict=True):
        row[k.AXES : k.AXES + 9] = 1000.0 * (wall.frame.axes @ level_from_local).ravel()
        row[k.ORIGIN : k.ORIGIN + 3] = level_from_local.T @ wall.frame.origin_m
        row[k.RADIUS] = 1000.0 * (wall.frame.radius_m or 0.0)
        row[k.U_LOW : k.V_HIGH + 1] = 0.0, 1000.0 * wall.width_m, 1000.0 * wall.bottom_m, 1000.0 * wall.top_m
        row[k.CORNER_U], row[k.CORNER_V] = grid.u0_mm - grid.cell_mm / 2, grid.v0_mm - grid.cell_mm / 2
        row[k.ROWS : k.FIRST + 1] = grid.rows, grid.columns, cells
        row[k.COARSE_ROWS : k.COARSE_FIRST + 1] = *surface.nodes_mm.shape, nodes
        row[k.BAND : k.SLACK + 1] = surface.band_mm, NEAR_REACH_MM, PROUD_REACH_MM, recess_reach_mm, EXTENT_SLACK_MM
        row[k.TILE_FIRST : k.TILE_COLUMNS + 1] = tiles, _tile_shape(grid)[1]
        row[k.PER_MM : k.TILES_PER_CELL + 1] = 1.0 / grid.cell_mm, 1.0 / COARSE_STEP_CELLS, 1.0 / TILE_CELLS
        cells += grid.rows * grid.columns
        nodes += surface.nodes_mm.size
        tiles += int(np.prod(_tile_shape(grid)))
    return table
