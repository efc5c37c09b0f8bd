"""The line in which two walls meet: both surfaces carried on from clean strips beside the corner, height by height."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.strip_fit import StripFit, fit_strip
from unfold.room.result import Wall
from unfold.surface.result import WallSurface

CLEAN_MM = 25.0  # nearer to the corner points are mixed, or belong to the other wall
STRIP_MM = 110.0  # width of the strip for points of 1 mm noise
MOST_STRIP_MM = 300.0
SAMPLE_MM = 10.0
ROW_MM = 20.0  # rows of cells are folded into bands of this height before a fit
LEAST_ANGLE_SINE = 0.1  # walls that meet flatter than this have no line that the scan could pin down
MODEL_MM = 0.12  # how far a plastered surface strays from the strip's trend over the last few centimetres
STEEPEST = 0.08  # of a wall's surface against its base beside a corner; bows and leans stay well below
LEAST_SPAN_MM = 40.0  # a narrower strip gives no slope
UNMEASURED_MM = 8.0  # standard uncertainty of a wall's base surface where nothing was seen beside the corner


@dataclass(frozen=True, slots=True)
class Strip:
    """A wall's surface beside one of its upright ends; distances from the rough end, into the wall."""

    wall: Wall
    right_end: bool
    fit: StripFit | None  # None: the base surface stands in
    registration_mm: float

    def height(self, u_mm: Floats, v_mm: Floats) -> tuple[Floats, Floats]:
        """Height over the base surface and its standard uncertainty at (u, v), each (n,)."""
        if self.fit is None:
            return np.zeros(u_mm.size), np.full(u_mm.size, UNMEASURED_MM)
        end = self.wall.width_m * 1000
        distance = end - u_mm if self.right_end else u_mm
        height, uncertainty = self.fit.at(v_mm, np.clip(distance, -60.0, self.fit.depth_mm))
        return height, np.hypot(uncertainty, MODEL_MM)


@dataclass(frozen=True, slots=True)
class SideLine:
    """Where a wall ends on one side: u over v; arrays (n,), v rising, millimetres."""

    v_mm: Floats
    u_mm: Floats
    uncertainty_mm: Floats

    def u_at(self, v_mm: float | Floats) -> Floats:
        return np.asarray(np.interp(v_mm, self.v_mm, self.u_mm))


def fit_end_strip(wall: Wall, surface: WallSurface, right_end: bool) -> Strip:
    """Fit the surface beside one end of a wall, wider where there are few cells, none where there are hardly any."""
    wanted = STRIP_MM * float(np.clip(surface.noise_mm / 1.5, 1.0, 2.5))
    for width in (wanted, 2 * wanted, 4 * wanted):
        data = _strip_data(wall, surface, right_end, CLEAN_MM, CLEAN_MM + min(width, 2 * MOST_STRIP_MM))
        if data[0].size >= 60 and np.unique(data[0]).size >= 8:
            break
    span = (wall.bottom_m * 1000 - 100.0, wall.top_m * 1000 + 100.0)
    fit = None
    if data[0].size >= 24 and np.ptp(data[1]) >= LEAST_SPAN_MM:
        fit = fit_strip(*data, knot_mm=max(150.0, (span[1] - span[0]) / 60), span=span)
        fit = fit if fit is not None and _sensible(fit, data[0]) else None
    return Strip(wall, right_end, fit, surface.registration_mm)


def _sensible(fit: StripFit, v: Floats) -> bool:
    """Whether the strip runs about along its base surface: a steeper one was fitted to what is no wall."""
    at = np.linspace(float(v.min()), float(v.max()), 9)
    slope = (fit.at(at, fit.depth_mm)[0] - fit.at(at, 0.0)[0]) / fit.depth_mm
    return bool(np.median(np.abs(slope)) < STEEPEST)


def _strip_data(
    wall: Wall, surface: WallSurface, right_end: bool, nearest: float, farthest: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Bands of cells beside an end: v, distance from the end, height and its standard error."""
    grid = surface.grid
    u = grid.u0_mm + grid.cell_mm * np.arange(grid.columns)
    distance = wall.width_m * 1000 - u if right_end else u
    columns = np.flatnonzero((distance >= nearest) & (distance <= farthest))
    height, error = surface.height_mm[:, columns], surface.standard_error_mm[:, columns]
    good = surface.is_wall[:, columns] & np.isfinite(height) & np.isfinite(error)
    scatter = surface.noise_mm / np.sqrt(np.maximum(surface.count[:, columns], 1))  # a badly fitted wall says so here
    weight = np.where(good, 1.0 / np.maximum(np.where(good, error, 1.0), np.maximum(scatter, 0.05)) ** 2, 0.0)
    rows = max(round(ROW_MM / grid.cell_mm), 1)
    cut = height.shape[0] // rows * rows
    banded = weight[:cut].reshape(-1, rows, columns.size)
    total = banded.sum(axis=1)
    mean = (banded * np.where(good, height, 0.0)[:cut].reshape(-1, rows, columns.size)).sum(axis=1)
    v = np.asarray((grid.v0_mm + grid.cell_mm * np.arange(cut)).reshape(-1, rows).mean(axis=1), dtype=float)
    band, column = np.nonzero(total > 0)
    total, mean = total[band, column], mean[band, column]
    away: Floats = np.asarray(distance[columns][column], dtype=float)
    return v[band], away, mean / total, np.asarray(1.0 / np.sqrt(total), dtype=float)


def meet(left: Strip, right: Strip, v_mm: Floats) -> tuple[SideLine, SideLine] | None:
    """Intersect the wall at the left of a corner (its right end) with the wall at the right (its left end).

    Parameters
    ----------
    left, right : Strip
        The two surfaces.
    v_mm : (n,)
        Heights on the left wall at which to solve, rising.

    Returns
    -------
    (SideLine, SideLine) or None
        The same points of space as the left wall's right side and the right wall's left side; None when the walls run
        on too nearly in line to meet anywhere definite.
    """
    u = np.full(v_mm.size, left.wall.width_m * 1000)
    step = 1.0
    for _ in range(6):
        gap, _, _ = _gap(left, right, u, v_mm)
        ahead, _, _ = _gap(left, right, u + step, v_mm)
        slope = (ahead - gap) / step
        if np.any(np.abs(slope) < LEAST_ANGLE_SINE / 2):
            return None
        u = u - np.clip(gap / slope, -100.0, 100.0)
    _, there, uncertainties = _gap(left, right, u, v_mm)
    sine = np.clip(np.abs(slope), LEAST_ANGLE_SINE, 1.0)
    cotangent = np.sqrt(1 - sine**2) / sine
    own, other = uncertainties
    on_left = np.sqrt(
        (other**2 + right.registration_mm**2) / sine**2 + (own**2 + left.registration_mm**2) * cotangent**2
    )
    on_right = np.sqrt(
        (own**2 + left.registration_mm**2) / sine**2 + (other**2 + right.registration_mm**2) * cotangent**2
    )
    order = np.argsort(there[:, 1])
    return SideLine(v_mm, u, on_left), SideLine(there[order, 1], there[order, 0], on_right[order])


def _gap(left: Strip, right: Strip, u: Floats, v: Floats) -> tuple[Floats, Floats, tuple[Floats, Floats]]:
    """How far points of the left surface stand before the right one; where on it (n, 3); both uncertainties."""
    height, own = left.height(u, v)
    place = left.wall.frame.level_from_uvh(np.column_stack([u, v, height]) / 1000)
    there = right.wall.frame.uvh_from_level(place) * 1000
    expected, other = right.height(there[:, 0], there[:, 1])
    return there[:, 2] - expected, there, (own, other)
