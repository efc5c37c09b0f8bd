"""Lumps wider than a hand, found together with the plain shape that they stand on.

Left to the spline, a few of them would make the whole wall rough; left to the polynomials, they would bend it.
"""

from dataclasses import replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Floats
from unfold.surface.lumps import BROAD_CELLS, LEAST_SEEN, find_lumps, lump_heights_at
from unfold.surface.result import Grid, Lump
from unfold.surface.trend import Trend, fit_trend

_TURNS = 2  # of the search
_STEPS = 4  # of Gauss and Newton
_MOST = 12  # more are no lumps: the wall is rough or wavy, and the spline's
_SEEN_MOST = 0.6  # share of a lump
_BEYOND = 2  # cells that a lump's middle may lie beyond what was measured
_FLATTEST = 0.8
_SMALL = 0.02  # by which a radius is widened for its slope
_PRIOR = (3.0, 3.0, 3.0, 3.3)  # how well place and size are known beforehand: to a third of the radius; flat share 0.3


def broad_lumps(
    grid: Grid, n: Floats, total: Floats, scatter_mm: float, patch_mm: float, to_edges: bool
) -> tuple[Lump, ...]:
    """Find lumps wider than a hand, those that stand out most first.

    `n` (rows, columns) counts points in units of one whose scatter is `scatter_mm`; `total` is the sum of heights. With
    `to_edges` a part of a lump is enough.
    """
    i, j = np.nonzero(n)
    u, v, weight, height = grid.u_mm[j], grid.v_mm[i], n[i, j], total[i, j] / n[i, j]
    sizes = tuple(size * 10.0 / grid.cell_mm for size in BROAD_CELLS)
    middles = ndimage.binary_dilation(n > 0, iterations=_BEYOND) if to_edges else n > 0
    least = LEAST_SEEN if to_edges else _SEEN_MOST
    lumps: list[Lump] = []
    trend = fit_trend(u, v, height, weight)
    for _ in range(_TURNS):
        left = np.zeros(n.shape)
        left[i, j] = total[i, j] - weight * trend.at(u, v)
        own = left / scatter_mm**2
        lumps = find_lumps(grid, n / scatter_mm**2, own, middles, sizes, patch_mm, most=_MOST, least_seen=least)
        if not lumps or len(lumps) == _MOST:
            return ()
        trend = fit_trend(u, v, height - lump_heights_at(lumps, u, v), weight)
        for _ in range(_STEPS):
            trend, lumps = _improved(trend, lumps, u, v, height, weight, scatter_mm)
    return tuple(lumps)


def _improved(
    trend: Trend, lumps: list[Lump], u: Floats, v: Floats, height: Floats, weight: Floats, scatter_mm: float
) -> tuple[Trend, list[Lump]]:
    """One step of Gauss and Newton on the plain shape and every lump's height, place, size and shape together."""
    plain = trend.table(u, v)
    slopes = np.concatenate([_slopes(lump, u, v) for lump in lumps], axis=1)
    table = np.hstack([plain, slopes])
    left = height - plain @ trend.coefficients - lump_heights_at(lumps, u, v)
    terms = plain.shape[1]
    held = np.concatenate([np.zeros(terms), np.tile([0.0, *_PRIOR], len(lumps))]) * scatter_mm
    matrix = table.T @ (weight[:, None] * table) + np.diag(held**2)
    matrix += 1e-9 * np.diag(np.diag(matrix))
    inverse = np.linalg.inv(matrix)
    step = inverse @ (table.T @ (weight * left))
    moved = [
        _moved(lump, part, scatter_mm * np.sqrt(max(inverse[terms + 5 * k, terms + 5 * k], 0.0)))
        for k, (lump, part) in enumerate(zip(lumps, step[terms:].reshape(-1, 5), strict=True))
    ]
    return replace(trend, coefficients=trend.coefficients + step[:terms]), moved


def _slopes(lump: Lump, u: Floats, v: Floats) -> Floats:
    """By how much heights grow with a lump's height (mm), its place and size (radii) and its flat share, (n, 5)."""
    small = _SMALL * 0.5 * lump.across_mm
    less = lump.flat_share - 0.05 if lump.flat_share > 0.4 else lump.flat_share + 0.05
    here = lump_heights_at([lump], u, v)
    one = lump_heights_at([replace(lump, height_mm=1.0)], u, v)
    changed = [
        (replace(lump, u_mm=lump.u_mm + small), _SMALL),
        (replace(lump, v_mm=lump.v_mm + small), _SMALL),
        (replace(lump, across_mm=lump.across_mm * (1.0 + _SMALL)), _SMALL),
        (replace(lump, flat_share=less), less - lump.flat_share),
    ]
    return np.stack([one] + [(lump_heights_at([other], u, v) - here) / by for other, by in changed], axis=1)


def _moved(lump: Lump, step: Floats, error_mm: float) -> Lump:
    """A lump after a step, which is cut short where the slopes no longer hold."""
    short = np.clip(step[1:], -0.2, 0.2)
    radius = 0.5 * lump.across_mm
    return Lump(
        lump.u_mm + float(short[0]) * radius,
        lump.v_mm + float(short[1]) * radius,
        lump.across_mm * (1.0 + float(short[2])),
        float(np.clip(lump.flat_share + short[3], 0.0, _FLATTEST)),
        lump.height_mm + float(step[0]),
        float(error_mm),
    )
