"""The worst that a straightedge shows, laid anywhere on a wall in any direction, and how sure that is.

A coarse search lays it on every line of a dense set of directions; the worst windows are then moved on the fine map
to where they show most. The worst of many windows on a map with errors is more than the worst of the wall: so the
same windows are laid on examples of what the wall may be (the spline's posterior), and the answer is the mean of the
examples' worsts, and its standard uncertainty their scatter.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.quantity import Quantity
from unfold.surface import straightedge_kernels as kernels

_GROUPS = 12
_REFINED = 60
_MOST_WINDOWS = 2000


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
) -> tuple[Quantity, Worst] | None:
    """The worst of a straightedge with its standard uncertainty, from a coarse map, a fine one, and examples of the
    coarse map.

    `fine` covers the same wall with cells a whole number of times smaller, cell [0, 0] of `field` lying over its
    first ones. `draws` gives examples (n, rows, columns) of the coarse map. None when no three measured places lie in
    line.
    """
    windows, over = search(field, length_mm, limit_mm, angles)
    if not len(windows):
        return None
    ratio = field.step_mm / fine.step_mm
    moved = windows[:_REFINED, 1:].copy()
    moved[:, :2] = (moved[:, :2] + 0.5) * ratio - 0.5
    moved[:, 3] *= ratio
    gaps = np.zeros(len(moved))
    turn = np.pi / (4.0 * len(directions(length_mm, field.step_mm))) if angles is None else 0.0
    kernels.climb(fine.height_mm, fine.valid, moved, max(1.0, ratio / 2.0), ratio, turn, gaps)
    k = int(np.argmax(gaps))
    kept = np.ascontiguousarray(windows[:_MOST_WINDOWS, 1:])
    worsts = kernels.worst_of_windows(draws(), field.valid, kept, 1.0)
    gain = float(gaps[k] - windows[0, 0])  # what the finer map and search add
    # examples are rougher than the wall, the likeliest map smoother: the middle, and half their distance as a part
    middle = 0.5 * (float(worsts.mean()) + float(windows[0, 0])) + gain
    spread = np.hypot(float(worsts.std(ddof=1)), 0.5 * float(worsts.mean() - windows[0, 0]))
    x, y, angle, length = moved[k]
    worst = Worst(float(gaps[k]), float(x), float(y), float(angle % np.pi), float(length * fine.step_mm), over)
    return Quantity(max(middle, 0.0), float(spread)), worst
