"""What the cells and rays say about an upright surface, column by column: hit, seen through, or not known.

A column is a strip of the surface 50 mm wide from floor to ceiling. A wall is hit wherever it can be seen, up to the
ceiling. Over furniture, rays pass; under a bulkhead too. A door or window is passed under a lintel that is hit.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats, Ints
from unfold.room.cells import LevelCells
from unfold.room.space import FreeSpace
from unfold.room.storey import Storey
from unfold.room.uprights import Circle, Line, Trace

COLUMN_M = 0.05
ROW_M = 0.1
REACH_M = 2.5
FULL_SHARE = 0.75  # of what is seen of a column, at least this is hit in a plain stretch of wall
NEAR_M, FAR_M = 0.12, 0.2  # how far in front of and behind a surface space is looked at


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of one trace; arrays of shape (columns,)."""

    trace: Trace
    start: float  # `along` at the beginning of column 0
    full: Bools  # hit from low to near the ceiling: plain wall
    lintel: Bools  # hit below the ceiling, seen through farther down
    partly: Bools  # hit somewhere
    through: Bools  # seen through wherever it is seen
    facing: Floats  # +1 where all that saw it stood on the positive side of the normal, -1 on the other; 0 not known
    low_m: Floats  # lowest and highest hit; NaN where none
    high_m: Floats
    reach_m: float = REACH_M  # how far to carry the trace on beyond what was hit, to meet its neighbours

    def along(self) -> Floats:
        """Middle of each column along the trace."""
        return middles(self.start, len(self.full), COLUMN_M)

    @property
    def is_wall(self) -> bool:
        """A wall holds a plain stretch of at least 100 mm."""
        return bool(self.full.sum() * COLUMN_M >= 0.1)


def middles(start: float, number: int, step: float) -> Floats:
    """Middles of `number` intervals of length `step` from `start`."""
    return start + step * (np.arange(number, dtype=float) + 0.5)


def gather_columns(trace: Trace, cells: LevelCells, storey: Storey, space: FreeSpace) -> Columns | None:
    """Judge every column of a trace, from the storey's cells; None when hardly any cell lies on it."""
    near = np.flatnonzero(np.abs(trace.distance(cells.level_m[:, :2])) < cells.tolerance_m)
    along = trace.along(cells.level_m[near, :2])
    across = np.abs(np.sum(trace.normal_at(along) * cells.normals[near, :2], axis=1))
    agrees = ~cells.clear[near] | (across > 0.8)
    near, along = near[agrees], along[agrees]
    points = cells.level_m[near]
    if len(points) < 10:
        return None
    start = float(np.floor(along.min() / COLUMN_M) * COLUMN_M)
    columns = int((along.max() - start) / COLUMN_M) + 1
    rows = max(3, int(np.ceil((storey.top_m - storey.bottom_m) / ROW_M)))
    hits = np.zeros((columns, rows), bool)
    row = np.floor((points[:, 2] - storey.bottom_m) / ROW_M).astype(np.int64)
    column = np.clip(((along - start) / COLUMN_M).astype(np.int64), 0, columns - 1)
    inside = (row >= 0) & (row < rows)
    hits[column[inside], row[inside]] = True
    facing = _facing(trace, cells, near, column, columns)
    return _judge(trace, start, hits, facing, storey, space)


def _facing(trace: Trace, cells: LevelCells, near: Ints, column: Ints, columns: int) -> Floats:
    """Which side each column was seen from: a surface is never seen from behind."""
    xy, votes, number = cells.level_m[near, :2], np.zeros(columns), np.zeros(columns)
    normal = trace.normal_at(trace.along(xy))
    for station, place in cells.stations_m.items():
        seen = cells.seen_from(station)[near]
        side = np.sign(np.sum((place[:2] - xy) * normal, axis=1))
        votes += np.bincount(column[seen], side[seen], minlength=columns)
        number += np.bincount(column[seen], minlength=columns)
    return np.asarray(votes / np.maximum(number, 1.0))


def _judge(trace: Trace, start: float, hits: Bools, facing: Floats, storey: Storey, space: FreeSpace) -> Columns:
    columns, rows = hits.shape
    along, z = middles(start, columns, COLUMN_M), middles(storey.bottom_m, rows, ROW_M)
    base, normal = trace.at(along), trace.normal_at(along)
    left, right = _free(space, base + NEAR_M * normal, z), _free(space, base - NEAR_M * normal, z)
    left |= _free(space, base + FAR_M * normal, z)
    right |= _free(space, base - FAR_M * normal, z)
    here = _free(space, base, z)
    ceiling = _local_ceiling(storey, base, normal)
    floor = _local_floor(storey, base, normal)
    asked = (z[None, :] > floor[:, None] + 0.15) & (z[None, :] < ceiling[:, None] - 0.1)
    close = ndimage.binary_dilation(hits, np.ones((3, 1), bool)) if not space.known else _close_small(hits)
    hit = close & asked
    passed = left & right & here & ~ndimage.binary_dilation(hits, np.ones((3, 3), bool)) & asked
    if not space.known:
        passed = asked & ~hit
    return _sum_up(trace, start, hits, hit, passed, asked, facing, z, ceiling, space.known)


