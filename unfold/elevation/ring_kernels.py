"""Compiled geometry of rings on rasters and point sets."""

import math

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Bools, Floats


@njit(cache=True, nogil=True)
def ring_distance(ring: Floats, points: Floats) -> Floats:
    """Signed distance of points (n, 2) from a ring (m, 2), negative inside."""
    found = np.empty(points.shape[0])
    for k in range(points.shape[0]):
        x, y = points[k, 0], points[k, 1]
        inside, least = False, np.inf
        for i in range(ring.shape[0]):
            j = i + 1 if i + 1 < ring.shape[0] else 0
            ax, ay = ring[i, 0], ring[i, 1]
            bx, by = ring[j, 0], ring[j, 1]
            if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
                inside = not inside
            dx, dy = bx - ax, by - ay
            length = dx * dx + dy * dy
            share = 0.0 if length == 0.0 else min(max(((x - ax) * dx + (y - ay) * dy) / length, 0.0), 1.0)
            least = min(least, math.hypot(x - ax - share * dx, y - ay - share * dy))
        found[k] = -least if inside else least
    return found


@njit(cache=True, nogil=True)
def fill_ring(ring: Floats, u0: float, v0: float, cell: float, cells: Bools) -> None:
    """Set the cells (rows, columns) whose centres lie inside a ring (m, 2); (u0, v0) is the centre of cell [0, 0]."""
    rows, columns = cells.shape
    crossings = np.empty(ring.shape[0])
    for row in range(rows):
        v = v0 + row * cell
        count = 0
        for i in range(ring.shape[0]):
            j = i + 1 if i + 1 < ring.shape[0] else 0
            ay, by = ring[i, 1], ring[j, 1]
            if (ay > v) != (by > v):
                crossings[count] = ring[i, 0] + (v - ay) * (ring[j, 0] - ring[i, 0]) / (by - ay)
                count += 1
        ordered = np.sort(crossings[:count])
        for k in range(0, count - 1, 2):
            first = max(math.ceil((ordered[k] - u0) / cell), 0)
            last = min(math.floor((ordered[k + 1] - u0) / cell), columns - 1)
            for column in range(first, last + 1):
                cells[row, column] = True


@njit(cache=True, nogil=True)
def cells_near_wall(
    mean: AnyArray, frame: Floats, radius: float, width: float, nearest: float, farthest: float
) -> AnyArray:
    """Indices of cell centroids (n, 3) that lie `nearest` to `farthest` before a wall and over its width; metres.

    `frame` holds origin, right, up and inward, 12 numbers; `radius` is 0 for a plane.
    """
    found = np.empty(mean.shape[0], np.int64)
    count = 0
    for k in range(mean.shape[0]):
        x, y, z = mean[k, 0] - frame[0], mean[k, 1] - frame[1], mean[k, 2] - frame[2]
        out = x * frame[9] + y * frame[10] + z * frame[11]
        if radius == 0.0 and not (nearest < out < farthest):
            continue
        across = x * frame[3] + y * frame[4] + z * frame[5]
        if radius != 0.0:
            sign = 1.0 if radius > 0 else -1.0
            height = radius - sign * math.hypot(across, radius - out)
            if not nearest < height < farthest:
                continue
            across = radius * math.atan2(sign * across, sign * (radius - out))
        if 0.0 < across < width:
            found[count] = k
            count += 1
    return found[:count]
