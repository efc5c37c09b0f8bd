"""What the rays proved at each cell of a wall's grid, with empty cells judged at the scale of the point spacing."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import AnyArray, Bools, Floats
from unfold.surface.result import Grid, RayCounts, WallSurface

EMPTY, WALL, BEHIND, PROUD, BLOCKED = 0, 1, 2, 3, 4
SPACINGS = 1.7  # an empty cell belongs to the nearest ray within this many point spacings
NOISY_MM = 2.5  # point noise above which single cells tell no board from the wall
BOARD_MM = 40.0  # narrower strips may be rims
_WINDOW_MM = 250.0
_GAP_MM = 80.0  # a wider gap without rays is no question of spacing
_AROUND_MM = 100.0  # enough rays to tell a share of them, at the usual spacings
_LEAST_LOST = 0.3  # rays that met nothing, for each that ended before the wall around: dark fronts lose fewer


@dataclass(frozen=True, slots=True)
class Evidence:
    """Kinds of cells; arrays (rows, columns)."""

    grid: Grid
    seen: AnyArray  # EMPTY .. BLOCKED by the cell's own rays
    kind: AnyArray  # the same, where empty cells close to a ray are of its kind
    spacing_mm: Floats  # local distance between neighbouring rays
    doubtful: Bools  # rays ended about here, but broadly not on the wall's own surface: it may be hidden by a board


def gather_evidence(surface: WallSurface) -> Evidence:
    """Sort a wall's cells by what their rays proved.

    A single stray ray does not outvote the cell's others. A cell without any ray is of the kind of the nearest cell
    with one, when that is no farther than the spacing of the rays there explains; beyond, it stays EMPTY.
    """
    boards = _boards(surface)
    told = boards if surface.noise_mm <= NOISY_MM else np.zeros_like(boards)
    seen = np.where(told, PROUD, _vote(surface.rays, surface.is_wall, surface.grid.cell_mm)).astype(np.int8)
    spacing = _local_spacing(surface.rays, surface.grid.cell_mm)
    reach = np.maximum(SPACINGS * spacing, 0.75 * surface.grid.cell_mm) / surface.grid.cell_mm
    return Evidence(surface.grid, seen, _fill(seen, reach), spacing, boards)


def _vote(rays: RayCounts, is_wall: Bools, cell_mm: float) -> AnyArray:
    """The kind that most rays of a cell speak for; rays that ended in front only count where no other ray came."""
    hit, proud = rays.hit.astype(float), rays.proud.astype(float)
    behind = rays.recess.astype(float) + rays.through - _lost_before(rays, cell_mm)
    hit = hit + 0.5 * is_wall
    kind = np.where(rays.blocked > 0, BLOCKED, EMPTY)
    kind = np.where((proud > 0) & (proud >= rays.blocked), PROUD, kind)
    kind = np.where((hit > 0) & (hit >= behind) & (hit >= 0.3 * proud), WALL, kind)
    return np.where((behind > 0) & (behind > hit) & (behind >= 0.5 * proud), BEHIND, kind).astype(np.int8)


def _lost_before(rays: RayCounts, cell_mm: float) -> Floats:
    """Rays that met nothing where most others ended before the wall: furniture swallowed them, and nothing is proven.

    A front that stands off the wall hides it from all stations, and one in a hundred of the rays that it meets gives
    no return. Where they passed an opening instead, hardly any ray around them ended before the wall.
    """
    if rays.lost is None:
        return np.zeros(rays.hit.shape)
    size = max(round(_AROUND_MM / cell_mm) | 1, 3)
    lost, before = (
        ndimage.uniform_filter(np.asarray(count, float), size, mode="constant")
        for count in (rays.lost, rays.blocked + rays.proud)
    )
    return np.where(lost < _LEAST_LOST * before, rays.lost, 0).astype(float)


def _boards(surface: WallSurface) -> Bools:
    """Cells whose rays ended about on the wall but not on its own surface, over more than a rim's width: boards.

    A rim of an opening is narrower; a wall of which the surface stage made nothing gives no boards. In a noisy scan the
    cells are too uncertain to find a casing by, but the wall behind a skirting board still counts as not seen.
    """
    hit = surface.rays.hit > 0
    doubtful = hit & ~surface.is_wall
    if doubtful.sum() > 0.5 * hit.sum():
        return np.zeros(hit.shape, dtype=bool)
    size = max(round(BOARD_MM / surface.grid.cell_mm), 2)
    if surface.noise_mm > NOISY_MM:  # cells that chance left empty between them
        doubtful = ndimage.binary_closing(doubtful, np.ones((3, 3), dtype=bool)) & ~surface.is_wall
    return np.asarray(ndimage.binary_opening(doubtful, np.ones((size, size), dtype=bool)))


def _local_spacing(rays: RayCounts, cell_mm: float) -> Floats:
    """Distance between neighbouring rays over a quarter metre around: by their number, or by how many cells have any.

    Where rays come in bunches, as from stations that look along the same line, the share p of cells with any ray tells
    better: of randomly strewn bunches there are -ln(1 - p) to a cell.
    """
    total = (rays.hit + rays.recess + rays.through + rays.proud).astype(float)
    window = max(round(_WINDOW_MM / cell_mm) | 1, 3)
    reach = max(round(_GAP_MM / cell_mm / 2), 1)
    covered = ndimage.binary_closing(np.pad(total > 0, reach), iterations=reach)[reach:-reach, reach:-reach]
    area = ndimage.uniform_filter(covered.astype(float), window, mode="constant")
    number = ndimage.uniform_filter(total, window, mode="constant")
    filled = ndimage.uniform_filter((total > 0).astype(float), window, mode="constant")
    known = area > 1e-6
    density = np.divide(number, area, out=np.zeros_like(number), where=known)
    share = np.divide(filled, area, out=np.zeros_like(filled), where=known)
    bunches = -np.log(1.0 - np.clip(share, 0.0, 0.98))
    density = np.where(share < 0.98, np.minimum(density, bunches), density)
    return np.where(density > 1e-6, cell_mm / np.sqrt(np.maximum(density, 1e-6)), 3 * cell_mm)


def _fill(seen: AnyArray, reach_cells: Floats) -> AnyArray:
    """Give each empty cell the kind of the nearest cell with rays, within reach."""
    known = (seen != EMPTY) & (seen != BLOCKED)
    if not known.any():
        return seen.copy()
    distance, nearest = ndimage.distance_transform_edt(~known, return_indices=True)
    filled = seen[nearest[0], nearest[1]]
    return np.where(~known & (distance <= reach_cells), filled, seen).astype(np.int8)


def cell_centres(grid: Grid) -> tuple[Floats, Floats]:
    """u of each column (columns,) and v of each row (rows,), millimetres."""
    u = grid.u0_mm + grid.cell_mm * np.arange(grid.columns, dtype=float)
    v = grid.v0_mm + grid.cell_mm * np.arange(grid.rows, dtype=float)
    return np.asarray(u), np.asarray(v)
