"""Lumps and hollows that a smooth fit leaves over: found by a scan statistic, largest first.

A rounded lump (a raised cosine) of every size is laid on every place. Where the best of them stands out by more
standard errors than chance would show anywhere on the wall, it is taken off, and the search goes on. A wall without
lumps shows a false one with a chance of FALSE_ALARM, over all places and sizes together (Bonferroni).

That lumps are few and the rest is smooth is what a spline with one prior for the whole wall cannot say.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage
from scipy.special import ndtri

from unfold.arrays import Bools, Floats
from unfold.surface import lump_kernels as kernels
from unfold.surface.blocks import block_sums, coarser
from unfold.surface.result import Grid, Lump

FALSE_ALARM = 0.002  # of a false lump on a wall without one: such a one fails the wall
SMALL_CELLS = (3.0, 4.2, 6.0, 8.4, 12.0, 17.0, 24.0, 34.0)  # across, in cells of the grid
BROAD_CELLS = (17.0, 24.0, 34.0, 48.0, 68.0, 96.0)
_LEAST_ACROSS = 4.0  # cells of the raster that a lump is looked for on, but for the finest
_MOST = 60
_MOST_ACROSS = 24.0  # cells of the raster that a lump is settled on
_FLATTEST = 0.8  # share of the radius
_FLATTER = 4.0  # by how much a flat top must explain more, as a square of standard errors
_MOST_STEPS = 60
_LEAST_STEP = 0.02
LEAST_SEEN = 0.3  # share of a lump that must have data, where a part is enough
_STATED_MM = (30.0, 50.0, 100.0)
_COSINE_SQUARE = 0.1724  # mean square of a raised cosine over its foot: (3/2 - 8/pi^2) / 4
_SHIFTS = ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5))


@dataclass(frozen=True, slots=True)
class _Level:
    """The wall on cells `ratio` times the grid's, the sizes that are looked for there, and their scores."""

    grid: Grid
    ratio: int
    weight: Floats
    left: Floats
    allowed: Bools
    patterns: tuple[tuple[float, tuple[float, float]], ...]  # radius and shift, cells
    scores: Floats  # (patterns, rows, columns)
    least_seen: float  # share of a lump


def threshold(tests: int) -> float:
    """Standard errors by which the greatest of so many standard normal numbers of either sign stands out by chance."""
    return -float(ndtri(0.5 * FALSE_ALARM / max(tests, 1)))


def find_lumps(
    grid: Grid,
    weight: Floats,
    left: Floats,
    allowed: Bools,
    sizes: Sequence[float],
    patch_mm: float = 0.0,
    most: int = _MOST,
    rounded: bool = False,
    least_seen: float = LEAST_SEEN,
) -> list[Lump]:
    """Find lumps, those that stand out most first, in what a fit leaves over.

    `weight` (rows, columns) is the number of points over their variance, 1/mm2; `left` the sums of heights over the
    fit, likewise weighted. Middles lie on `allowed` cells. `patch_mm` is an error of a patch's mean that more points
    do not reduce. Of each lump a share of `least_seen` must have data. With `rounded`, what is no rounded lump (a step,
    a ridge) is passed over: a lump taken off must leave nothing there that stands out.
    """
    levels = _levels(grid, weight, left, allowed, sizes, least_seen)
    if not levels:
        return []
    enough = threshold(sum(len(level.patterns) * int(level.allowed.sum()) for level in levels))
    for level in levels:
        _score(level, patch_mm, (0, level.grid.rows, 0, level.grid.columns))
    found: list[Lump] = []
    while len(found) < most:
        best = max(levels, key=lambda level: float(np.abs(level.scores).max(initial=0.0)))
        k, i, j = (int(n) for n in np.unravel_index(int(np.argmax(np.abs(best.scores))), best.scores.shape))
        if abs(best.scores[k, i, j]) < enough:
            break
        radius, shift = best.patterns[k]
        place = best.grid
        first = Lump(
            place.u0_mm + place.cell_mm * (float(j) + shift[0]),
            place.v0_mm + place.cell_mm * (float(i) + shift[1]),
            2.0 * place.cell_mm * radius,
            0.0,
            0.0,
            0.0,
        )
        lump = _settled(_finest(levels, first), first, patch_mm)
        for level in levels:
            _take_off(level, lump, patch_mm)
        if rounded and any(
            np.abs(level.scores[:, *_around(level, lump)]).max(initial=0.0) > enough for level in levels
        ):
            for level in levels:
                _take_off(level, replace(lump, height_mm=-lump.height_mm), patch_mm)
                level.allowed[_around(level, lump)] = False
                level.scores[:, *_around(level, lump)] = 0.0
            continue
        found.append(lump)
    for k in range(len(found) if len(found) > 1 else 0):  # each once more, now that the others are off
        alone, level = found[k], _finest(levels, found[k])
        _take_off(level, replace(alone, height_mm=-alone.height_mm), patch_mm)
        found[k] = _settled(level, alone, patch_mm)
        _take_off(level, found[k], patch_mm)
    return found


