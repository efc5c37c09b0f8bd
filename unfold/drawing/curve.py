"""Closed paths of lines and arcs: fitted to a ring, measured, and compared with it.

A path is an array (n, 3) of x, y and bulge, as a DXF LWPOLYLINE holds it: the bulge of a vertex belongs to the piece
that starts there, tan(sweep / 4), positive counter-clockwise, 0 for a straight piece.
"""

import math

import numpy as np

from unfold.arrays import Floats
from unfold.drawing import curve_kernels as kernels

BLOCK = 256  # points whose distances are worked out at once, to bound the memory


def fit_path(ring_mm: Floats, tolerance_mm: float, arcs: bool = True) -> Floats:
    """Replace a ring (n, 2) by a closed path with as few vertices as the tolerance allows.

    Its vertices are vertices of the ring, one sure corner among them; no point of the ring or the path is farther
    than the tolerance from the other.

    Raises
    ------
    ValueError
        The ring has fewer than three points, or the tolerance is not above zero.
    """
    ring = _without_repeats(np.asarray(ring_mm, dtype=float))
    if len(ring) < 3 or not tolerance_mm > 0.0:
        raise ValueError("a path needs a ring of three points or more, and a tolerance above zero")
    start = _surest_corner(ring)
    chain = np.ascontiguousarray(np.vstack([np.roll(ring, -start, axis=0), ring[start]]))
    is_end = np.zeros(len(chain), np.bool_)
    half_sweeps = np.zeros(len(chain))
    kernels.fewest_pieces(chain, tolerance_mm, arcs, is_end, half_sweeps)
    is_end[-1] = False
    return np.column_stack([chain[is_end], np.tan(half_sweeps[is_end] / 2.0)])


def _without_repeats(ring: Floats) -> Floats:
    return ring[np.any(ring != np.roll(ring, 1, axis=0), axis=1)]


def _surest_corner(ring: Floats) -> int:
    """Return the index of the vertex that most surely ends a piece: a large turn, beside a long straight piece."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.arctan2(cross, np.sum(before * after, axis=1)))
    length = np.maximum(np.hypot(*before.T), np.hypot(*after.T))
    return int(np.argmax(np.round(turn * length, 6)))


def path_area_mm2(path: Floats) -> float:
    """Return the signed area: positive counter-clockwise; each arc adds its segment of the circle."""
    x, y, bulge = path.T
    following = np.roll(path, -1, axis=0)
    polygon = 0.5 * float(np.sum(x * following[:, 1] - following[:, 0] * y))
    chord = np.hypot(following[:, 0] - x, following[:, 1] - y)
    curved = bulge != 0.0
    sweep = 4.0 * np.arctan(bulge[curved])
    radius = chord[curved] / (2.0 * np.sin(sweep / 2.0))
    return polygon + float(np.sum(0.5 * radius**2 * (sweep - np.sin(sweep))))


def path_length_mm(path: Floats) -> float:
    """Return the length along lines and arcs."""
    following = np.roll(path, -1, axis=0)
    chord = np.hypot(*(following[:, :2] - path[:, :2]).T)
    half = 2.0 * np.abs(np.arctan(path[:, 2]))
    return float(np.sum(chord * np.where(half > 0.0, half / np.sin(np.where(half > 0.0, half, 1.0)), 1.0)))


def flatten_path(path: Floats, deviation_mm: float) -> Floats:
    """Return the path as a ring (n, 2) whose chords stay within `deviation_mm` of its arcs."""
    pieces = []
    for (x, y, bulge), (x1, y1, _) in zip(path, np.roll(path, -1, axis=0), strict=True):
        if bulge == 0.0:
            pieces.append(np.array([[x, y]]))
            continue
        sweep = 4.0 * math.atan(bulge)
        half = math.hypot(x1 - x, y1 - y) / 2.0
        radius = half / math.sin(sweep / 2.0)  # negative when clockwise
        step = 2.0 * math.acos(max(0.0, 1.0 - deviation_mm / abs(radius)))
        count = min(4096, max(2, math.ceil(abs(sweep) / step)))
        angles = np.linspace(0.0, sweep, count + 1)[:-1]
        ex, ey = (x1 - x) / (2.0 * half), (y1 - y) / (2.0 * half)
        along = radius * (np.sin(angles - sweep / 2.0) + math.sin(sweep / 2.0))
        across = -radius * (np.cos(angles - sweep / 2.0) - math.cos(sweep / 2.0))
        pieces.append(np.column_stack([x + along * ex - across * ey, y + along * ey + across * ex]))
    return np.vstack(pieces)


def mirror_path(path: Floats, about_x: float) -> Floats:
    """Mirror a path in the upright line x = about_x, and run it the other way round so that its sense stays."""
    mirrored = path[::-1].copy()
    mirrored[:, 0] = 2.0 * about_x - mirrored[:, 0]
    mirrored[:, 2] = np.roll(path[::-1, 2], -1)
    return mirrored


def move_path(path: Floats, turned: bool, origin: tuple[float, float]) -> Floats:
    """Turn a path a quarter counter-clockwise about (0, 0) if asked, then move it by `origin`."""
    moved = path.copy()
    if turned:
        moved[:, 0], moved[:, 1] = -path[:, 1], path[:, 0]
    moved[:, :2] += origin
    return moved


def distances_to_ring_mm(points: Floats, ring: Floats) -> Floats:
    """Return the distance of each point (n, 2) to a closed ring (m, 2); shape (n,)."""
    blocks = [_block_distances(points[first : first + BLOCK], ring) for first in range(0, len(points), BLOCK)]
    return np.concatenate(blocks) if blocks else np.empty(0)


def _block_distances(points: Floats, ring: Floats) -> Floats:
    start = ring[None, :, :]
    step = np.roll(ring, -1, axis=0)[None, :, :] - start
    offset = points[:, None, :] - start
    share = np.clip(np.sum(offset * step, axis=2) / np.maximum(np.sum(step * step, axis=2), 1e-30), 0.0, 1.0)
    gap = offset - share[:, :, None] * step
    return np.asarray(np.sqrt(np.min(np.sum(gap * gap, axis=2), axis=1)))
