"""A first, coarse surface for each wall, from the room's cells: what single points are told apart against.

It follows a bow of some centimetres, and passes under what stands on the wall: casings, plates, skirting and
furniture end in steps that a smooth surface cannot take, and a robust fit leaves them out.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Floats, Ints
from unfold.room.result import Cells, Wall
from unfold.surface.result import Grid
from unfold.surface.spline import condense, knots_over, solve

CELL_MM = 10.0
MARGIN_MM = 150.0
COARSE_STEP_CELLS = 5
_REACH_MM = 60.0
_FIRST_BAND_MM = 30.0
_SIDE_MM = 40.0
_NARROW_MM = 250.0
_TILE_MM = 40.0
_PLANES, _AGREE_MM, _MOST_SLOPE = 100, 12.0, 0.03
# knot spacing, bending weight and the residual beyond which a tile no longer counts, step after step; mm
_STEPS = (
    (1500.0, 1e-3, 15.0),
    (1500.0, 1e-3, 20.0),
    (600.0, 1e-2, 14.0),
    (600.0, 1e-2, 9.0),
    (250.0, 1e-1, 8.0),
    (250.0, 1e-1, 6.5),
)


@dataclass(frozen=True, slots=True)
class CoarseSurface:
    """Heights on nodes COARSE_STEP_CELLS cells apart; node [0, 0] lies on the lower corner of cell [0, 0]."""

    nodes_mm: Floats  # (rows, columns)
    band_mm: float  # how far from it a point still may be the wall's, until the scatter is known

    def at_cells(self, grid: Grid) -> Floats:
        """Heights at the cells' centres, (rows, columns): bilinear, as the kernels take it."""
        rows = (np.arange(grid.rows) + 0.5) / COARSE_STEP_CELLS
        columns = (np.arange(grid.columns) + 0.5) / COARSE_STEP_CELLS
        return _bilinear(_bilinear(self.nodes_mm, rows).T, columns).T


def _bilinear(table: Floats, places: Floats) -> Floats:
    first = np.minimum(places.astype(int), len(table) - 2)
    share = (places - first)[:, None]
    return np.asarray(table[first] * (1.0 - share) + table[first + 1] * share)


def grid_of(wall: Wall, cell_mm: float = CELL_MM) -> Grid:
    """Give the raster of a wall: it reaches MARGIN_MM beyond the rough extent on every side."""
    u0 = np.floor(-MARGIN_MM / cell_mm) * cell_mm
    v0 = np.floor((1000.0 * wall.bottom_m - MARGIN_MM) / cell_mm) * cell_mm
    columns = int(np.ceil((1000.0 * wall.width_m + MARGIN_MM - u0) / cell_mm))
    rows = int(np.ceil((1000.0 * wall.top_m + MARGIN_MM - v0) / cell_mm))
    return Grid(float(u0 + cell_mm / 2), float(v0 + cell_mm / 2), cell_mm, rows, columns)


