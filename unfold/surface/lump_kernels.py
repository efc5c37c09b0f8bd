"""Compiled loops of the search for lumps: how well a rounded lump of a given size explains what a fit leaves over.

Tables are rasters of square cells, [0, 0] at the lower left; places and sizes are in cells. `weight` counts points in
units of one of unit variance, `left` is the sum of their weighted heights over the fit, and 0 where there are none.
"""

import math

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats


@njit(cache=True, nogil=True)
def lump(away: float, radius: float, flat: float) -> float:
    """Height at a distance from the middle of a lump of height 1: flat over a share of its radius, then a cosine."""
    if away >= radius:
        return 0.0
    beyond = away / radius - flat
    return 1.0 if beyond <= 0.0 else 0.5 * (1.0 + math.cos(math.pi * beyond / (1.0 - flat)))


@njit(cache=True, nogil=True)
def lump_over_cell(dx: float, dy: float, radius: float, flat: float) -> float:
    """Mean height over the cell whose centre lies (dx, dy) from the middle: by nine places, one where it is smooth."""
    if radius > 5.0:
        return lump(math.hypot(dx, dy), radius, flat)
    total = 0.0
    for a in range(-1, 2):
        for b in range(-1, 2):
            total += lump(math.hypot(dx + a / 3.0, dy + b / 3.0), radius, flat)
    return total / 9.0


@njit(cache=True, nogil=True)
def fit_at(weight: Floats, left: Floats, x: float, y: float, radius: float, flat: float) -> tuple[float, float, float]:
    """Lay a lump on (x, y): the weighted sum of what is left, the weight, and the share of the lump that has data."""
    rows, columns = weight.shape
    top, power, seen, whole = 0.0, 0.0, 0.0, 0.0
    reach = math.ceil(radius + 0.5)
    for i in range(math.floor(y) - reach, math.floor(y) + reach + 2):
        for j in range(math.floor(x) - reach, math.floor(x) + reach + 2):
            shape = lump_over_cell(j - x, i - y, radius, flat)
            if shape <= 0.0:
                continue
            whole += shape * shape
            if 0 <= i < rows and 0 <= j < columns and weight[i, j] > 0.0:
                top += shape * left[i, j]
                power += shape * shape * weight[i, j]
                seen += shape * shape
    return top, power, seen / whole if whole > 0.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def score(
    weight: Floats,
    left: Floats,
    allowed: Bools,
    radius: float,
    shift: tuple[float, float],
    patch: float,
    least_seen: float,
    window: tuple[int, int, int, int],
    out: Floats,
) -> None:
    """Standard errors by which a lump stands out at each allowed cell of a window (rows, then columns; half open).

    `shift` is where in the cell its middle lies; `patch` the variance that more points do not reduce; `least_seen` the
    share of the lump that must have data.
    """
    rows, columns = weight.shape
    reach = math.ceil(radius + 0.5)
    side = 2 * reach + 1
    shape = np.empty((side, side))
    for a in range(side):
        for b in range(side):
            shape[a, b] = lump_over_cell(b - reach - shift[0], a - reach - shift[1], radius, 0.0)
    whole = (shape * shape).sum()
    low, high = max(window[2], 0), min(window[3], columns)
    top, power, seen = np.empty(columns), np.empty(columns), np.empty(columns)
    for i in range(max(window[0], 0), min(window[1], rows)):
        top[:], power[:], seen[:] = 0.0, 0.0, 0.0
        for a in range(max(0, reach - i), min(side, rows - i + reach)):
            other = i + a - reach
            for b in range(side):
                t = shape[a, b]
                if t == 0.0:
                    continue
                for j in range(max(low, reach - b), min(high, columns + reach - b)):  # a row at once: vector units
                    w = weight[other, j + b - reach]
                    top[j] += t * left[other, j + b - reach]
                    power[j] += t * t * w
                    seen[j] += t * t if w > 0.0 else 0.0
        for j in range(low, high):
            stands = allowed[i, j] and seen[j] >= least_seen * whole
            out[i, j] = top[j] / math.sqrt(power[j] + patch * power[j] * power[j]) if stands else 0.0


@njit(cache=True, nogil=True)
def take_off(weight: Floats, left: Floats, x: float, y: float, radius: float, flat: float, height: float) -> None:
    """Take a lump off what is left."""
    rows, columns = weight.shape
    reach = math.ceil(radius + 0.5)
    for i in range(max(math.floor(y) - reach, 0), min(math.floor(y) + reach + 2, rows)):
        for j in range(max(math.floor(x) - reach, 0), min(math.floor(x) + reach + 2, columns)):
            left[i, j] -= height * lump_over_cell(j - x, i - y, radius, flat) * weight[i, j]


@njit(cache=True, nogil=True)
def information(weight: Floats, x: float, y: float, radius: float, flat: float) -> Floats:
    """Information (5, 5) on a lump's height, radius, flat share and place, for a lump of height 1.

    Radius and place count in radii.
    """
    rows, columns = weight.shape
    reach = math.ceil(radius + 0.5)
    total, slope = np.zeros((5, 5)), np.empty(5)
    less = flat - 0.1 if flat > 0.4 else flat + 0.1
    for i in range(max(math.floor(y) - reach, 0), min(math.floor(y) + reach + 2, rows)):
        for j in range(max(math.floor(x) - reach, 0), min(math.floor(x) + reach + 2, columns)):
            slope[0] = lump_over_cell(j - x, i - y, radius, flat)
            slope[1] = (lump_over_cell(j - x, i - y, 1.05 * radius, flat) - slope[0]) / 0.05
            slope[2] = (lump_over_cell(j - x, i - y, radius, less) - slope[0]) / (less - flat)
            slope[3] = (lump_over_cell(j - x - 0.05 * radius, i - y, radius, flat) - slope[0]) / 0.05
            slope[4] = (lump_over_cell(j - x, i - y - 0.05 * radius, radius, flat) - slope[0]) / 0.05
            for a in range(5):
                for b in range(5):
                    total[a, b] += weight[i, j] * slope[a] * slope[b]
    return total
