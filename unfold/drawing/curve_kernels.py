"""Compiled loops of the curve fit: the fewest line and arc pieces that keep within a distance of a chain of points."""

import math

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats

LARGEST_RADIUS_MM = 100_000.0
"""Larger arcs are left to straight pieces: controls of cutting machines lose them in rounding (common practice)."""
LEAST_INNER_POINTS = 2
"""An arc passes at least this many points between its ends: through three points there is always a circle."""
PATIENCE = 16
"""Ends that are tried beyond the last one reached. Reach is not monotone: an end farther on may fit where one fails."""


@njit(cache=True, nogil=True)
def _half_sweeps(x: float, y: float, half: float, tolerance: float) -> tuple[float, float]:
    """Give the half sweeps of arcs from (-half, 0) to (half, 0) that pass (x, y) within the tolerance.

    With b = tan(s / 2) the bulge, the point's power to the circle gives |y (b^2 - 1) + q b| <= tolerance (1 + b^2) with
    q = (x^2 + y^2 - half^2) / half, less a term of tolerance^2; in s this is |M sin(s - s0)| <= tolerance.
    """
    q = 0.5 * (x * x + y * y - half * half) / half
    reach = math.hypot(y, q)
    if reach <= tolerance:
        return -math.pi, math.pi
    middle = math.atan2(-y, -q)
    width = math.asin(tolerance / reach)
    return middle - width, middle + width


@njit(cache=True, nogil=True)
def _keeps_to_line(points: Floats, first: int, last: int, tolerance: float) -> bool:
    """Tell whether all points between run forward along the line from first to last, within the tolerance of it."""
    ax, ay = points[first]
    ex, ey = points[last, 0] - ax, points[last, 1] - ay
    length = math.hypot(ex, ey)
    ex, ey = ex / length, ey / length
    before = 0.0
    for k in range(first + 1, last + 1):
        dx, dy = points[k, 0] - ax, points[k, 1] - ay
        along = dx * ex + dy * ey
        if abs(dy * ex - dx * ey) > tolerance or along < before:
            return False
        before = along
    return True


@njit(cache=True, nogil=True)
def _keeps_to_arc(points: Floats, first: int, last: int, half_sweep: float, tolerance: float) -> bool:
    """Tell whether the chain runs forward along the arc, each of its points and of its chords within the tolerance."""
    ax, ay = points[first]
    bx, by = points[last]
    chord = math.hypot(bx - ax, by - ay)
    radius = 0.5 * chord / abs(math.sin(half_sweep))
    rise = 0.5 * chord / math.tan(half_sweep)
    cx = 0.5 * (ax + bx) - rise * (by - ay) / chord
    cy = 0.5 * (ay + by) + rise * (bx - ax) / chord
    sign = 1.0 if half_sweep > 0.0 else -1.0
    for k in range(first, last):
        px, py = points[k, 0] - cx, points[k, 1] - cy
        qx, qy = points[k + 1, 0] - cx, points[k + 1, 1] - cy
        if k + 1 < last and abs(math.hypot(qx, qy) - radius) > tolerance:
            return False
        if sign * (px * qy - py * qx) < 0.0:
            return False
        ex, ey = qx - px, qy - py
        squared = ex * ex + ey * ey
        share = -(px * ex + py * ey) / squared if squared > 0.0 else -1.0
        if 0.0 < share < 1.0 and abs(math.hypot(px + share * ex, py + share * ey) - radius) > tolerance:
            return False
    return True


@njit(cache=True, nogil=True)
def fit_piece(points: Floats, first: int, last: int, tolerance: float, arcs: bool) -> tuple[bool, float]:
    """Fit one piece through the points first and last; return whether it keeps to those between, and its half sweep.

    A half sweep of 0 is a straight line; positive turns counter-clockwise.
    """
    if last == first + 1:
        return True, 0.0
    ax, ay = points[first]
    ex, ey = points[last, 0] - ax, points[last, 1] - ay
    half = 0.5 * math.hypot(ex, ey)
    if half < tolerance:
        return False, 0.0
    ex, ey = 0.5 * ex / half, 0.5 * ey / half
    low, high = (-0.5 * math.pi, 0.5 * math.pi) if arcs and last - first > LEAST_INNER_POINTS else (0.0, 0.0)
    inner = last - first - 1
    for step in range(-3, inner):
        if step >= 0:
            k = first + 1 + step
        else:  # a few points well spread first: they tell most misfits at once
            k = first + 1 + inner * (step + 4) // 4
            k = min(k, last - 1)
        dx, dy = points[k, 0] - ax, points[k, 1] - ay
        least, most = _half_sweeps(dx * ex + dy * ey - half, dy * ex - dx * ey, half, tolerance)
        low, high = max(low, least), min(high, most)
        if low > high:
            return False, 0.0
    if low <= 0.0 <= high and _keeps_to_line(points, first, last, tolerance):
        return True, 0.0
    sweep = 0.5 * (low + high)
    if abs(sweep) * LARGEST_RADIUS_MM < half:
        return False, 0.0
    return _keeps_to_arc(points, first, last, sweep, tolerance), sweep


@njit(cache=True, nogil=True)
def fewest_pieces(points: Floats, tolerance: float, arcs: bool, is_end: Bools, half_sweeps: Floats) -> int:
    """Choose the ends among the points so that the pieces are as few as can be.

    Dynamic programming over the points (n, 2), first to last. Fills `is_end` (n,) and, at the start of each
    piece, `half_sweeps` (n,); returns the number of pieces.
    """
    n = points.shape[0]
    cost = np.full(n, n)
    source = np.zeros(n, np.int64)
    sweep_to = np.zeros(n)
    cost[0] = 0
    for first in range(n - 1):
        misses, reach = 0, 1
        for last in range(first + 1, n):
            if cost[first] + 1 >= cost[last]:
                reach = last - first
                continue
            fits, sweep = fit_piece(points, first, last, tolerance, arcs)
            if fits:
                reach = last - first
                cost[last], source[last], sweep_to[last] = cost[first] + 1, first, sweep
            else:
                misses += 1
                if misses > PATIENCE + reach // 4:
                    break
    pieces, at = 0, n - 1
    is_end[at] = True
    while at > 0:
        half_sweeps[source[at]] = sweep_to[at]
        at = source[at]
        is_end[at] = True
        pieces += 1
    return pieces
