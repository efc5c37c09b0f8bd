"""How much of a wall's face the flatness figures speak for."""

import numpy as np
from PIL import Image, ImageDraw

from unfold.arrays import Bools, Floats
from unfold.elevation.result import WallElevation
from unfold.surface.result import Grid, WallSurface


def cells_inside(grid: Grid, outline_mm: Floats, holes_mm: tuple[Floats, ...] = ()) -> Bools:
    """Which cells (rows, columns) lie inside an outline and outside of its holes, as far as whole cells can tell."""
    mask = Image.new("L", (grid.columns, grid.rows), 0)
    pen = ImageDraw.Draw(mask)
    for ring, value in ((outline_mm, 1), *((hole, 0) for hole in holes_mm)):
        corners = (ring - [grid.u0_mm, grid.v0_mm]) / grid.cell_mm
        pen.polygon(corners.ravel().tolist(), fill=value)
    return np.asarray(mask, dtype=bool)


def face_cells(wall: WallElevation, grid: Grid) -> Bools:
    """Which cells (rows, columns) are the wall's face: inside its outline, outside its openings."""
    return cells_inside(grid, wall.outline_mm, tuple(opening.ring_mm for opening in wall.openings))


def judged_share(wall: WallElevation, surface: WallSurface) -> float:
    """Share of the wall's face whose height was measured, so that its flatness could be judged; 0 without a face."""
    face = face_cells(wall, surface.grid)
    judged = int(np.count_nonzero(face & np.isfinite(surface.height_mm)))
    return judged / max(1, int(np.count_nonzero(face)))
