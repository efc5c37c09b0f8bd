"""Compiled loops of the straightedge: the gap under one, and the search of all places and directions.

A height map here is a pair of arrays (rows, columns): heights, filled in everywhere, and `valid`, where the wall was
measured; places are in cells: x along columns, y along rows, a cell's centre at whole numbers.
"""

import math

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Bools, Floats, Ints

ROUNDING_MM = 1e-9


@njit(cache=True, nogil=True)
def gap_under(place: Floats, height: Floats, count: int, hull: Ints) -> tuple[float, float, float]:
    """Gap that a straightedge over the first `count` samples of a profile shows, and between which places it lies.

    The larger of the widest gap under the upper hull (the edge resting on two high points) and the greatest height
    over the chord of the ends (the edge rocking on a crown, turned until its ends gape alike: the gap at each end
    then is just that). `hull` is work space for `count` numbers. Places must grow.
    """
    if count < 3:
        return 0.0, place[0], place[max(count - 1, 0)]
    top = 0
    for k in range(count):
        while top >= 2:
            a, b = hull[top - 2], hull[top - 1]
            if (height[b] - height[a]) * (place[k] - place[b]) > (height[k] - height[b]) * (place[b] - place[a]):
                break
            top -= 1
        hull[top] = k
        top += 1
    worst, low, high = 0.0, place[0], place[count - 1]
    for n in range(top - 1):
        a, b = hull[n], hull[n + 1]
        slope = (height[b] - height[a]) / (place[b] - place[a])
        for k in range(a + 1, b):
            gap = height[a] + slope * (place[k] - place[a]) - height[k]
            if gap > worst:
                worst, low, high = gap, place[a], place[b]
    slope = (height[count - 1] - height[0]) / (place[count - 1] - place[0])
    for n in range(top):  # the point farthest above the chord is a corner of the hull
        k = hull[n]
        gap = height[k] - height[0] - slope * (place[k] - place[0])
        if gap > worst:
            worst, low, high = gap, place[0], place[count - 1]
    return worst, low, high


@njit(cache=True, nogil=True)
def _between(height: Floats, q: int, p: int, s: float, t: float) -> float:
    """The height between four cells, shares s and t of a cell beyond row q and column p."""
    low = height[q, p] * (1.0 - s) + height[q, p + 1] * s
    high = height[q + 1, p] * (1.0 - s) + height[q + 1, p + 1] * s
    return float(low * (1.0 - t) + high * t)


@njit(cache=True, nogil=True)
def sample_line(
    height: Floats, valid: Bools, x: float, y: float, dx: float, dy: float, count: int, place: Floats, out: Floats
) -> int:
    """Sample `count` places from (x, y) in steps (dx, dy) into place and out, only where valid; returns how many."""
    rows, columns = valid.shape
    found = 0
    for k in range(count):
        a, b = x + k * dx, y + k * dy
        j, i = (math.floor(a + 0.5)), (math.floor(b + 0.5))
        if i < 0 or j < 0 or i >= rows or j >= columns or not valid[i, j]:
            continue
        p, q = min(max((math.floor(a)), 0), columns - 2), min(max((math.floor(b)), 0), rows - 2)
        s, t = a - p, b - q
        place[found] = k
        out[found] = _between(height, q, p, s, t)
        found += 1
    return found


