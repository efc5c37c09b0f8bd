"""Compiled loops of the spline surface: its normal equations in banded storage."""

import numpy as np
from numba import njit

from unfold.arrays import Floats


@njit(cache=True, nogil=True)
def cubic_weights(t: float, out: Floats) -> None:
    """The four cubic B-splines over one knot span at 0 <= t <= 1, into out (4,)."""
    s = 1.0 - t
    out[0] = s * s * s / 6.0
    out[1] = (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0
    out[2] = (3.0 * s * s * s - 6.0 * s * s + 4.0) / 6.0
    out[3] = t * t * t / 6.0


@njit(cache=True, nogil=True)
def add_data(
    x: Floats, y: Floats, z: Floats, weight: Floats, shape: tuple[int, int], band: Floats, right: Floats
) -> float:
    """Add weighted data to the normal equations; x and y (n,) in knot spans from the first knot, x along the slow
    index.

    `band` (columns, unknowns) is the lower band: band[k, j] = matrix[j + k, j]. Returns the sum of weight * z**2.
    """
    slow, fast = shape
    a, b = np.empty(4), np.empty(4)
    product, index = np.empty(16), np.empty(16, np.int64)
    square = 0.0
    for n in range(len(x)):
        if weight[n] <= 0.0:
            continue
        i, j = min(max(int(x[n]), 0), slow - 4), min(max(int(y[n]), 0), fast - 4)
        cubic_weights(x[n] - i, a)
        cubic_weights(y[n] - j, b)
        for p in range(4):
            for q in range(4):
                product[4 * p + q] = a[p] * b[q]
                index[4 * p + q] = (i + p) * fast + j + q
        square += weight[n] * z[n] * z[n]
        for p in range(16):
            w = weight[n] * product[p]
            right[index[p]] += w * z[n]
            for q in range(p, 16):
                band[index[q] - index[p], index[p]] += w * product[q]
    return square


@njit(cache=True, nogil=True)
def add_bending(weight: Floats, band: Floats) -> None:
    """Add squared second differences along both indices, and twice the mixed ones, to the lower band.

    `weight` (slow, fast) is that of the differences about each coefficient.
    """
    slow, fast = weight.shape
    for i in range(slow):
        for j in range(fast):
            k = i * fast + j
            if 0 < i < slow - 1:
                _add_three(k - fast, fast, weight[i, j], band)
            if 0 < j < fast - 1:
                _add_three(k - 1, 1, weight[i, j], band)
            if i + 1 < slow and j + 1 < fast:
                _add_mixed(k, fast, 2.0 * weight[i, j], band)


@njit(cache=True, nogil=True)
def _add_three(k: int, step: int, w: float, band: Floats) -> None:
    band[0, k] += w
    band[step, k] -= 2.0 * w
    band[2 * step, k] += w
    band[0, k + step] += 4.0 * w
    band[step, k + step] -= 2.0 * w
    band[0, k + 2 * step] += w


@njit(cache=True, nogil=True)
def _add_mixed(k: int, step: int, w: float, band: Floats) -> None:
    band[0, k] += w
    band[0, k + 1] += w
    band[0, k + step] += w
    band[0, k + step + 1] += w
    band[1, k] -= w
    band[step, k] -= w
    band[step + 1, k] += w
    band[step - 1, k + 1] += w
    band[step, k + 1] -= w
    band[1, k + step] -= w
