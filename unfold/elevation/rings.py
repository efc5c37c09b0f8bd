"""Geometry of rings: area, signed distance, orientation, and rings around raster cells."""

from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Bools, Floats
from unfold.elevation.ring_kernels import fill_ring, ring_distance
from unfold.surface.result import Grid


def signed_area(ring: Floats) -> float:
    """Area of a ring (n, 2), positive when it runs counter-clockwise (the surveyor's formula)."""
    x, y = np.asarray(ring, float).T
    x, y = x - x[0], y - y[0]  # far from the origin the products lose digits
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def counter_clockwise(ring: Floats) -> Floats:
    """The same ring, running counter-clockwise."""
    return ring if signed_area(ring) >= 0 else ring[::-1]


def signed_distance(ring: Floats, points: Floats) -> Floats:
    """Distance of points (n, 2) from a ring's line, negative inside."""
    return ring_distance(np.ascontiguousarray(ring, dtype=float), np.ascontiguousarray(points, dtype=float))


def cells_inside(ring: Floats, grid: Grid, holes: Iterable[Floats] = ()) -> Bools:
    """Cells (rows, columns) whose centre lies inside a ring (n, 2) and outside of its holes, (m, 2) each."""
    cells = np.zeros((grid.rows, grid.columns), dtype=bool)
    fill_ring(np.ascontiguousarray(ring, dtype=float), grid.u0_mm, grid.v0_mm, grid.cell_mm, cells)
    for hole in holes:
        cells &= ~cells_inside(hole, grid)
    return cells


def polygons_of_cells(cells: Bools, grid: Grid) -> BaseGeometry:
    """The union of the cells that are true, in millimetres."""
    if not cells.any():
        return Polygon()
    padded = np.zeros((cells.shape[0], cells.shape[1] + 2), np.int8)
    padded[:, 1:-1] = cells
    change = np.diff(padded, axis=1)
    rows, starts = np.nonzero(change == 1)
    _, stops = np.nonzero(change == -1)
    half = grid.cell_mm / 2
    left, right = grid.u0_mm + grid.cell_mm * starts - half, grid.u0_mm + grid.cell_mm * stops - half
    low = grid.v0_mm + grid.cell_mm * rows - half
    return shapely.union_all(shapely.box(left, low, right, low + grid.cell_mm), grid_size=1e-6)


def outer_rings(shape: BaseGeometry, least_area_mm2: float) -> list[Floats]:
    """Rings of the polygons in a shape; a polygon with holes is cut apart so that rings alone bound its area."""
    rings = []
    for piece in shapely.get_parts(shape):
        if piece.geom_type != "Polygon" or piece.area < least_area_mm2:
            continue
        for simple in [piece] if not piece.interiors else _cut_apart(piece):
            if simple.area >= 1.0:
                rings.append(counter_clockwise(np.asarray(simple.exterior.coords)[:-1]))
    return sorted(rings, key=lambda ring: (ring[:, 0].min(), ring[:, 1].min(), len(ring)))


def _cut_apart(piece: Polygon) -> list[Polygon]:
    """Cut a polygon with holes upright through its holes' middles until none is left."""
    u0, v0, u1, v1 = piece.bounds
    middle = float(np.mean(np.asarray(piece.interiors[0].coords)[:, 0]))
    found: list[Polygon] = []
    for half in (shapely.box(u0 - 1, v0 - 1, middle, v1 + 1), shapely.box(middle, v0 - 1, u1 + 1, v1 + 1)):
        for part in shapely.get_parts(piece.intersection(half)):
            if part.geom_type == "Polygon":
                found += _cut_apart(part) if part.interiors else [part]
    return found