@njit(cache=True, nogil=True)
def search(
    height: Floats,
    valid: Bools,
    length: float,
    angles: Floats,
    steps: tuple[float, float, float],
    limit: float,
    over: AnyArray,
    block: float,
    best: Floats,
) -> None:
    """Lay a straightedge `length` cells long over the map in every direction of `angles`.

    steps: distance between samples, between lines, and between windows on a line, in cells. Windows that are longer
    than the wall along their line are shortened to it. Cells under a window whose gap is over `limit` are set in
    `over`. For each square of `block` cells and each angle group, `best` (groups, block rows, block columns, 5) keeps
    the worst window: gap, x and y of its middle, angle, length.
    """
    rows, columns = valid.shape
    sample, between, shift = steps
    reach = math.hypot(rows, columns)
    most = int(reach / sample) + 3
    place, line, hull = np.empty(most), np.empty(most), np.empty(most, np.int64)
    groups = best.shape[0]
    for n in range(len(angles)):
        c, s = math.cos(angles[n]), math.sin(angles[n])
        group = n * groups // len(angles)
        lines = int(reach / between) + 1
        for m in range(-(lines // 2) - 1, lines // 2 + 2):
            x0 = 0.5 * (columns - 1) - s * m * between - c * 0.5 * reach
            y0 = 0.5 * (rows - 1) + c * m * between - s * 0.5 * reach
            count = sample_line(height, valid, x0, y0, c * sample, s * sample, most, place, line)
            if count >= 2:
                _along_line(
                    place,
                    line,
                    count,
                    (x0, y0, c * sample, s * sample, angles[n]),
                    length / sample,
                    shift / sample,
                    limit,
                    over,
                    block,
                    best[group],
                    hull,
                    sample,
                )


@njit(cache=True, nogil=True)
def _along_line(
    place: Floats,
    line: Floats,
    count: int,
    frame: tuple[float, float, float, float, float],
    length: float,
    shift: float,
    limit: float,
    over: AnyArray,
    block: float,
    best: Floats,
    hull: Ints,
    sample: float,
) -> None:
    """Slide a window of `length` samples along a sampled line, `shift` at a time, the last flush with its end."""
    x0, y0, dx, dy, angle = frame
    room = place[count - 1] - place[0] - length
    windows = 1 if room <= 0.0 else (math.ceil(room / shift)) + 1
    first, last = 0, 0
    for n in range(windows):
        start = place[0] + (0.0 if room <= 0.0 else min(n * shift, room))
        while place[first] < start - 1e-6:
            first += 1
        last = max(last, first)
        while last < count and place[last] <= start + length + 1e-6:
            last += 1
        gap, low, high = gap_under(place[first:last], line[first:last], last - first, hull)
        middle = 0.5 * (place[first] + place[last - 1])
        x, y = x0 + middle * dx, y0 + middle * dy
        i = min(max(int(y / block), 0), best.shape[0] - 1)
        j = min(max(int(x / block), 0), best.shape[1] - 1)
        if gap > best[i, j, 0]:
            best[i, j, 0] = gap
            best[i, j, 1], best[i, j, 2], best[i, j, 3] = x, y, angle
            best[i, j, 4] = (place[last - 1] - place[first]) * sample
        if gap > limit:
            for k in range(first, last):
                if low <= place[k] <= high:
                    over[(math.floor(y0 + place[k] * dy + 0.5)), (math.floor(x0 + place[k] * dx + 0.5))] = True


@njit(cache=True, nogil=True)
def window_gap(
    height: Floats, valid: Bools, window: Floats, sample: float, place: Floats, line: Floats, hull: Ints
) -> float:
    """Gap under one window (x, y of its middle, angle, length), in cells."""
    x, y, dx, dy, count = _laid(window, sample)
    found = sample_line(height, valid, x, y, dx, dy, count, place, line)
    return gap_under(place, line, found, hull)[0]


@njit(cache=True, nogil=True)
def worst_of_windows(heights: Floats, valid: Bools, windows: Floats, sample: float) -> tuple[Floats, Ints]:
    """For each of several maps (n, rows, columns), the greatest gap over all windows (m, 4), and under which."""
    most = int(windows[:, 3].max() / sample) + 3
    place, line, hull = np.empty(most), np.empty(most), np.empty(most, np.int64)
    corner, share = np.empty((most, 2), np.int64), np.empty((most, 2))
    worst, which = np.zeros(len(heights)), np.zeros(len(heights), np.int64)
    for m in range(len(windows)):  # the same samples on every map
        found = _samples(valid, windows[m], sample, place, corner, share)
        for n in range(len(heights)):
            low, high = np.inf, -np.inf
            for k in range(found):
                q, p, s, t = corner[k, 0], corner[k, 1], share[k, 0], share[k, 1]
                line[k] = _between(heights[n], q, p, s, t)
                low, high = min(low, line[k]), max(high, line[k])
            if high - low + ROUNDING_MM <= worst[n]:
                continue  # no gap is wider than the heights under the window are apart
            gap = gap_under(place, line, found, hull)[0]
            if gap > worst[n]:
                worst[n], which[n] = gap, m
    return worst, which


@njit(cache=True, nogil=True)
def _samples(valid: Bools, window: Floats, sample: float, place: Floats, corner: Ints, share: Floats) -> int:
    """As `sample_line` under a window, but where to sample: the cell at the lower corner, and the shares beyond it."""
    rows, columns = valid.shape
    x, y, dx, dy, count = _laid(window, sample)
    found = 0
    for k in range(count):
        a, b = x + k * dx, y + k * dy
        j, i = math.floor(a + 0.5), math.floor(b + 0.5)
        if i < 0 or j < 0 or i >= rows or j >= columns or not valid[i, j]:
            continue
        p, q = min(max(math.floor(a), 0), columns - 2), min(max(math.floor(b), 0), rows - 2)
        place[found], corner[found, 0], corner[found, 1] = k, q, p
        share[found, 0], share[found, 1] = a - p, b - q
        found += 1
    return found


@njit(cache=True, nogil=True)
def _laid(window: Floats, sample: float) -> tuple[float, float, float, float, int]:
    """First sample, step and number of samples under a window (x, y of its middle, angle, length), in cells."""
    x, y, angle, length = window
    count = max((math.ceil(length / sample - 1e-6)), 1) + 1
    step = length / (count - 1)
    c, s = math.cos(angle) * step, math.sin(angle) * step
    half = 0.5 * (count - 1)
    return x - half * c, y - half * s, c, s, count


@njit(cache=True, nogil=True)
def gaps_under(heights: Floats, valid: Bools, windows: Floats, sample: float) -> Floats:
    """The gap on each of several maps (n, rows, columns) under a window of its own (n, 4)."""
    most = int(windows[:, 3].max() / sample) + 3
    place, line, hull = np.empty(most), np.empty(most), np.empty(most, np.int64)
    gaps = np.zeros(len(heights))
    for n in range(len(heights)):
        gaps[n] = window_gap(heights[n], valid, windows[n], sample, place, line, hull)
    return gaps


@njit(cache=True, nogil=True)
def climb(
    height: Floats, valid: Bools, windows: Floats, sample: float, shift: float, turn: float, gaps: Floats
) -> None:
    """Move each window (m, 4), in place, to where its gap is greatest nearby; `gaps` (m,) receives what it shows there.

    Steps in place and direction start at `shift` cells and `turn` radians and halve three times.
    """
    most = int(windows[:, 3].max() / sample) + 3
    place, line, hull = np.empty(most), np.empty(most), np.empty(most, np.int64)
    trial = np.empty(4)
    for m in range(len(windows)):
        best = window_gap(height, valid, windows[m], sample, place, line, hull)
        scale = 1.0
        for _ in range(24):
            found = -1
            for way in range(6):
                trial[:] = windows[m]
                trial[way // 2] += (1.0 - 2.0 * (way % 2)) * scale * (shift if way < 4 else turn)
                if not _fits(valid, trial):
                    continue
                gap = window_gap(height, valid, trial, sample, place, line, hull)
                if gap > best:
                    best, found = gap, way
            if found >= 0:
                windows[m, found // 2] += (1.0 - 2.0 * (found % 2)) * scale * (shift if found < 4 else turn)
            else:
                scale *= 0.5
                if scale < 0.1:
                    break
        gaps[m] = best


@njit(cache=True, nogil=True)
def windows_through(valid: Bools, x: float, y: float, length: float, angles: Floats, out: Floats) -> None:
    """Windows (angles, 4) whose middle lies at (x, y), or as near to it as the measured wall on that line allows.

    Where the wall is shorter than `length` along a line, so is the window.
    """
    rows, columns = valid.shape
    most = int(math.hypot(rows, columns)) + 1
    for n in range(len(angles)):
        c, s = math.cos(angles[n]), math.sin(angles[n])
        low, high = 0.0, 0.0
        for k in range(1, most):
            for sign in (-1.0, 1.0):
                j, i = math.floor(x + sign * k * c + 0.5), math.floor(y + sign * k * s + 0.5)
                if 0 <= i < rows and 0 <= j < columns and valid[i, j]:
                    if sign > 0.0:
                        high = float(k)
                    else:
                        low = -float(k)
        used = min(length, high - low)
        middle = min(max(0.0, low + 0.5 * used), high - 0.5 * used)
        out[n, 0], out[n, 1], out[n, 2], out[n, 3] = x + middle * c, y + middle * s, angles[n], used


@njit(cache=True, nogil=True)
def _fits(valid: Bools, window: Floats) -> bool:
    """Both ends of a window lie on the measured wall."""
    rows, columns = valid.shape
    for side in (-0.5, 0.5):
        j = math.floor(window[0] + side * window[3] * math.cos(window[2]) + 0.5)
        i = math.floor(window[1] + side * window[3] * math.sin(window[2]) + 0.5)
        if i < 0 or j < 0 or i >= rows or j >= columns or not valid[i, j]:
            return False
    return True
