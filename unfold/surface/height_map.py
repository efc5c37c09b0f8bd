"""The best estimate of a wall's heights, cell by cell, with its standard error.

Three layers: a polynomial for the plain shape; a spline, as smooth at each place as the data there say, for all that
is wider than a hand; and, on what those leave over, boxes of cells that look for detail which noise cannot explain,
from wide to narrow.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Counts, Floats
from unfold.surface.blocks import block_sums, coarser, sums_around
from unfold.surface.result import Grid
from unfold.surface.spline import Posterior, adapted, condense, knots_over, likeliest, solve
from unfold.surface.trend import Trend, fit_trend
from unfold.surface.wall_cells import disk

_BLOCK = 2  # cells a side that are condensed for the spline
_KNOT_MM = 80.0
_MOST_WORK = 1.0e8  # unknowns x band width squared
_DETAIL_CELLS = (21, 9, 5, 3)
_MARGIN = 1.0  # standard errors
_LIKELY = 2.5  # and what hangs together with a seed
_LEAST_POINTS = 5.0
_OUTLIER = 5.0
_RIM_CELLS = 3
ERROR_STEP_MM = 50.0


@dataclass(frozen=True, slots=True)
class SurfacePosterior:
    """The plain shape and the spline on it, as a distribution."""

    trend: Trend
    spline: Posterior

    @property
    def unit_mm(self) -> float:
        """1-sigma of a single point that the fit shows."""
        return float(np.sqrt(self.spline.unit_variance_mm2))

    def heights(self, u_mm: Floats, v_mm: Floats) -> Floats:
        """The likeliest surface on the grid of columns u_mm (m,) and rows v_mm (n,); shape (n, m)."""
        return self.trend.heights(u_mm, v_mm) + self.spline.heights(u_mm, v_mm)

    def draw(self, examples: int, u_mm: Floats, v_mm: Floats, seed: int) -> Floats:
        """Examples of what the surface may be, (examples, n, m)."""
        plain = self.trend.heights(u_mm, v_mm, self.trend.draw(examples, self.unit_mm, seed + 1))
        return plain + self.spline.draw(examples, u_mm, v_mm, seed)


@dataclass(frozen=True, slots=True)
class HeightMap:
    """Heights in the wall's frame; arrays (rows, columns)."""

    filled_mm: Floats  # the estimate everywhere, also where nothing was measured: for interpolation only
    standard_error_mm: Floats
    detail_mm: Floats  # that part of filled_mm that trend and spline do not carry
    detail_variance_mm2: Floats
    suspect: Bools  # cells at a rim that stand off: mixed points, not wall
    posterior: SurfacePosterior


def map_heights(
    grid: Grid, coarse_mm: Floats, is_wall: Bools, count: Counts, total: Floats, scatter_mm: Floats | None
) -> HeightMap:
    """Estimate heights from counts and sums of heights over the coarse surface, on the wall's own cells.

    `scatter_mm` (rows, columns) is that of single points from place to place; None when they are too sparse to tell.
    """
    n = np.where(is_wall, count, 0).astype(float)
    total = np.where(is_wall, total, 0.0) + n * coarse_mm
    usual = 1.0 if scatter_mm is None else float(np.sqrt(np.average(scatter_mm**2, weights=n)))
    steadiness = np.ones(n.shape) if scatter_mm is None else (usual / scatter_mm) ** 2
    posterior = _fit(grid, n * steadiness, total * steadiness)
    smooth = posterior.heights(grid.u_mm, grid.v_mm)
    sigma = posterior.unit_mm if scatter_mm is None else max(usual, posterior.unit_mm)
    detail, variance, suspect = find_detail(is_wall, n * steadiness, (total - n * smooth) * steadiness, sigma)
    error = np.sqrt(_smooth_error(posterior, grid) ** 2 + variance)
    return HeightMap(smooth + detail, error, detail, variance, suspect, posterior)


