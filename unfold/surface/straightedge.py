"""The worst that a straightedge shows, laid anywhere on a wall in any direction, and how sure that is.

A coarse search lays it on every line of a dense set of directions; the worst windows are then moved on the fine map
to where they show most. The worst of many windows on a map with errors is more than the worst of the wall: so the
same windows are laid on examples of what the wall may be (the spline's posterior), which come in pairs mirrored about
the likeliest map. The worst window of each is held to the mirrored one, whose errors did not choose it.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.quantity import Quantity, combine
from unfold.surface import straightedge_kernels as kernels

_GROUPS = 12
_REFINED = 60
_MOST_WINDOWS = 2000
_FINE_EXAMPLES = 6
_INSETS = (0.0, 1.0, 2.0, 4.0)  # cells, from the outermost corners inward: those may be single cells
_WAYS = 16  # in which an edge is laid through a place


@dataclass(frozen=True, slots=True)
class HeightField:
    """A wall's heights for the search: filled in everywhere, and where it was measured; `step_mm` between cells."""

    height_mm: Floats  # (rows, columns)
    valid: Bools  # (rows, columns)
    step_mm: float


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst straightedge found: gap, its middle in cells of the fine map, its direction and its length."""

    gap_mm: float
    x: float
    y: float
    angle_rad: float
    length_mm: float
    over: Bools  # cells of the coarse map under a gap over the limit


def coarse_step_mm(length_mm: float, cell_mm: float) -> float:
    """Give the cell of the map that a straightedge is searched on: a twentieth of it, at most 50 mm."""
    return cell_mm * max(1, min(round(length_mm / 20.0 / cell_mm), int(50.0 / cell_mm)))


def directions(length_mm: float, step_mm: float) -> Floats:
    """Directions (n,) in radians over a half turn: between two of them the ends of the edge move less than a cell."""
    count = int(np.ceil(np.pi * length_mm / (3.0 * step_mm) / 4.0)) * 4
    return np.arange(count) * np.pi / count


def search(field: HeightField, length_mm: float, limit_mm: float, angles: Floats | None = None) -> tuple[Floats, Bools]:
    """Lay a straightedge everywhere on a map.

    Returns the worst windows (n, 5), worst first, one a neighbourhood and direction group: gap in mm, then x, y,
    angle and length in cells of this map; and the cells that lie under a gap of more than `limit_mm`.
    """
    length = length_mm / field.step_mm
    if angles is None:
        angles = directions(length_mm, field.step_mm)
    block = max(length / 8.0, 2.0)
    rows, columns = field.valid.shape
    groups = min(_GROUPS, len(angles))
    best = np.zeros((groups, int(rows / block) + 1, int(columns / block) + 1, 5))
    best[..., 0] = -1.0
    over = np.zeros(field.valid.shape, bool)
    steps = (length / np.ceil(length), 2.0, max(length / 12.0, 1.0))  # a whole number of samples to the length
    kernels.search(field.height_mm, field.valid, length, angles, steps, limit_mm, over, block, best)
    windows = best.reshape(-1, 5)
    windows = windows[windows[:, 4] > 0.0]
    return windows[np.argsort(-windows[:, 0], kind="stable")], over


def worst_straightedge(
    field: HeightField,
    fine: HeightField,
    draws: Callable[[], Floats],
    length_mm: float,
    limit_mm: float,
    angles: Floats | None = None,
    places: Floats | None = None,
    fine_error_mm: Floats | None = None,
) -> tuple[Quantity, Worst] | None:
    """The worst of a straightedge with its standard uncertainty, from a coarse map, a fine one, and examples of the
    coarse map.

    `fine` covers the same wall with cells a whole number of times smaller, cell [0, 0] of `field` lying over its
    first ones. `draws` gives examples (n, rows, columns) of the coarse map. `places` (n, 2), x and y in cells of the
    fine map, are laid on besides: what is small there may lie between the coarse map's cells. `fine_error_mm` (rows,
    columns) is what the fine map may be off by besides, three cells together. None when no three measured places lie
    in line.
    """
    windows, over = search(field, length_mm, limit_mm, angles)
    if not len(windows):
        return None
    ratio = field.step_mm / fine.step_mm
    start = windows[:_REFINED, 1:].copy()
    start[:, :2] = (start[:, :2] + 0.5) * ratio - 0.5
    start[:, 3] *= ratio
    if angles is None:
        start = np.concatenate([start, from_corners(fine, length_mm)])
    if places is not None and len(places):
        start = np.concatenate([start, through(fine, places, length_mm, angles)])
    turn = np.pi / (4.0 * len(directions(length_mm, field.step_mm))) if angles is None else 0.0

    def climbed(height_mm: Floats) -> tuple[Floats, Floats]:
        moved, gaps = start.copy(), np.zeros(len(start))
        kernels.climb(height_mm, fine.valid, moved, max(1.0, ratio / 2.0), ratio, turn, gaps)
        return moved, gaps

    moved, gaps = climbed(fine.height_mm)
    k = int(np.argmax(gaps))
    kept = np.ascontiguousarray(windows[:_MOST_WINDOWS, 1:])
    examples = draws()
    _, which = kernels.worst_of_windows(examples, field.valid, kept, 1.0)
    half = len(examples) // 2
    mirrored = np.concatenate([examples[half:], examples[:half]])
    held = kernels.gaps_under(mirrored, field.valid, kept[which], 1.0)
    # the likeliest map's worst has errors in its favour; held to the mirrored examples a window has none, but it may
    # not be the worst one: the middle, and half their distance as a part
    low, high = sorted((float(held.mean()), float(windows[0, 0])))
    parts = [float(held.std(ddof=1)), 0.5 * (high - low)]
    middle = 0.5 * (low + high)
    found = float(gaps[k])
    if fine_error_mm is not None and fine_error_mm.any():
        # such detail runs on for long (a step, a ridge): the windows that its noise chose are many, and as bad
        again = _held_fine(fine, fine_error_mm, climbed)
        parts += [float(again.std(ddof=1)), 0.5 * abs(found - float(again.mean()))]
        found = float(again.mean())
    middle += found - float(windows[0, 0])  # what the finer map and search add
    x, y, angle, length = moved[k]
    worst = Worst(float(gaps[k]), float(x), float(y), float(angle % np.pi), float(length * fine.step_mm), over)
    return Quantity(max(middle, 0.0), combine(parts)), worst


def _held_fine(fine: HeightField, error_mm: Floats, climbed: Callable[[Floats], tuple[Floats, Floats]]) -> Floats:
    """Search examples of the fine map, and hold the worst window of each to the mirrored one; (examples,)."""
    random = np.random.default_rng(9)
    held = np.zeros(_FINE_EXAMPLES)
    for n in range(0, _FINE_EXAMPLES, 2):
        off = 3.0 * ndimage.uniform_filter(random.standard_normal(error_mm.shape), 3) * error_mm
        for turn, sign in enumerate((1.0, -1.0)):
            moved, gaps = climbed(fine.height_mm + sign * off)
            best = moved[int(np.argmax(gaps))][None]
            held[n + turn] = kernels.gaps_under((fine.height_mm - sign * off)[None], fine.valid, best, 1.0)[0]
    return held


def from_corners(fine: HeightField, length_mm: float) -> Floats:
    """Lay a straightedge along the sides and diagonals of what was measured: windows (n, 4).

    A twisted wall is worst from corner to corner, and on a wall hardly larger than the edge that is a place which no
    search on a coarse map comes to.
    """
    i, j = np.nonzero(fine.valid)
    places = np.stack([j, i], axis=1).astype(float)
    ways = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
    corners = np.array([places[int(np.argmax(places @ way))] for way in ways])
    windows = []
    for inset in _INSETS:
        inner = corners - inset * ways
        for a, b in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)):
            whole = inner[b] - inner[a]
            reach = float(np.hypot(*whole))
            length = min(length_mm / fine.step_mm, reach)
            if length < 2.0:
                continue
            for share in (0.0, 0.5, 1.0):
                middle = inner[a] + whole / reach * (length / 2 + share * (reach - length))
                windows.append([*middle, np.arctan2(whole[1], whole[0]), length])
    return np.array(windows, dtype=float).reshape(-1, 4)


def through(fine: HeightField, places: Floats, length_mm: float, angles: Floats | None = None) -> Floats:
    """Lay a straightedge through places (n, 2), in cells, in many directions: windows (n * directions, 4)."""
    ways = np.arange(_WAYS) * np.pi / _WAYS if angles is None else angles
    windows = np.zeros((len(places), len(ways), 4))
    for k, (x, y) in enumerate(places):
        kernels.windows_through(fine.valid, float(x), float(y), length_mm / fine.step_mm, ways, windows[k])
    return np.maximum(windows.reshape(-1, 4), [-np.inf, -np.inf, -np.inf, 2.0])


def worst_through(fine: HeightField, places: Floats, length_mm: float, angles: Floats | None = None) -> float:
    """The worst that a straightedge shows, laid through places (n, 2) in cells."""
    windows = through(fine, places, length_mm, angles)
    return float(kernels.worst_of_windows(fine.height_mm[None], fine.valid, windows, 1.0)[0].max(initial=0.0))
