"""A wall's measured heights, as the layout needs them: where they count, with an upper and a lower bound."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Bools, Floats
from unfold.elevation.rings import cells_inside
from unfold.layout.wall_face import WallFace, polygon_list, ring_points
from unfold.quantity import COVERAGE_FACTOR
from unfold.surface.result import Grid, WallSurface

STEADY_MM = 0.5  # cells less certain than this are averaged with their neighbours before a bound is taken


@dataclass(frozen=True, slots=True)
class WallHeights:
    """Heights on the surface's grid; NaN outside the wall's face and where nothing was measured."""

    u_mm: Floats  # (columns,) centres
    v_mm: Floats  # (rows,) centres
    cell_mm: float
    height_mm: Floats  # (rows, columns)
    standard_error_mm: Floats  # (rows, columns)

    @property
    def measured(self) -> Bools:
        """Where a height is known, (rows, columns)."""
        known: Bools = np.isfinite(self.height_mm)
        return known

    @property
    def upper_mm(self) -> Floats:
        """Heights that the surface keeps under, with the coverage factor of the decisions."""
        bound: Floats = self.height_mm + COVERAGE_FACTOR * self.standard_error_mm
        return bound

    def above(self, slope_v: float) -> "WallHeights":
        """Heights over a plane that leans by `slope_v`, mm per mm of v."""
        tilted = self.height_mm - slope_v * self.v_mm[:, None]
        return WallHeights(self.u_mm, self.v_mm, self.cell_mm, tilted, self.standard_error_mm)

    def corrected(self, correction_mm: Floats) -> "WallHeights":
        """Heights after filling (positive) and taking down (negative)."""
        return WallHeights(self.u_mm, self.v_mm, self.cell_mm, self.height_mm + correction_mm, self.standard_error_mm)


def wall_heights(face: WallFace, surface: WallSurface) -> WallHeights:
    """Keep the heights that were measured on the wall's own surface, inside its outline and outside its openings."""
    grid = surface.grid
    u: Floats = grid.u0_mm + grid.cell_mm * np.arange(grid.columns, dtype=np.float64)
    v: Floats = grid.v0_mm + grid.cell_mm * np.arange(grid.rows, dtype=np.float64)
    counts = surface.is_wall & np.isfinite(surface.height_mm) & cells_of(face.net, grid)
    error = np.where(np.isfinite(surface.standard_error_mm), surface.standard_error_mm, surface.noise_mm)
    height = np.where(counts, surface.height_mm, np.nan)
    height, error = _steadied(height, np.where(counts, error, np.nan))
    return WallHeights(u, v, grid.cell_mm, height, error)


def cells_of(shape: BaseGeometry, grid: Grid) -> Bools:
    """Tell which cells' centres lie inside a region; shape (rows, columns)."""
    inside = np.zeros((grid.rows, grid.columns), np.bool_)
    for polygon in polygon_list(shape):
        inside |= cells_inside(ring_points(polygon.exterior), grid, [ring_points(hole) for hole in polygon.interiors])
    return inside


def _steadied(height: Floats, error: Floats) -> tuple[Floats, Floats]:
    """Average each uncertain cell with the 5 x 5 cells around it, weighted by certainty."""
    uncertain = error > STEADY_MM
    if not uncertain.any():
        return height, error
    weight = np.where(np.isfinite(error), 1.0 / np.maximum(error, 1e-3) ** 2, 0.0)
    total = ndimage.uniform_filter(weight, 5, mode="constant") * 25.0
    mean = (
        ndimage.uniform_filter(np.where(weight > 0.0, weight * np.nan_to_num(height), 0.0), 5, mode="constant") * 25.0
    )
    known = uncertain & (total > 0.0)
    safe = np.where(known, total, 1.0)
    return np.where(known, mean / safe, height), np.where(known, 1.0 / np.sqrt(safe), error)
