"""The wall's own surface around a candidate opening, carried smoothly across it: what the rays there cross."""

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.elevation.candidates import Candidate
from unfold.surface.result import WallSurface

AROUND_MM = 250.0
SMOOTH_MM = 50.0
RIM_MM = 20.0  # cells this near to the candidate hold mixed points
CLUTTER_SD = 4.0


@dataclass(frozen=True, slots=True)
class LocalSurface:
    """Heights on a window of the wall's grid, and how far a board stands before them."""

    u0_mm: float
    v0_mm: float
    cell_mm: float
    height_mm: Floats  # (rows, columns), all finite
    stands_mm: float = 0.0

    def at(self, u: Floats, v: Floats) -> Floats:
        """Height at (u, v), each (n,), by bilinear interpolation; beyond the window that of its rim."""
        places = np.stack([(v - self.v0_mm) / self.cell_mm, (u - self.u0_mm) / self.cell_mm])
        return np.asarray(ndimage.map_coordinates(self.height_mm, places, order=1, mode="nearest")) + self.stands_mm

    def before(self, stands_mm: float) -> "LocalSurface":
        """The surface of a board that stands this far before the wall."""
        return replace(self, stands_mm=stands_mm)


def surface_around(surface: WallSurface, candidate: Candidate, fallback_mm: float) -> LocalSurface:
    """Smooth the heights measured around a candidate and carry them across it.

    A door's two jambs may stand several millimetres apart on a twisted wall: one plane for both would shift the edges
    that are seen at an angle. `fallback_mm` is the height where nothing was measured around.
    """
    grid = surface.grid
    rows, columns = np.nonzero(candidate.cells)
    reach = round(AROUND_MM / grid.cell_mm)
    window = (
        slice(max(int(rows.min()) - reach, 0), int(rows.max()) + reach + 1),
        slice(max(int(columns.min()) - reach, 0), int(columns.max()) + reach + 1),
    )
    near = ndimage.binary_dilation(candidate.cells[window], iterations=max(round(RIM_MM / grid.cell_mm), 1))
    height = surface.height_mm[window]
    good = surface.is_wall[window] & np.isfinite(height) & ~near
    heights = _smooth(height, _without_clutter(height, good), SMOOTH_MM / grid.cell_mm, fallback_mm)
    u0 = grid.u0_mm + grid.cell_mm * window[1].start
    return LocalSurface(u0, grid.v0_mm + grid.cell_mm * window[0].start, grid.cell_mm, heights)


def _without_clutter(height: Floats, good: Bools) -> Bools:
    """Leave out cells far from the others' middle: a board taken for wall would lift the surface beside it."""
    if good.sum() < 4:
        return good
    middle = float(np.median(height[good]))
    spread = 1.4826 * float(np.median(np.abs(height[good] - middle)))
    return np.asarray(good & (np.abs(np.where(good, height, middle) - middle) <= CLUTTER_SD * max(spread, 1.0)))


def _smooth(height: Floats, good: Bools, sigma: float, fallback: float) -> Floats:
    """Weighted mean of the good cells around each cell; where none is near, that of the nearest cell with one."""
    if not good.any():
        return np.full(height.shape, fallback)
    weight = ndimage.gaussian_filter(good.astype(float), sigma, mode="constant", truncate=3.0)
    total = ndimage.gaussian_filter(np.where(good, height, 0.0), sigma, mode="constant", truncate=3.0)
    known = weight > 1e-3
    if not known.any():
        return np.full(height.shape, float(np.median(height[good])))
    mean = np.divide(total, weight, out=np.zeros_like(total), where=known)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(mean[nearest[0], nearest[1]])
