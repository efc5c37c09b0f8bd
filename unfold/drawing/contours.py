"""Contour lines of a wall's heights, drawn from a smoothed map so that they show the wall and not the points' noise."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.steps import round_step, ticks
from unfold.surface.result import WallSurface

SMOOTHING_MM = 200.0  # calms what noise the map keeps; the colours, which are not smoothed, show what is smaller
LEAST_STEP_MM = 0.5
SHORTEST_MM = 2.0 * SMOOTHING_MM  # a shorter line is more likely noise than relief
MOST_LINES = 8


@dataclass(frozen=True, slots=True)
class Contours:
    """Contour lines of one wall."""

    step_mm: float | None  # None: too little was measured
    lines: tuple[tuple[float, Floats], ...]  # level in mm, (n, 2) of [u, v]; none where the relief is under one step


def smoothed_heights(surface: WallSurface) -> Floats:
    """Mean heights over squares of about SMOOTHING_MM, NaN where under half of the square was measured.

    Two passes of a moving mean, each over half the width, keep the shape of slow waves better than one.
    """
    measured = np.isfinite(surface.height_mm)
    if not measured.any():
        return surface.height_mm
    narrow = min(np.count_nonzero(measured.any(axis=0)), np.count_nonzero(measured.any(axis=1)))
    cells = max(1, round(min(0.5 * SMOOTHING_MM / surface.grid.cell_mm, 0.25 * narrow))) | 1
    weight = measured.astype(float)
    total = np.where(measured, surface.height_mm, 0.0)
    for axis in (0, 1, 0, 1):
        total, weight = _moving_sum(total, cells, axis), _moving_sum(weight, cells, axis)
    enough = measured & (weight >= 0.5 * cells**4)
    return np.where(enough, total / np.where(enough, weight, 1.0), np.nan)


def contour_lines(surface: WallSurface, smooth: Floats) -> Contours:
    """Trace contours of a smoothed map (rows, columns) at a round step that suits its relief and its uncertainty."""
    heights = smooth[np.isfinite(smooth)]
    if heights.size < 4:
        return Contours(None, ())
    low, high = np.percentile(heights, (0.5, 99.5))
    noise = float(np.nanmedian(surface.standard_error_mm)) if np.isfinite(surface.standard_error_mm).any() else 0.0
    step = round_step(max(LEAST_STEP_MM, 2.0 * noise, (high - low) / MOST_LINES))
    if high - low < step:
        return Contours(step, ())
    lines = _trace(surface, smooth, ticks(low, high, step))
    return Contours(step, tuple((level, line) for level, line in lines if _walked(line) >= SHORTEST_MM))


def _trace(surface: WallSurface, smooth: Floats, levels: list[float]) -> list[tuple[float, Floats]]:
    import contourpy  # a run that stops before its drawings need not load it

    grid = surface.grid
    stride = max(1, round(0.12 * SMOOTHING_MM / grid.cell_mm))
    u = grid.u0_mm + grid.cell_mm * np.arange(grid.columns)[::stride]
    v = grid.v0_mm + grid.cell_mm * np.arange(grid.rows)[::stride]
    tracer = contourpy.contour_generator(u, v, np.ma.masked_invalid(smooth[::stride, ::stride]), corner_mask=True)
    return [(level, np.asarray(line)) for level in levels for line in tracer.lines(level)]


def _walked(line: Floats) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _moving_sum(values: Floats, cells: int, axis: int) -> Floats:
    half = cells // 2
    padding = [(0, 0), (0, 0)]
    padding[axis] = (half + 1, half)
    summed = np.cumsum(np.pad(values, padding), axis=axis)
    high = summed[cells:] if axis == 0 else summed[:, cells:]
    low = summed[:-cells] if axis == 0 else summed[:, :-cells]
    return high - low
