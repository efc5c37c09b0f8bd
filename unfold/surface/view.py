"""Which walls a ray can meet, by its direction; and which a point may belong to, by its place in plan."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats, Ints
from unfold.room.result import Wall
from unfold.surface import kernels as k

SECTORS = 2048
_PLAN_STEP_M = 0.25
_REACH_M = 0.25  # to either side of a wall's base surface: nothing farther is counted as at it
_OVER_M = 0.2  # beyond its rough extent: more than its raster's margin
_TRACE_M = 0.08  # between the places that bound it


@dataclass(frozen=True, slots=True)
class View:
    """A station's place, and the walls that its rays can meet by their direction in plan."""

    place: Floats  # (3,) m, local
    seen_from: Floats  # (walls, 3) the station in each wall's own flat axes, mm
    start: Ints  # (SECTORS + 1,) into `listed`
    listed: Ints  # walls, sector after sector
    rise: Floats  # (SECTORS, 2) least and greatest rise of a ray that can meet any of them, over |x| + |y| in plan


@dataclass(frozen=True, slots=True)
class Plan:
    """A coarse plan, level: the walls near each square of it."""

    corner: Floats  # (2,) m
    step_m: float
    shape: tuple[int, int]  # squares along x, along y
    start: Ints
    listed: Ints


def footprint(wall: Wall, steps: int = 33) -> Floats:
    """Places (n, 3) in level coordinates, metres, that bound what is counted as near a wall: four rows along u."""
    u = np.linspace(-0.2, wall.width_m + 0.2, steps)
    rows = [
        wall.frame.level_from_uvh(np.stack([u, np.full_like(u, v), np.full_like(u, h)], axis=1))
        for v in (wall.bottom_m - 0.2, wall.top_m + 0.2)
        for h in (-0.05, 0.11)
    ]
    return np.concatenate(rows)


def _turn(angle: Floats) -> Floats:
    """The kernels' stand-in for an angle in plan, in quarter circles: the same order, no sine."""
    x, y = np.cos(angle), np.sin(angle)
    size = np.abs(x) + np.abs(y)
    return np.asarray(np.where(y >= 0.0, 1.0 - x / size, 3.0 + x / size))


