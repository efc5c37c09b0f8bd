"""The best estimate of a wall's heights, cell by cell, with its standard error.

A spline whose smoothness is found from the data carries all that is wide; on what it leaves over, small boxes of
cells look for detail that noise cannot explain, from wide to narrow, and only that is added.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Counts, Floats
from unfold.surface.blocks import block_sums, coarser
from unfold.surface.result import Grid
from unfold.surface.spline import Posterior, condense, knots_over, likeliest, solve
from unfold.surface.wall_cells import box

_BLOCK = 2  # cells a side that are condensed for the spline
_KNOT_MM = 80.0
_MOST_WORK = 1.5e8  # unknowns x band width squared
_DETAIL_CELLS = (9, 5, 3)
_SURE = 4.5  # standard errors: seeds of detail
_LIKELY = 2.5  # and what hangs together with a seed
_OUTLIER = 5.0
ERROR_STEP_MM = 50.0


@dataclass(frozen=True, slots=True)
class HeightMap:
    """Heights in the wall's frame; arrays (rows, columns)."""

    filled_mm: Floats  # the estimate everywhere, also where nothing was measured: for interpolation only
    standard_error_mm: Floats
    detail_mm: Floats  # that part of filled_mm that the spline does not carry
    posterior: Posterior  # of the spline
    unit_mm: float  # 1-sigma of a single point that the spline's fit shows


def map_heights(
    grid: Grid, coarse_mm: Floats, is_wall: Bools, count: Counts, total: Floats, noise_mm: float | None
) -> HeightMap:
    """Estimate heights from counts and sums of heights over the coarse surface, on the wall's own cells."""
    n = np.where(is_wall, count, 0).astype(float)
    total = np.where(is_wall, total, 0.0) + n * coarse_mm
    posterior = _fit_spline(grid, n, total)
    u, v = grid.u_mm, grid.v_mm
    smooth = posterior.heights(u, v)
    unit = float(np.sqrt(posterior.unit_variance_mm2))
    scatter = unit if noise_mm is None else max(noise_mm, unit)
    detail, variance = _detail(n, total - n * smooth, scatter)
    error = np.sqrt(_spline_error(posterior, u, v) ** 2 + variance)
    return HeightMap(smooth + detail, error, detail, posterior, unit)


def _fit_spline(grid: Grid, n: Floats, total: Floats) -> Posterior:
    """Fit the spline to blocks of cells; blocks far off it are left out of a second fit."""
    blocks = coarser(grid, _BLOCK)
    weight, height = block_sums(n, _BLOCK), block_sums(total, _BLOCK)
    i, j = np.nonzero(weight)
    weight, height = weight[i, j], height[i, j] / weight[i, j]
    u, v = blocks.u_mm[j], blocks.v_mm[i]
    sides = (float(u.min()), float(u.max())), (float(v.min()), float(v.max()))
    knots = knots_over(*sides, knot_spacing_mm(*sides))
    posterior = likeliest(condense(knots, u, v, height, weight))
    fitted = _at(posterior, u, v, sides)
    off = np.abs(height - fitted) * np.sqrt(weight)
    kept = off <= _OUTLIER * np.sqrt(posterior.unit_variance_mm2)
    return solve(condense(knots, u, v, height, weight * kept), posterior.smoothing)[0]


def knot_spacing_mm(u_mm: tuple[float, float], v_mm: tuple[float, float]) -> float:
    """Give the spacing of knots: _KNOT_MM, or wider on walls so large that the equations would take too long."""
    long, short = sorted((u_mm[1] - u_mm[0], v_mm[1] - v_mm[0]), reverse=True)
    affordable = (9.0 * long * max(short, 100.0) ** 3 / _MOST_WORK) ** 0.25
    return max(_KNOT_MM, float(affordable))


def _at(posterior: Posterior, u: Floats, v: Floats, sides: tuple[tuple[float, float], tuple[float, float]]) -> Floats:
    """The spline at scattered places, by cubic interpolation on a grid of a quarter of its knots' spacing."""
    step = posterior.knots.spacing_mm / 4.0
    grid_u, grid_v = (np.arange(low, high + step, step) for low, high in sides)
    table = posterior.heights(grid_u, grid_v)
    return ndimage.map_coordinates(table, [(v - sides[1][0]) / step, (u - sides[0][0]) / step], order=1, mode="nearest")


def _detail(n: Floats, left: Floats, scatter_mm: float) -> tuple[Floats, Floats]:
    """What boxes of cells find in what the spline leaves over, and its variance; from wide boxes to narrow ones."""
    detail, variance = np.zeros(n.shape), np.zeros(n.shape)
    left = left.copy()
    for cells in _DETAIL_CELLS:
        points = box(n, cells)
        with np.errstate(invalid="ignore", divide="ignore"):
            found = np.where(points > 0.5, _total(left, cells) / np.maximum(points, 1e-6), 0.0)
            error = scatter_mm / np.sqrt(np.maximum(points, 0.5))
        sure = np.abs(found) > _SURE * error
        sure &= (n > 0) & (points >= 3.0)
        if not sure.any():
            continue
        areas, number = ndimage.label((np.abs(found) > _LIKELY * error) & (n > 0))
        holds = np.zeros(number + 1, bool)
        holds[areas[sure]] = True
        taken = holds[areas] & (areas > 0)
        detail[taken] += found[taken]
        variance[taken] = error[taken] ** 2
        left[taken] -= n[taken] * found[taken]
    return detail, variance


def _total(table: Floats, cells: int) -> Floats:
    return ndimage.uniform_filter(table, cells, mode="constant") * (cells * cells)


def _spline_error(posterior: Posterior, u: Floats, v: Floats) -> Floats:
    """Standard error of the spline at columns u and rows v: the scatter of examples, averaged over neighbours."""
    nodes_u = np.arange(u[0], u[-1] + ERROR_STEP_MM, ERROR_STEP_MM)
    nodes_v = np.arange(v[0], v[-1] + ERROR_STEP_MM, ERROR_STEP_MM)
    examples = posterior.draw(32, nodes_u, nodes_v, seed=1)
    variance = ndimage.uniform_filter(((examples - examples.mean(axis=0)) ** 2).mean(axis=0), 3, mode="nearest")
    error = np.sqrt(variance)
    low_u, low_v = (u - u[0]) / ERROR_STEP_MM, (v - v[0]) / ERROR_STEP_MM
    return _along(_along(error, low_v).T, low_u).T


def _along(table: Floats, places: Floats) -> Floats:
    first = np.minimum(places.astype(int), len(table) - 2)
    share = (places - first)[:, None]
    return np.asarray(table[first] * (1.0 - share) + table[first + 1] * share)
