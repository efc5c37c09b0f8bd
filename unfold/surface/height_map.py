"""The best estimate of a wall's heights, cell by cell, with its standard error.

Four layers: a polynomial for the plain shape; lumps and hollows, where a few of them explain the wall better than a
rougher spline would; a spline, as smooth at each place as the data there say; and, on what those leave over, boxes of
cells that look for detail which noise cannot explain (steps, ridges), from wide to narrow.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Counts, Floats
from unfold.surface.blocks import block_sums, coarser, sums_around
from unfold.surface.broad_lumps import broad_lumps
from unfold.surface.lumps import LEAST_SEEN, SMALL_CELLS, find_lumps, lump_heights, lump_heights_at, threshold
from unfold.surface.result import Grid, Lump
from unfold.surface.spline import Posterior, adapted, condense, knots_over, likeliest, solve
from unfold.surface.trend import Trend, fit_trend
from unfold.surface.wall_cells import disk

_BLOCK = 2  # cells a side that are condensed for the spline
_WIDE_BLOCK = 4  # and for lumps wider than a hand
_KNOT_MM = 80.0
_MOST_WORK = 1.0e8  # unknowns x band width squared
_DETAIL_CELLS = (21, 9, 5, 3)
_LIKELY = 2.5  # and what hangs together with a seed
_LEAST_POINTS = 5.0
_OUTLIER = 5.0
_STRAY = 4.0  # standard errors that a cell may stand out from those around it
_RIM_CELLS = 3  # boxes up to twice as wide show mixed points
_SEEN_WHOLE = 0.95  # share of a small lump; near a rim mixed points pass for one
_BEYOND_CELLS = 4  # that a lump's middle may lie beyond what was measured
_LUMP_TERMS = 5  # place, size, shape, height
ERROR_STEP_MM = 50.0


@dataclass(frozen=True, slots=True)
class SurfacePosterior:
    """The plain shape, lumps on it and the spline on both, as a distribution."""

    trend: Trend
    spline: Posterior
    lumps: tuple[Lump, ...] = ()

    @property
    def unit_mm(self) -> float:
        """1-sigma of a single point that the fit shows."""
        return float(np.sqrt(self.spline.unit_variance_mm2))

    def heights(self, u_mm: Floats, v_mm: Floats) -> Floats:
        """The likeliest surface on the grid of columns u_mm (m,) and rows v_mm (n,); shape (n, m)."""
        plain = self.trend.heights(u_mm, v_mm) + self.spline.heights(u_mm, v_mm)
        return plain + lump_heights(self.lumps, u_mm, v_mm) if self.lumps else plain

    def draw(self, examples: int, u_mm: Floats, v_mm: Floats, seed: int) -> Floats:
        """Examples of what the surface may be, (examples, n, m)."""
        plain = self.trend.heights(u_mm, v_mm, self.trend.draw(examples, self.unit_mm, seed + 1))
        drawn = plain + self.spline.draw(examples, u_mm, v_mm, seed)
        for lump, off in zip(self.lumps, self._drawn_heights(examples, seed + 2), strict=True):
            drawn += off[:, None, None] * lump_heights((lump,), u_mm, v_mm, (1.0,))
        return drawn

    def _drawn_heights(self, examples: int, seed: int) -> Floats:
        """Heights of the lumps (lumps, examples), in pairs mirrored about the likeliest ones."""
        white = np.random.default_rng(seed).standard_normal((len(self.lumps), -(-examples // 2)))
        off = np.array([lump.standard_uncertainty_mm for lump in self.lumps]).reshape(-1, 1) * white
        return np.array([[lump.height_mm] for lump in self.lumps]).reshape(-1, 1) + np.hstack([off, -off])[:, :examples]


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
    grid: Grid,
    coarse_mm: Floats,
    is_wall: Bools,
    count: Counts,
    total: Floats,
    scatter_mm: Floats | None,
    patch_mm: float,
    clear: Bools,
    to_edges: bool,
) -> HeightMap:
    """Estimate heights from counts and sums of heights over the coarse surface, on the wall's own cells.

    `clear` are those of them at no rim where mixed points may be.
    `scatter_mm` (rows, columns) is that of single points from place to place; None when they are too sparse to tell.
    `patch_mm` is an error of a patch's mean that more points do not reduce. With `to_edges` a part of a lump is enough.
    """
    n = np.where(is_wall, count, 0).astype(float)
    total = np.where(is_wall, total, 0.0) + n * coarse_mm
    usual = 1.0 if scatter_mm is None else float(np.sqrt(np.average(scatter_mm**2, weights=n)))
    steadiness = np.ones(n.shape) if scatter_mm is None else (usual / scatter_mm) ** 2
    n, total = n * steadiness, total * steadiness
    posterior = _fit(grid, n, total, None if scatter_mm is None else usual, patch_mm, to_edges)
    known = posterior.unit_mm if scatter_mm is None else max(usual, posterior.unit_mm)
    lumps, detail, variance, suspect = _left_over(grid, posterior, is_wall, clear, n, total, known, patch_mm, to_edges)
    if lumps or detail.any():
        # without them the rest is smoother, and what they share with the spline comes to them
        sharp = lump_heights(lumps, grid.u_mm, grid.v_mm) + detail
        posterior = _fit(grid, n, total - n * sharp, None if scatter_mm is None else usual, patch_mm, to_edges)
        known = posterior.unit_mm if scatter_mm is None else max(usual, posterior.unit_mm)
        lumps, detail, variance, suspect = _left_over(
            grid, posterior, is_wall, clear, n, total, known, patch_mm, to_edges
        )
    posterior = replace(posterior, lumps=(*posterior.lumps, *lumps))
    error = np.sqrt(_smooth_error(posterior, grid) ** 2 + variance)
    filled = posterior.heights(grid.u_mm, grid.v_mm) + detail
    return HeightMap(filled, error, detail, variance, suspect, posterior)


def _left_over(
    grid: Grid,
    posterior: SurfacePosterior,
    is_wall: Bools,
    clear: Bools,
    n: Floats,
    total: Floats,
    scatter_mm: float,
    patch_mm: float,
    to_edges: bool,
) -> tuple[list[Lump], Floats, Floats, Bools]:
    """Small lumps and other detail in what the smooth layers leave over."""
    left = total - n * posterior.heights(grid.u_mm, grid.v_mm)
    # what the smooth layers themselves may be off by hangs together over a small lump
    patch_mm = float(np.hypot(patch_mm, np.median(_smooth_error(posterior, grid)[is_wall])))
    weight = np.where(clear, n, 0.0) / scatter_mm**2
    left = _without_strays(left, n, scatter_mm)
    middles = ndimage.binary_dilation(clear, disk(_BEYOND_CELLS)) if to_edges else clear
    least = LEAST_SEEN if to_edges else _SEEN_WHOLE
    own = np.where(clear, left, 0.0) / scatter_mm**2
    lumps = find_lumps(grid, weight, own, middles, SMALL_CELLS, patch_mm, rounded=True, least_seen=least)
    if lumps:
        left = left - n * lump_heights(lumps, grid.u_mm, grid.v_mm)
    detail, variance, suspect = find_detail(is_wall, clear, n, left, scatter_mm, patch_mm)
    if detail.any():  # from points that are not at a rim; beside them it carries on
        detail, variance, _ = find_detail(
            clear, clear, np.where(clear, n, 0.0), np.where(clear, left, 0.0), scatter_mm, patch_mm
        )
        if detail.any():
            nearest = tuple(ndimage.distance_transform_edt(~clear, return_distances=False, return_indices=True))
            detail, variance = detail[nearest], variance[nearest]
    return lumps, detail, variance, suspect


def _without_strays(left: Floats, n: Floats, scatter_mm: float) -> Floats:
    """Sums in which no cell stands out from those around it by more than noise may: a stray point is no lump."""
    others = np.maximum(sums_around(n, 3) - n, 0.0)
    around = np.where(others > 0.5, (sums_around(left, 3) - left) / np.maximum(others, 0.5), 0.0)
    most = _STRAY * scatter_mm * np.sqrt(n)
    return np.asarray(np.clip(left, n * around - most, n * around + most))


@dataclass(frozen=True, slots=True)
class _Plain:
    """Trend, lumps and the spline on wide knots, and how unlikely they are together."""

    trend: Trend
    lumps: tuple[Lump, ...]
    spline: Posterior
    cost: float

    def at(self, u_mm: Floats, v_mm: Floats) -> Floats:
        return self.trend.at(u_mm, v_mm) + lump_heights_at(self.lumps, u_mm, v_mm)


def _fit(
    grid: Grid, n: Floats, total: Floats, scatter_mm: float | None, patch_mm: float, to_edges: bool
) -> SurfacePosterior:
    """Fit the smooth layers to blocks of cells; smoothing is found on wide knots, and blocks far off are left out."""
    blocks = coarser(grid, _BLOCK)
    weight, height = block_sums(n, _BLOCK), block_sums(total, _BLOCK)
    i, j = np.nonzero(weight)
    weight, height = weight[i, j], height[i, j] / weight[i, j]
    u, v = blocks.u_mm[j], blocks.v_mm[i]
    sides = (float(u.min()), float(u.max())), (float(v.min()), float(v.max()))
    spacing = knot_spacing_mm(*sides)
    wide = knots_over(*sides, 2.0 * spacing)

    def plain(lumps: tuple[Lump, ...]) -> _Plain:
        rest = height - lump_heights_at(lumps, u, v)
        trend = fit_trend(u, v, rest, weight)
        spline, cost = likeliest(condense(wide, u, v, rest - trend.at(u, v), weight))
        terms = len(trend.coefficients) + _LUMP_TERMS * len(lumps)
        return _Plain(trend, lumps, spline, cost + terms * float(np.log(len(height))))

    first = plain(())
    if scatter_mm is not None:
        wider = coarser(grid, _WIDE_BLOCK)
        sums = block_sums(n, _WIDE_BLOCK), block_sums(total, _WIDE_BLOCK)
        found = broad_lumps(wider, *sums, scatter_mm, patch_mm, to_edges)
        for many in range(1, len(found) + 1):
            trial = plain(found[:many])
            if trial.cost < first.cost:
                first = trial
            elif many > len(first.lumps) + 2:
                break
    fitted = first.at(u, v) + first.spline.heights(blocks.u_mm, blocks.v_mm)[i, j]
    weight = weight * (np.abs(height - fitted) * np.sqrt(weight) <= _OUTLIER * first.spline.unit_mm)
    rest = height - lump_heights_at(first.lumps, u, v)
    trend = fit_trend(u, v, rest, weight)
    equations = condense(knots_over(*sides, spacing), u, v, rest - trend.at(u, v), weight)
    # the same bending costs four times as much in knots half as far apart
    spline = adapted(equations, solve(equations, 4.0 * first.spline.smoothing)[0])
    return SurfacePosterior(trend, spline, first.lumps)


def knot_spacing_mm(u_mm: tuple[float, float], v_mm: tuple[float, float]) -> float:
    """Give the spacing of knots: _KNOT_MM, or wider on walls so large that the equations would take too long."""
    long, short = sorted((u_mm[1] - u_mm[0], v_mm[1] - v_mm[0]), reverse=True)
    affordable = (9.0 * long * max(short, 100.0) ** 3 / _MOST_WORK) ** 0.25
    return max(_KNOT_MM, float(affordable))


def find_detail(
    is_wall: Bools, clear: Bools, n: Floats, left: Floats, scatter_mm: float, patch_mm: float = 0.0
) -> tuple[Floats, Floats, Bools]:
    """What boxes of cells find in the sums that the fit leaves over, and its variance; from wide boxes to narrow ones.

    `n` counts points in units of one whose scatter is `scatter_mm`, `left` is the sum of what is left of their heights.
    An area is opened by a box that stands out by more than chance would show anywhere; in it, and in what hangs
    together with it, every narrower box counts, each less the share that chance may have in it (as Stein's).

    What stands off where the wall is not `clear` is suspect: mixed points are found there, and no detail of the wall
    can be told from them.
    """
    detail, variance = np.zeros(n.shape), np.zeros(n.shape)
    suspect, opened = np.zeros(n.shape, bool), np.zeros(n.shape, bool)
    left = left.copy()
    enough = threshold(len(_DETAIL_CELLS) * int(is_wall.sum()))
    for cells in _DETAIL_CELLS:
        points = np.maximum(sums_around(n, cells), 0.0)
        found = np.where(points > 0.5, sums_around(left, cells) / np.maximum(points, 0.5), 0.0)
        error = np.sqrt(scatter_mm**2 / np.maximum(points, 0.5) + patch_mm**2)
        sure = (np.abs(found) > enough * error) & is_wall & (points >= _LEAST_POINTS)
        if not sure.any() and not opened.any():
            continue
        areas, number = ndimage.label((np.abs(found) > _LIKELY * error) & is_wall & (points > 0.5))
        seeded, inside = np.zeros(number + 1, bool), np.zeros(number + 1, bool)
        seeded[areas[sure]] = True
        inside[areas[(sure & clear) | opened]] = True
        seeded[0] = inside[0] = False
        taken = inside[areas] | opened
        share = np.maximum(1.0 - (_LIKELY * error / np.maximum(np.abs(found), 1e-9)) ** 2, 0.0)
        detail[taken] += (share * found)[taken]
        variance[taken] = error[taken] ** 2
        left[taken] -= (n * share * found)[taken]
        opened |= taken
        if cells <= 2 * _RIM_CELLS:
            suspect |= (seeded & ~inside)[areas]
    return detail, variance, suspect & ~opened


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