def _finest(levels: Sequence[_Level], lump: Lump) -> _Level:
    """The finest raster on which a lump is no more than _MOST_ACROSS cells wide."""
    fits = [level for level in levels if lump.across_mm / level.grid.cell_mm <= _MOST_ACROSS]
    return min(fits or levels[-1:], key=lambda level: level.ratio)


def _around(level: _Level, lump: Lump) -> tuple[slice, slice]:
    """Rows and columns of a level under a lump."""
    grid, reach = level.grid, 0.5 * lump.across_mm
    sides = ((lump.v_mm - grid.v0_mm, grid.rows), (lump.u_mm - grid.u0_mm, grid.columns))
    ends = [
        (int(np.floor((middle - reach) / grid.cell_mm)), int(np.ceil((middle + reach) / grid.cell_mm)) + 1)
        for middle, _ in sides
    ]
    rows, columns = (slice(max(low, 0), max(high, 0)) for low, high in ends)
    return rows, columns


def _levels(
    grid: Grid, weight: Floats, left: Floats, allowed: Bools, sizes: Sequence[float], seen: float
) -> list[_Level]:
    by_ratio: dict[int, list[float]] = {1: []}  # the finest is there to settle on
    for size in sizes:
        ratio = 1
        while size / (2 * ratio) >= _LEAST_ACROSS:
            ratio *= 2
        by_ratio.setdefault(ratio, []).append(size / ratio / 2.0)
    levels = []
    for ratio, radii in by_ratio.items():
        place = coarser(grid, ratio)
        middles = block_sums(allowed, ratio) >= 0.5 * ratio * ratio
        patterns = tuple((r, shift) for r in radii for shift in (_SHIFTS if r < _LEAST_ACROSS / 2 else _SHIFTS[:1]))
        scores = np.zeros((len(patterns), *middles.shape))
        levels.append(
            _Level(place, ratio, block_sums(weight, ratio), block_sums(left, ratio), middles, patterns, scores, seen)
        )
    return [level for level in levels if level.allowed.any()]


def _score(level: _Level, patch_mm: float, window: tuple[int, int, int, int]) -> None:
    for k, (radius, shift) in enumerate(level.patterns):
        kernels.score(
            level.weight,
            level.left,
            level.allowed,
            radius,
            shift,
            patch_mm**2,
            level.least_seen,
            window,
            level.scores[k],
        )


def _settled(level: _Level, lump: Lump, patch_mm: float) -> Lump:
    """Move, widen and flatten a lump to where it stands out most."""
    grid = level.grid
    x, y = (lump.u_mm - grid.u0_mm) / grid.cell_mm, (lump.v_mm - grid.v0_mm) / grid.cell_mm
    radius = 0.5 * lump.across_mm / grid.cell_mm

    def fit(place: Floats) -> tuple[float, float]:
        top, power, seen = kernels.fit_at(level.weight, level.left, place[0], place[1], place[2], place[3])
        if power <= 0.0 or seen < min(level.least_seen, 0.5):
            return 0.0, 0.0
        return top * top / (power + (patch_mm * power) ** 2), top / power

    def climbed(place: Floats, sides: int) -> tuple[Floats, tuple[float, float]]:
        best, step = fit(place), np.array([0.2 * radius, 0.2 * radius, 0.2 * radius, 0.4])
        for _ in range(_MOST_STEPS):
            moved = False
            for k in range(sides):
                for sign in (1.0, -1.0):
                    trial = place.copy()
                    trial[k] += sign * step[k]
                    near = np.abs(trial[:2] - (x, y)).max() <= max(1.0, 0.5 * radius)
                    if near and max(1.4, 0.5 * radius) <= trial[2] <= 1.6 * radius and 0.0 <= trial[3] <= _FLATTEST:
                        now = fit(trial)
                        if now[0] > best[0]:
                            place, best, moved = trial, now, True
                            break
            if not moved:
                step *= 0.5
                if step[3] < _LEAST_STEP:
                    break
        return place, best

    place, best = climbed(np.array([x, y, radius, 0.0]), 3)
    flatter = climbed(place, 4)
    if flatter[1][0] > best[0] + _FLATTER:
        place, best = flatter
    variance = _height_variance(kernels.information(level.weight, place[0], place[1], place[2], place[3]), best[1])
    return Lump(
        grid.u0_mm + grid.cell_mm * float(place[0]),
        grid.v0_mm + grid.cell_mm * float(place[1]),
        2.0 * grid.cell_mm * float(place[2]),
        float(place[3]),
        best[1],
        float(np.sqrt(variance + patch_mm**2)),
    )


def _height_variance(information: Floats, height_mm: float) -> float:
    """Variance of a lump's height, fitted together with its radius and place (known to a third of the radius) and its
    flat share (to 0.3).
    """
    scale = np.array([1.0, height_mm, height_mm, height_mm, height_mm])
    known = np.diag([0.0, 9.0, 11.0, 9.0, 9.0])
    return float(np.linalg.inv(information * np.outer(scale, scale) + known)[0, 0])


