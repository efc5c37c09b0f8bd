"""The wall area that no measurement reached and that is not proven to be an opening."""

from collections.abc import Sequence

import numpy as np
from scipy import ndimage
from shapely.geometry import Polygon, box

from unfold.arrays import Bools, Floats
from unfold.elevation.evidence import WALL, Evidence
from unfold.elevation.result import Opening
from unfold.elevation.rings import cells_inside, outer_rings, polygons_of_cells
from unfold.surface.result import Grid

SPECK_MM2 = 900.0
RIM_MM = 35.0  # this near to an edge the neighbour's points stand in front of the wall's


def find_unseen(
    evidence: Evidence, outline: Floats, openings: Sequence[Opening]
) -> tuple[tuple[Floats, ...], float, float]:
    """Rings of unseen area, the wall's area less its openings, and the share of that area that was seen."""
    face = Polygon(outline)
    for opening in openings:
        face = face.difference(Polygon(opening.ring_mm))
    cells = _unseen_cells(evidence, outline, openings)
    # what reaches beyond the raster was not looked at
    shape = polygons_of_cells(cells, evidence.grid).union(face.difference(_raster(evidence.grid))).intersection(face)
    rings = tuple(outer_rings(shape, SPECK_MM2))
    area = float(face.area)
    hidden = float(sum(Polygon(ring).area for ring in rings))
    return rings, area, float(np.clip(1.0 - hidden / area, 0.0, 1.0)) if area > 0 else 0.0


def _raster(grid: Grid) -> Polygon:
    half = grid.cell_mm / 2
    u, v = grid.u_mm, grid.v_mm
    return box(u[0] - half, v[0] - half, u[-1] + half, v[-1] + half)


def _unseen_cells(evidence: Evidence, outline: Floats, openings: Sequence[Opening]) -> Bools:
    cell = evidence.grid.cell_mm
    inside = cells_inside(outline, evidence.grid)
    seen = _settle_rim((evidence.kind == WALL) & ~evidence.doubtful, inside, max(round(RIM_MM / cell), 1))
    hidden = inside & ~seen
    for opening in openings:
        ring = np.asarray(Polygon(opening.ring_mm).buffer(0.6 * cell).exterior.coords)
        hidden &= ~cells_inside(ring, evidence.grid)
    return _without_specks(hidden, int(np.ceil(SPECK_MM2 / cell**2)))


def _settle_rim(wall: Bools, inside: Bools, rim_cells: int) -> Bools:
    """Judge cells beside the outline by the nearest cell that is clear of it: corner points belong to either wall."""
    core = ndimage.binary_erosion(inside, iterations=rim_cells)
    if not core.any():
        return wall
    nearest = ndimage.distance_transform_edt(~core, return_distances=False, return_indices=True)
    return np.where(inside & ~core, wall | wall[nearest[0], nearest[1]], wall)


def _without_specks(cells: Bools, least_cells: int) -> Bools:
    """Leave out groups of fewer cells, and threads one cell wide."""
    core = ndimage.binary_opening(np.pad(cells, 1, mode="edge"), np.ones((2, 2), dtype=bool))[1:-1, 1:-1]
    labels, count = ndimage.label(core)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    return np.asarray((labels > 0) & (sizes[labels] >= least_cells))
