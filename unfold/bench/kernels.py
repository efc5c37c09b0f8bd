"""Compiled loops of the benchmarks."""

import math

import numpy as np
from numba import njit

from unfold.arrays import Floats

HALL_M = (9.0, 6.0, 3.0)
DOORWAY_M = (4.0, 5.0, 2.1)  # in the wall y = 0: from x, to x, height; a porch 1.5 m deep lies behind it


@njit(cache=True, nogil=True)
def cast_rays(station: Floats, azimuth: Floats, elevation: Floats, noise: Floats) -> Floats:
    """Return where rays from a station end in the hall, with range noise: (columns * rows, 3)."""
    points = np.empty((len(azimuth) * len(elevation), 3))
    direction = np.empty(3)
    n = 0
    for column in range(len(azimuth)):
        for row in range(len(elevation)):
            flat = math.cos(elevation[row])
            direction[0] = flat * math.cos(azimuth[column])
            direction[1] = flat * math.sin(azimuth[column])
            direction[2] = math.sin(elevation[row])
            distance = math.inf
            for axis in range(3):
                if direction[axis] > 0.0:
                    distance = min(distance, (HALL_M[axis] - station[axis]) / direction[axis])
                elif direction[axis] < 0.0:
                    distance = min(distance, -station[axis] / direction[axis])
            x = station[0] + distance * direction[0]
            y = station[1] + distance * direction[1]
            z = station[2] + distance * direction[2]
            if y < 1e-9 and DOORWAY_M[0] < x < DOORWAY_M[1] and z < DOORWAY_M[2]:
                distance = (station[1] + 1.5) / -direction[1]
            distance += noise[column, row]
            for axis in range(3):
                points[n, axis] = station[axis] + distance * direction[axis]
            n += 1
    return points
