"""How much of a wall's face the flatness figures speak for."""

import numpy as np

from unfold.arrays import Bools
from unfold.elevation.result import WallElevation
from unfold.elevation.rings import cells_inside
from unfold.surface.result import Grid, WallSurface


def face_cells(wall: WallElevation, grid: Grid) -> Bools:
    """Which cells (rows, columns) are the wall's face: inside its outline, outside its openings."""
    return cells_inside(wall.outline_mm, grid, (opening.ring_mm for opening in wall.openings))


def judged_share(wall: WallElevation, surface: WallSurface) -> float:
    """Share of the wall's face whose height was measured, so that its flatness could be judged; 0 without a face."""
    face = face_cells(wall, surface.grid)
    judged = int(np.count_nonzero(face & np.isfinite(surface.height_mm)))
    return judged / max(1, int(np.count_nonzero(face)))
