"""Compiled loops of the scan stage; each has a plain NumPy twin in its test."""

import math
from typing import Any

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Floats, Floats32


@njit(cache=True, nogil=True)
def place(x: AnyArray, y: AnyArray, z: AnyArray, drop: AnyArray, matrix: Floats, out: Floats32) -> Any:
    """Transform raw coordinates (n,) by `matrix` (3, 4) into `out` (n, 3), leaving out what is dropped or not finite.

    `drop` is (n,), or (0,) for none. Returns how many were placed, and how many were not finite.
    """
    placed, broken = 0, 0
    for i in range(len(x)):
        if len(drop) > 0 and drop[i] != 0:
            continue
        a, b, c = float(x[i]), float(y[i]), float(z[i])
        u = matrix[0, 0] * a + matrix[0, 1] * b + matrix[0, 2] * c + matrix[0, 3]
        v = matrix[1, 0] * a + matrix[1, 1] * b + matrix[1, 2] * c + matrix[1, 3]
        w = matrix[2, 0] * a + matrix[2, 1] * b + matrix[2, 2] * c + matrix[2, 3]
        if not (math.isfinite(u) and math.isfinite(v) and math.isfinite(w)):
            broken += 1
            continue
        out[placed, 0] = u
        out[placed, 1] = v
        out[placed, 2] = w
        placed += 1
    return placed, broken


@njit(cache=True, nogil=True)
def from_spherical(reach: Floats, azimuth: Floats, elevation: Floats) -> None:
    """Turn range, azimuth and elevation (n,) into x, y and z in place (ASTM E2807: elevation from the xy plane)."""
    for i in range(len(reach)):
        r, a, e = reach[i], azimuth[i], elevation[i]
        level = r * math.cos(e)
        reach[i] = level * math.cos(a)
        azimuth[i] = level * math.sin(a)
        elevation[i] = r * math.sin(e)


NO_DROP = np.zeros(0, np.int8)