def coarse_surface(wall: Wall, grid: Grid, cells: Cells) -> CoarseSurface:
    """Fit a wall's coarse surface to the room's cells near it."""
    u, v, h, weight = _tiles(wall, cells)
    corner = (grid.u0_mm - grid.cell_mm / 2, grid.v0_mm - grid.cell_mm / 2)
    shape = (-(-grid.rows // COARSE_STEP_CELLS) + 1, -(-grid.columns // COARSE_STEP_CELLS) + 1)
    step = COARSE_STEP_CELLS * grid.cell_mm
    nodes_u = np.asarray(corner[0] + step * np.arange(shape[1]), dtype=np.float64)
    nodes_v = np.asarray(corner[1] + step * np.arange(shape[0]), dtype=np.float64)
    if len(u) < 12:
        return CoarseSurface(np.zeros(shape), _FIRST_BAND_MM)
    if 1000.0 * wall.width_m < _NARROW_MM:  # its few tiles tell how it leans and bows up its height, not its turn
        u = np.concatenate([np.zeros(len(u)), np.full(len(u), 1000.0 * wall.width_m)])
        v, h, weight = np.tile(v, 2), np.tile(h, 2), np.tile(weight, 2)
    sides = (corner[0], nodes_u[-1]), (corner[1], nodes_v[-1])
    residual = h - _usual_plane(u, v, h, weight)
    nodes = np.zeros(shape)
    for spacing, bending, cut in _STEPS:
        spacing = max(spacing, np.sqrt((sides[0][1] - sides[0][0]) * (sides[1][1] - sides[1][0]) / 3000.0))
        # where the scan scatters more than that, so must the residuals be allowed to
        cut = max(cut, 4.5 * float(np.median(np.abs(residual))))
        robust = weight * np.clip(1.0 - (residual / cut) ** 2, 0.0, None) ** 2
        if (robust > 0).sum() < 12:
            break
        knots = knots_over(*sides, spacing)
        surface, _ = solve(
            condense(knots, u, v, h, robust), bending * float(np.sum(robust)) / (knots.across * knots.up)
        )
        nodes = surface.heights(nodes_u, nodes_v)
        residual = h - ndimage.map_coordinates(
            nodes, [(v - corner[1]) / step, (u - corner[0]) / step], order=1, mode="nearest"
        )
    return CoarseSurface(nodes, _FIRST_BAND_MM)


def _usual_plane(u: Floats, v: Floats, h: Floats, weight: Floats) -> Floats:
    """Heights (n,) at the tiles of the plane that most of them agree with: a door leaf a little behind is left out.

    Drawn through three tiles at a time (Fischler and Bolles 1981), near the wall's base plane.
    """
    generator = np.random.default_rng(20260103)
    places = np.column_stack([np.ones(len(u)), u, v])
    three = generator.integers(len(u), size=(_PLANES, 3))
    spread = np.abs(np.linalg.det(places[three])) > 0.02 * np.ptp(u) * np.ptp(v)
    planes = np.linalg.solve(places[three[spread]], h[three[spread]][:, :, None])[:, :, 0]
    planes = planes[np.abs(planes[:, 1:]).max(axis=1) < _MOST_SLOPE]
    planes = np.vstack([planes, [[float(np.median(h)), 0.0, 0.0]]])
    off = (h - planes @ places.T) / _AGREE_MM
    agreed = np.clip(1.0 - np.square(off), 0.0, None) @ weight
    return np.asarray(places @ planes[int(np.argmax(agreed))])


def _tiles(wall: Wall, cells: Cells) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean (u, v, h) of the cells near a wall on tiles of _TILE_MM, mm, and a weight that saturates with the count."""
    near = _near_wall(wall, cells)
    uvh = 1000.0 * wall.frame.uvh_from_level(cells.mean_m[near].astype(float))
    count = cells.count[near].astype(float)
    top = 1000.0 * np.array([wall.width_m, wall.top_m])
    # at its sides the neighbours' own cells lie, which are as many as those of a narrow wall
    aside = min(_SIDE_MM, 0.25 * top[0]) if top[0] < _NARROW_MM else 0.0
    inside = (np.abs(uvh[:, 2]) <= _REACH_MM) & (uvh[:, 0] >= aside) & (uvh[:, 0] <= top[0] - aside)
    inside &= (uvh[:, 1] >= 1000.0 * wall.bottom_m) & (uvh[:, 1] <= top[1])
    uvh, count = uvh[inside], count[inside]
    columns = int(top[0] / _TILE_MM) + 1
    tile = np.floor((uvh[:, 1] - 1000.0 * wall.bottom_m) / _TILE_MM).astype(int) * columns + (
        uvh[:, 0] / _TILE_MM
    ).astype(int)
    total = np.bincount(tile, count)
    kept = total > 0
    mean = [np.bincount(tile, count * uvh[:, k])[kept] / total[kept] for k in range(3)]
    return mean[0], mean[1], mean[2], np.minimum(total[kept], 10.0)


def _near_wall(wall: Wall, cells: Cells) -> Ints:
    """Indices of the cells within reach of a wall's base surface; cheap for planes, where most fall out at once."""
    if wall.frame.radius_m is not None:
        return np.arange(len(cells.mean_m))
    out = cells.mean_m @ wall.frame.inward.astype(np.float32) - np.float32(wall.frame.origin_m @ wall.frame.inward)
    return np.nonzero(np.abs(out) <= _REACH_MM / 1000.0)[0]
