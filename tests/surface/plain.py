"""The kernels' answers once more, slow and obvious, in plain NumPy."""

import numpy as np

from unfold.arrays import Bools, Floats


def gap_under(place: Floats, height: Floats) -> float:
    """Gap under a straightedge over a profile: every pair of contacts, and the height over the chord of the ends."""
    worst = 0.0
    count = len(place)
    for a in range(count):
        for b in range(a + 2, count):
            inside = slice(a + 1, b)
            line = height[a] + (height[b] - height[a]) * (place[inside] - place[a]) / (place[b] - place[a])
            whole = height[a] + (height[b] - height[a]) * (place - place[a]) / (place[b] - place[a])
            if (height <= whole + 1e-9).all():  # the edge rests on a and b, and nothing stands through it
                worst = max(worst, float((line - height[inside]).max()))
    if count >= 3:
        chord = height[0] + (height[-1] - height[0]) * (place - place[0]) / (place[-1] - place[0])
        worst = max(worst, float((height - chord).max()))
    return worst


def interpolated(height: Floats, x: float, y: float) -> float:
    """Bilinear between the four cells around (x, y)."""
    j, i = min(max(int(np.floor(x)), 0), height.shape[1] - 2), min(max(int(np.floor(y)), 0), height.shape[0] - 2)
    s, t = x - j, y - i
    low = height[i, j] * (1 - s) + height[i, j + 1] * s
    high = height[i + 1, j] * (1 - s) + height[i + 1, j + 1] * s
    return float(low * (1 - t) + high * t)


def worst_anywhere(height: Floats, valid: Bools, length: float, angles: Floats) -> float:
    """Worst straightedge `length` cells long over a small map: every half cell across, at every sample along."""
    rows, columns = valid.shape
    reach = float(np.hypot(rows, columns))
    worst = 0.0
    samples = int(np.ceil(length))
    step = length / samples
    for angle in angles:
        c, s = np.cos(angle), np.sin(angle)
        for across in np.arange(-reach / 2, reach / 2, 0.5):
            along = np.arange(-reach / 2, reach / 2, step)
            x = (columns - 1) / 2 - s * across + c * along
            y = (rows - 1) / 2 + c * across + s * along
            j, i = np.floor(x + 0.5).astype(int), np.floor(y + 0.5).astype(int)
            on = (i >= 0) & (j >= 0) & (i < rows) & (j < columns)
            on[on] = valid[i[on], j[on]]
            place = along[on]
            line = np.array([interpolated(height, a, b) for a, b in zip(x[on], y[on], strict=True)])
            for first in range(len(place)):
                window = (place >= place[first] - 1e-9) & (place <= place[first] + length + 1e-9)
                whole = place[-1] >= place[first] + length - 1e-9
                if first == 0 or whole:
                    worst = max(worst, gap_under(place[window], line[window]))
    return worst