def _fit(grid: Grid, n: Floats, total: Floats) -> SurfacePosterior:
    """Fit trend and spline to blocks of cells; smoothing is found on wide knots, and blocks far off are left out."""
    blocks = coarser(grid, _BLOCK)
    weight, height = block_sums(n, _BLOCK), block_sums(total, _BLOCK)
    i, j = np.nonzero(weight)
    weight, height = weight[i, j], height[i, j] / weight[i, j]
    u, v = blocks.u_mm[j], blocks.v_mm[i]
    sides = (float(u.min()), float(u.max())), (float(v.min()), float(v.max()))
    spacing = knot_spacing_mm(*sides)
    wide = knots_over(*sides, 2.0 * spacing)
    trend = fit_trend(u, v, height, weight)
    first = likeliest(condense(wide, u, v, height - trend.at(u, v), weight))
    fitted = trend.at(u, v) + first.heights(blocks.u_mm, blocks.v_mm)[i, j]
    weight = weight * (np.abs(height - fitted) * np.sqrt(weight) <= _OUTLIER * np.sqrt(first.unit_variance_mm2))
    trend = fit_trend(u, v, height, weight)
    equations = condense(knots_over(*sides, spacing), u, v, height - trend.at(u, v), weight)
    # the same bending costs four times as much in knots half as far apart
    return SurfacePosterior(trend, adapted(equations, solve(equations, 4.0 * first.smoothing)[0]))


def knot_spacing_mm(u_mm: tuple[float, float], v_mm: tuple[float, float]) -> float:
    """Give the spacing of knots: _KNOT_MM, or wider on walls so large that the equations would take too long."""
    long, short = sorted((u_mm[1] - u_mm[0], v_mm[1] - v_mm[0]), reverse=True)
    affordable = (9.0 * long * max(short, 100.0) ** 3 / _MOST_WORK) ** 0.25
    return max(_KNOT_MM, float(affordable))


def find_detail(is_wall: Bools, n: Floats, left: Floats, scatter_mm: float) -> tuple[Floats, Floats, Bools]:
    """What boxes of cells find in the sums that the fit leaves over, and its variance; from wide boxes to narrow ones.

    `n` counts points in units of one whose scatter is `scatter_mm`, `left` is the sum of what is left of their heights.

    What stands off only within a few cells of the measured area's rim is suspect: mixed points are found there, and
    no detail of the wall can be told from them.
    """
    detail, variance = np.zeros(n.shape), np.zeros(n.shape)
    suspect = np.zeros(n.shape, bool)
    core = ndimage.binary_erosion(is_wall, disk(_RIM_CELLS), border_value=0)
    left = left.copy()
    # the greatest of so many standard normal numbers, and a margin for tails that are not normal
    seed = float(np.sqrt(2.0 * np.log(max(len(_DETAIL_CELLS) * int(is_wall.sum()), 2)))) + _MARGIN
    for cells in _DETAIL_CELLS:
        points = np.maximum(sums_around(n, cells), 0.0)
        found = np.where(points > 0.5, sums_around(left, cells) / np.maximum(points, 0.5), 0.0)
        error = scatter_mm / np.sqrt(np.maximum(points, 0.5))
        sure = (np.abs(found) > seed * error) & is_wall & (points >= _LEAST_POINTS)
        if not sure.any():
            continue
        areas, number = ndimage.label((np.abs(found) > _LIKELY * error) & is_wall & (points > 0.5))
        seeded, inside = np.zeros(number + 1, bool), np.zeros(number + 1, bool)
        seeded[areas[sure]] = True
        inside[areas[sure & core]] = True
        seeded[0] = inside[0] = False
        taken = inside[areas]
        detail[taken] += found[taken]
        variance[taken] = error[taken] ** 2
        left[taken] -= n[taken] * found[taken]
        if cells <= 2 * _RIM_CELLS:
            suspect |= (seeded & ~inside)[areas]
    return detail, variance, suspect


def _smooth_error(posterior: SurfacePosterior, grid: Grid) -> Floats:
    """Standard error of trend and spline at the cells: the scatter of examples, averaged over neighbours."""
    u, v = grid.u_mm, grid.v_mm
    nodes_u = np.asarray(np.arange(u[0], u[-1] + ERROR_STEP_MM, ERROR_STEP_MM), dtype=np.float64)
    nodes_v = np.asarray(np.arange(v[0], v[-1] + ERROR_STEP_MM, ERROR_STEP_MM), dtype=np.float64)
    examples = posterior.draw(32, nodes_u, nodes_v, seed=1)
    variance = ndimage.uniform_filter(((examples - examples.mean(axis=0)) ** 2).mean(axis=0), 3, mode="nearest")
    low_u, low_v = (u - u[0]) / ERROR_STEP_MM, (v - v[0]) / ERROR_STEP_MM
    return _along(_along(np.sqrt(variance), low_v).T, low_u).T


def _along(table: Floats, places: Floats) -> Floats:
    first = np.minimum(places.astype(int), len(table) - 2)
    share = (places - first)[:, None]
    return np.asarray(table[first] * (1.0 - share) + table[first + 1] * share)
