"""The worst straightedge on a noise-free surface, by brute force: every place, every direction.

An edge of a given length rests on the upper hull of the profile under it. The hollow is the widest gap below the hull;
the crown is the gap at each end when both are equal, which is the height of the profile over the chord of its ends.
"""

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats, Ints


@dataclass(frozen=True)
class Worst:
    """The worst gap, millimetres if the heights were, and where the edge lies: its centre and angle from u."""

    gap: float
    u: float
    v: float
    angle_deg: float


@njit(cache=True, nogil=True)
def _window(s: Floats, f: Floats, hull: Ints) -> float:
    """The larger of hollow and crown over one profile f at places s, both of shape (n,)."""
    n, top = len(s), 0
    for i in range(n):
        while top >= 2:
            a, b = hull[top - 2], hull[top - 1]
            if (f[b] - f[a]) * (s[i] - s[a]) <= (f[i] - f[a]) * (s[b] - s[a]):
                top -= 1
            else:
                break
        hull[top] = i
        top += 1
    worst = 0.0
    for k in range(top - 1):
        a, b = hull[k], hull[k + 1]
        for i in range(a + 1, b):
            gap = f[a] + (f[b] - f[a]) * (s[i] - s[a]) / (s[b] - s[a]) - f[i]
            worst = max(worst, gap)
    for i in range(n):
        worst = max(worst, f[i] - f[0] - (f[n - 1] - f[0]) * (s[i] - s[0]) / max(s[n - 1] - s[0], 1e-12))
    return worst


@njit(cache=True, nogil=True)
def _search(
    height: Floats, valid: Bools, cell: float, length: float, angles: Floats, step: float, near: Floats
) -> tuple[float, float, float, float]:
    """Worst window over angles (radians), lines and starts; `near` limits the centre: u, v, reach (0: anywhere)."""
    rows, columns = height.shape
    wide, tall = columns * cell, rows * cell
    diagonal = math.hypot(wide, tall)
    most = int(diagonal / cell) + 3
    s, f, hull = np.empty(most), np.empty(most), np.empty(most, np.int64)
    best, best_u, best_v, best_angle = 0.0, 0.0, 0.0, 0.0
    for angle in angles:
        c, d = math.cos(angle), math.sin(angle)
        lines = int(diagonal / step) + 1
        for k in range(lines):
            off = (k - lines / 2) * step
            x0, y0 = wide / 2 - off * d, tall / 2 + off * c
            if near[2] > 0 and abs((near[0] - x0) * -d + (near[1] - y0) * c) > near[2]:
                continue
            count = 0
            for i in range(most):
                t = (i - most // 2) * cell
                column, row = math.floor((x0 + t * c) / cell), math.floor((y0 + t * d) / cell)
                if 0 <= row < rows and 0 <= column < columns and valid[row, column]:
                    x, y = (x0 + t * c) / cell - 0.5, (y0 + t * d) / cell - 0.5
                    s[count], f[count] = t, _bilinear(height, x, y)
                    count += 1
            if count < 3:
                continue
            first, next_start = 0, -1e9
            while first < count - 2:
                if s[first] >= next_start:
                    last = first
                    while last + 1 < count and s[last + 1] - s[first] <= length + 1e-9:
                        last += 1
                    centre = (s[first] + s[last]) / 2
                    far = near[2] > 0 and abs((near[0] - x0) * c + (near[1] - y0) * d - centre) > near[2]
                    if last - first >= 2 and not far:
                        gap = _window(s[first : last + 1], f[first : last + 1], hull)
                        if gap > best:
                            best, best_u, best_v, best_angle = gap, x0 + centre * c, y0 + centre * d, angle
                    next_start = s[first] + step
                    if last == count - 1:
                        break
                first += 1
    return best, best_u, best_v, best_angle


@njit(cache=True, nogil=True)
def _bilinear(height: Floats, x: float, y: float) -> float:
    """Height at x columns and y rows from the first cell's centre; carried on straight beyond the outer ones."""
    j = min(max(math.floor(x), 0), height.shape[1] - 2)
    i = min(max(math.floor(y), 0), height.shape[0] - 2)
    p, q = x - j, y - i
    low = (1 - p) * height[i, j] + p * height[i, j + 1]
    high = (1 - p) * height[i + 1, j] + p * height[i + 1, j + 1]
    return float((1 - q) * low + q * high)


def worst_straightedge(height: Floats, valid: Bools, cell: float, length: float) -> Worst:
    """Search a surface for the worst place of an edge of `length`, which touches it only where it is `valid`.

    `height` (rows, columns) is given everywhere, also where the wall is hidden or has an opening. A coarse search over
    the whole wall, then finer ones around the worst that it found. u and v are from the corner of the first cell.
    """
    angles = np.radians(np.arange(0, 180, 7.5))
    gap, u, v, angle = _search(*_thin(height, valid, 2), 2 * cell, length, angles, 4 * cell, np.zeros(3))
    for spread, steps, step, reach in ((6.0, 9, 2 * cell, 0.06 * length), (1.5, 7, cell, 0.02 * length)):
        near = np.array([u, v, max(reach, 3 * cell)])
        turned = angle + np.radians(np.linspace(-spread, spread, steps))
        found = _search(height, valid, cell, length, turned, step, near)
        if found[0] > gap:
            gap, u, v, angle = found
    return Worst(gap, u, v, math.degrees(angle))


def worst_at_angle(height: Floats, valid: Bools, cell: float, length: float, angle_deg: float) -> Worst:
    """As `worst_straightedge`, laid at one angle only."""
    angles = np.radians(np.array([angle_deg]))
    gap, u, v, angle = _search(height, valid, cell, length, angles, cell, np.zeros(3))
    return Worst(gap, u, v, math.degrees(angle))


def _thin(height: Floats, valid: Bools, by: int) -> tuple[Floats, Bools]:
    """Blocks of cells: their mean height, and whether any of them is valid."""
    rows, columns = (size // by * by for size in height.shape)
    if rows < 2 * by or columns < 2 * by:
        return height, valid
    shape = (rows // by, by, columns // by, by)
    means: Floats = height[:rows, :columns].reshape(shape).mean(axis=(1, 3))
    some: Bools = np.asarray(valid[:rows, :columns].reshape(shape).any(axis=(1, 3)))
    return means, some