def _take_off(level: _Level, lump: Lump, patch_mm: float) -> None:
    grid = level.grid
    x, y = (lump.u_mm - grid.u0_mm) / grid.cell_mm, (lump.v_mm - grid.v0_mm) / grid.cell_mm
    radius = 0.5 * lump.across_mm / grid.cell_mm
    kernels.take_off(level.weight, level.left, x, y, radius, lump.flat_share, lump.height_mm)
    reach = int(radius + max((r for r, _ in level.patterns), default=0.0)) + 3
    _score(level, patch_mm, (int(y) - reach, int(y) + reach + 1, int(x) - reach, int(x) + reach + 1))


def lump_heights(
    lumps: Iterable[Lump], u_mm: Floats, v_mm: Floats, heights_mm: Sequence[float] | None = None
) -> Floats:
    """Heights of lumps on the grid of columns u_mm (m,) and rows v_mm (n,), (n, m); `heights_mm` in place of theirs."""
    total = np.zeros((len(v_mm), len(u_mm)))
    for k, lump in enumerate(lumps):
        radius = 0.5 * lump.across_mm
        columns = slice(*np.searchsorted(u_mm, [lump.u_mm - radius, lump.u_mm + radius]))
        rows = slice(*np.searchsorted(v_mm, [lump.v_mm - radius, lump.v_mm + radius]))
        away = np.hypot(u_mm[None, columns] - lump.u_mm, v_mm[rows, None] - lump.v_mm)
        height = lump.height_mm if heights_mm is None else heights_mm[k]
        total[rows, columns] += height * _rise(away / radius, lump.flat_share)
    return total


def lump_heights_at(lumps: Iterable[Lump], u_mm: Floats, v_mm: Floats) -> Floats:
    """Heights of lumps at places (n,)."""
    total = np.zeros(len(u_mm))
    for lump in lumps:
        away = np.hypot(u_mm - lump.u_mm, v_mm - lump.v_mm) / (0.5 * lump.across_mm)
        total += lump.height_mm * _rise(away, lump.flat_share)
    return total


def told_lumps(lumps: Iterable[Lump], grid: Grid, height_mm: Floats, is_wall: Bools, error_mm: float) -> list[Lump]:
    """Lumps with their heights over the wall around them: the smooth layers carry a part of the wider ones.

    `height_mm` (rows, columns) is the whole map, `error_mm` the standard error of its smooth part.
    """
    found = []
    for lump in lumps:
        x, y = (lump.u_mm - grid.u0_mm) / grid.cell_mm, (lump.v_mm - grid.v0_mm) / grid.cell_mm
        radius = 0.5 * lump.across_mm / grid.cell_mm
        reach = int(1.3 * radius) + 3
        rows = slice(max(int(y) - reach, 0), max(int(y) + reach + 1, 0))
        columns = slice(max(int(x) - reach, 0), max(int(x) + reach + 1, 0))
        i, j = np.mgrid[rows, columns][:, : is_wall[rows, columns].shape[0], : is_wall[rows, columns].shape[1]]
        away = np.hypot(i - y, j - x)
        ring = is_wall[rows, columns] & (away > radius) & (away < 1.2 * radius + 1.0)
        smooth = height_mm[rows, columns] - lump.height_mm * _rise(away / radius, lump.flat_share)
        if not ring.any():
            found.append(lump)
            continue
        more = float(smooth.ravel()[np.argmin(away)] - smooth[ring].mean())
        error = float(np.hypot(lump.standard_uncertainty_mm, error_mm))
        found.append(replace(lump, height_mm=lump.height_mm + more, standard_uncertainty_mm=error))
    return found


def doubtful_lumps(grid: Grid, height_mm: Floats, noise_mm: float) -> tuple[Lump, ...]:
    """Areas (rows, columns; NaN elsewhere) that may be lumps or things, as lumps."""
    areas, number = ndimage.label(np.isfinite(height_mm), np.ones((3, 3)))
    found = []
    for k in range(1, number + 1):
        i, j = np.nonzero(areas == k)
        across = 2.0 * grid.cell_mm * float(np.sqrt(len(i) / np.pi))
        height = height_mm[i, j]
        u, v = float(grid.u_mm[j].mean()), float(grid.v_mm[i].mean())
        top = float(height[np.argmax(np.abs(height))])
        found.append(Lump(u, v, across, 0.0, top, float(np.hypot(height.std(), noise_mm / np.sqrt(len(i)))), True))
    return tuple(found)


def smallest_lumps(
    cells: int, noise_mm: float, points_per_mm2: float, patch_mm: float
) -> tuple[tuple[float, float], ...]:
    """The heights (across, height; mm) at which rounded lumps are found in 98 of 100, at a wall's usual density."""
    enough = threshold(5 * cells) + 2.05
    found = []
    for across in _STATED_MM:
        points = points_per_mm2 * np.pi * across**2 / 4.0 * _COSINE_SQUARE
        found.append((across, enough * float(np.hypot(noise_mm / np.sqrt(max(points, 1e-9)), patch_mm))))
    return tuple(found)


def _rise(away: Floats, flat: float) -> Floats:
    """Height of a lump of height and radius 1 at distances from its middle."""
    return np.asarray(0.5 * (1.0 + np.cos(np.pi * np.clip((away - flat) / (1.0 - flat), 0.0, 1.0))))