def _close_small(hits: Bools) -> Bools:
    """Close gaps of one column and row: sparse points leave them."""
    return np.asarray(ndimage.binary_closing(np.pad(hits, 2), np.ones((3, 3), bool))[2:-2, 2:-2] | hits)


def _sum_up(
    trace: Trace, start: float, hits: Bools, hit: Bools, passed: Bools, asked: Bools, facing: Floats,
    z: Floats, ceiling: Floats, known: bool,
) -> Columns:  # fmt: skip
    seen = hit.sum(axis=1) + passed.sum(axis=1)
    share = hit.sum(axis=1) / np.maximum(seen, 1)
    height = np.maximum(asked.sum(axis=1), 1)
    tall = hit.sum(axis=1) / height
    upper = asked & (z[None, :] > (ceiling - 0.6)[:, None])
    top_hit = (hit & upper).any(axis=1) & (_highest(hit) >= _highest(passed))
    low_seen = (hit & (np.cumsum(asked, axis=1) <= 0.6 * height[:, None])).any(axis=1)
    if known:
        full: Bools = np.asarray((share >= FULL_SHARE) & top_hit & low_seen & (tall >= 0.2))
    else:
        full = _full_unwitnessed(hit, asked)
    lintel = ~full & top_hit & (hit.sum(axis=1) > 0)
    partly: Bools = np.asarray(hits.any(axis=1))
    low = np.where(partly, z[np.argmax(hits, axis=1)], np.nan)
    high = np.where(partly, z[::-1][np.argmax(hits[:, ::-1], axis=1)], np.nan)
    return Columns(
        trace, start, _mend(full), lintel, partly, (passed.sum(axis=1) > 0) & ~partly,
        facing, low, high,
    )  # fmt: skip


def _full_unwitnessed(hit: Bools, asked: Bools) -> Bools:
    """Plain wall where no ray can tell an opening from a shadow: hit over the upper half, up to the ceiling.

    Somewhere along the surface the lower half is to be hit too, or it is the front of something that hangs.
    """
    order = np.cumsum(asked, axis=1)
    number = order[:, -1:]
    upper = asked & (order > 0.5 * number)
    topmost = asked & (order > number - 3)
    dense = (hit & upper).sum(axis=1) >= 0.6 * np.maximum(upper.sum(axis=1), 1)
    full: Bools = np.asarray(dense & (hit & topmost).any(axis=1))
    low = (hit & asked & ~upper).sum(axis=1) >= 0.3 * np.maximum((asked & ~upper).sum(axis=1), 1)
    return full if (full & low).sum() >= max(2, 0.1 * full.sum()) else np.zeros_like(full)


def _highest(marked: Bools) -> Ints:
    """Index of the highest marked row of each column, -1 where there is none."""
    return np.asarray(np.where(marked.any(axis=1), marked.shape[1] - 1 - np.argmax(marked[:, ::-1], axis=1), -1))


def _mend(full: Bools) -> Bools:
    """Drop plain stretches of a single column, and close gaps of one."""
    closed: Bools = np.asarray(ndimage.binary_closing(np.pad(full, 2), np.ones(3, bool))[2:-2] | full)
    return np.asarray(ndimage.binary_opening(closed, np.ones(2, bool)), dtype=bool)


def _free(space: FreeSpace, xy: Floats, z: Floats) -> Bools:
    points = np.concatenate(
        [np.repeat(xy[:, None, :], len(z), axis=1), np.broadcast_to(z[None, :, None], (len(xy), len(z), 1))], axis=2
    )
    return space.is_free(points)


def _local_ceiling(storey: Storey, base: Floats, normal: Floats) -> Floats:
    """Ceiling height close to the surface on either side, the storey's top where none was seen."""
    found = np.full(len(base), np.nan)
    for offset in (0.1, 0.2, 0.3, -0.1, -0.2, -0.3):
        i, j, inside = storey.raster.index(base + offset * normal)
        found = np.fmax(found, np.where(inside, storey.ceiling_map_m[i, j], np.nan))
    found = np.where(np.isnan(found), storey.top_m, found)
    return np.asarray(ndimage.median_filter(found, size=5, mode="nearest"))


def _local_floor(storey: Storey, base: Floats, normal: Floats) -> Floats:
    found = np.full(len(base), np.nan)
    for offset in (0.1, 0.2, 0.3, -0.1, -0.2, -0.3):
        i, j, inside = storey.raster.index(base + offset * normal)
        found = np.fmin(found, np.where(inside, storey.floor_map_m[i, j], np.nan))
    return np.asarray(np.where(np.isnan(found), storey.bottom_m, found))


__all__ = ["Circle", "Columns", "Line", "gather_columns"]