def sectors_seen(offsets: Floats, sectors: int = SECTORS) -> Bools:
    """Which sectors of plan a wall's footprint covers; `offsets` (rows, n, 2) m from the station, along the wall."""
    seen = np.zeros(sectors, bool)
    if np.hypot(offsets[..., 0], offsets[..., 1]).min() < 0.3:
        return np.ones(sectors, bool)
    angle = np.unwrap(np.arctan2(offsets[..., 1], offsets[..., 0]), axis=1)
    middle = angle[0, angle.shape[1] // 2]
    angle -= 2 * np.pi * np.round((angle[:, angle.shape[1] // 2, None] - middle) / (2 * np.pi))
    low, high = angle.min(), angle.max()
    if high - low > 1.9 * np.pi:
        return np.ones(sectors, bool)
    edge = np.floor(_turn(np.array([low, high])) * 0.25 * sectors).astype(int)
    first, last = edge[0] - 1, edge[1] + 1
    if last < first:
        last += sectors
    seen[np.arange(first, last + 1) % sectors] = True
    return seen


def view_from(place_m: Floats, walls: Sequence[Wall], table: Floats, level_from_local: Floats) -> View:
    """What a station at `place_m` (local) can see of the walls, packed in `table`, by direction in plan."""
    at = level_from_local @ place_m
    seen = [
        sectors_seen((footprint(wall, 33 if wall.frame.radius_m is None else 129)[:, :2] - at[:2]).reshape(4, -1, 2))
        for wall in walls
    ]
    axes = table[:, k.AXES : k.AXES + 9].reshape(-1, 3, 3)
    seen_from = np.einsum("wij,wj->wi", axes, place_m - table[:, k.ORIGIN : k.ORIGIN + 3])
    start, listed = _listed(np.stack(seen).T)
    rises = np.array([rise_seen(wall, at) for wall in walls])
    rise = np.stack([rises[:, :, 0].min(axis=0), rises[:, :, 1].max(axis=0)], axis=1)
    return View(np.array(place_m, dtype=float), seen_from, start, listed, rise)


def rise_seen(wall: Wall, at_m: Floats, sectors: int = SECTORS) -> Floats:
    """Bound how steeply rays from `at_m` (level) can meet a wall, sector by sector of plan: (sectors, 2), see `View`.

    A ray in plan enters and leaves what is near the wall through the outline of that, so the outline bounds how near
    and how far it meets the wall, and the wall's foot and head then bound its rise. Sectors apart from the wall hold
    nothing: (inf, -inf).
    """
    foot, head = (_around(wall, v) - at_m for v in (wall.bottom_m - _OVER_M, wall.top_m + _OVER_M))
    low, high = min(foot[:, 2].min(), head[:, 2].min()), max(foot[:, 2].max(), head[:, 2].max())
    rows = np.concatenate([foot, head])
    if np.hypot(rows[:, 0], rows[:, 1]).min() < 0.3 or abs(_turns(foot)) > 0.5:
        return np.tile([-np.inf, np.inf], (sectors, 1))
    nearest, farthest = np.full(sectors, np.inf), np.full(sectors, -np.inf)
    for row in (foot, head):
        size = np.abs(row[:, 0]) + np.abs(row[:, 1])
        sag = np.abs(np.diff(row[:, 0])) + np.abs(np.diff(row[:, 1]))  # no place between two is nearer by more
        place = np.floor(_turn(np.arctan2(row[:, 1], row[:, 0])) * 0.25 * sectors).astype(int)
        step = (np.diff(place) + sectors // 2) % sectors - sectors // 2  # the short way round
        first = np.minimum(place[:-1], place[:-1] + step) - 1
        count = np.abs(step) + 3
        inside = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        where = (np.repeat(first, count) + inside) % sectors
        np.minimum.at(nearest, where, np.repeat(np.maximum(np.minimum(size[:-1], size[1:]) - sag, 0.1), count))
        np.maximum.at(farthest, where, np.repeat(np.maximum(size[:-1], size[1:]) + sag, count))
    met = np.isfinite(nearest)
    near, far = np.where(met, nearest, 1.0), np.where(met, farthest, 1.0)
    steepest = high / np.where(high > 0.0, near, far)
    flattest = low / np.where(low < 0.0, near, far)
    return np.stack([np.where(met, flattest, np.inf), np.where(met, steepest, -np.inf)], axis=1)


def _around(wall: Wall, v_m: float) -> Floats:
    """The outline (n, 3) of what lies near a wall at height v, level, m: along its front, its end, back and again."""
    along = np.linspace(-_OVER_M, wall.width_m + _OVER_M, max(33, int(wall.width_m / _TRACE_M)))
    reach = _REACH_M if wall.frame.radius_m is None else min(_REACH_M, 0.9 * abs(wall.frame.radius_m))
    across = np.linspace(reach, -reach, 2 * int(_REACH_M / _TRACE_M) + 1)
    u = np.concatenate([along, np.full_like(across, along[-1]), along[::-1], np.full_like(across, along[0])])
    h = np.concatenate([np.full_like(along, reach), across, np.full_like(along, -reach), across[::-1]])
    return wall.frame.level_from_uvh(np.stack([u, np.full_like(u, v_m), h], axis=1))


def _turns(ring: Floats) -> float:
    """How often a ring (n, 2 or more) goes around zero."""
    angle = np.unwrap(np.arctan2(ring[:, 1], ring[:, 0]))
    return float((angle[-1] - angle[0]) / (2.0 * np.pi))


def plan_of(walls: Sequence[Wall]) -> Plan:
    """Which walls a point may belong to, by where it lies in plan."""
    marks = [footprint(wall, max(33, int(wall.width_m / 0.05)))[:, :2] for wall in walls]
    low = np.min([mark.min(axis=0) for mark in marks], axis=0) - 0.7
    size = np.ceil((np.max([mark.max(axis=0) for mark in marks], axis=0) + 0.7 - low) / _PLAN_STEP_M).astype(int)
    near = np.zeros((len(walls), size[1], size[0]), bool)
    for w, mark in enumerate(marks):
        a, b = np.floor((mark - low) / _PLAN_STEP_M).astype(int).T
        for i in range(-2, 3):
            for j in range(-2, 3):
                near[w, np.clip(b + i, 0, size[1] - 1), np.clip(a + j, 0, size[0] - 1)] = True
    start, listed = _listed(near.reshape(len(walls), -1).T)
    return Plan(low, _PLAN_STEP_M, (int(size[0]), int(size[1])), start, listed)


def _listed(holds: Bools) -> tuple[Ints, Ints]:
    """Turn a table (places, walls) into lists of walls, place after place."""
    start = np.concatenate([[0], np.cumsum(holds.sum(axis=1))]).astype(np.int64)
    return start, np.nonzero(holds)[1].astype(np.int64)
