"""The kernels' answers once more, slow and obvious, in plain NumPy."""

from collections.abc import Sequence

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.room.result import Wall


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


def crossing(
    walls: Sequence[Wall], w: int, start: Floats, end: Floats, reach: float
) -> tuple[float, float, float] | None:
    """Where the ray from start toward end (level, m) first goes from the front of wall w's base surface to its back.

    The signed height along the ray, finely sampled out to `reach` times its length, then halved down to the place.
    Gives the share of the way and u, v in mm.
    """

    def height(t: Floats) -> Floats:
        return walls[w].frame.uvh_from_level(start + t[:, None] * (end - start))[:, 2]

    t = np.linspace(0.0, reach, 40_001)
    h = height(t)
    down = np.nonzero((h[:-1] > 0) & (h[1:] <= 0))[0]
    if not len(down):
        return None
    low, high = t[down[0]], t[down[0] + 1]
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if height(np.array([middle]))[0] > 0 else (low, middle)
    u, v, _ = 1000.0 * walls[w].frame.uvh_from_level((start + low * (end - start))[None])[0]
    return float(low), float(u), float(v)


def ray_evidence(
    walls: Sequence[Wall], start: Floats, end: Floats, band: float, slack: float, reach: float
) -> list[tuple[int, str, float, float]]:
    """What one ray proves of walls whose surface is their base surface, in front of all of which it starts.

    (wall, kind, u, v) in mm for each wall of which it proves something.
    """
    crossings = {w: crossing(walls, w, start, end, 60.0) for w in range(len(walls))}
    met = {w: c for w, c in crossings.items() if c is not None and inside(walls[w], c[1], c[2], slack)}
    first = min(met, key=lambda w: met[w][0], default=None)
    found = []
    for w, wall in enumerate(walls):
        u, v, h = 1000.0 * wall.frame.uvh_from_level(end[None])[0]
        if abs(h) <= band and inside(wall, u, v, 150.0):
            found.append((w, "hit", u, v))
        elif band < h <= 100.0:
            if inside(wall, u, v, 150.0):
                found.append((w, "proud", u, v))
        elif w in met:
            t, u, v = met[w]
            if t > 1.0:
                if w == first:
                    found.append((w, "blocked", u, v))
            elif w == first or inside(wall, u, v, 0.0):
                found.append((w, "recess" if -h <= reach else "through", u, v))
    return found


def inside(wall: Wall, u: float, v: float, slack: float) -> bool:
    """Within a wall's rough extent, mm, and some slack."""
    across = -slack <= u <= 1000 * wall.width_m + slack
    return across and 1000 * wall.bottom_m - slack <= v <= 1000 * wall.top_m + slack
