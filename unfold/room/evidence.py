"""What the cells and rays say about an upright surface, column by column: hit, seen through, or not known.

A column is a strip of the surface 50 mm wide from floor to ceiling. A wall is hit wherever it can be seen, up to the
ceiling. Over furniture, rays pass; under a bulkhead too. A door or window is passed under a lintel that is hit.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats, Ints
from unfold.room.cells import LevelCells
from unfold.room.space import FreeSpace
from unfold.room.storey import Storey
from unfold.room.uprights import UNLIKE_COSINE, Trace

COLUMN_M = 0.05
ROW_M = 0.1
REACH_M = 2.5
FULL_SHARE = 0.75  # of what is seen of a column, at least this is hit in a plain stretch of wall
LOW_SHARE = 0.45  # worktops and sideboards end below this share of the height, wall cupboards begin above it
NEAR_M, FAR_M = 0.12, 0.2  # how far in front of and behind a surface space is looked at


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of one trace; arrays of shape (columns,)."""

    trace: Trace
    own: Ints  # (n,) the storey's cells that lie on it
    start: float  # `along` at the beginning of column 0
    full: Bools  # hit wherever it was seen, low and high: plain wall
    lintel: Bools  # hit over or under an opening, seen through at the rest of the height
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


def own_cells(traces: list[Trace], cells: LevelCells) -> list[Ints]:
    """Give each of the storey's cells to the trace that suits it best, so that none speaks for two surfaces.

    A cell suits a trace when it lies within the tolerance and its normal, if clear, within 37 degrees of the trace's.
    """
    best, owner = np.full(len(cells.clear), np.inf), np.full(len(cells.clear), -1)
    able = np.flatnonzero(~cells.clear | (np.abs(cells.normals[:, 2]) < 0.6))
    xy = cells.level_m[able, :2]
    for index, trace in enumerate(traces):
        off = np.abs(trace.distance(xy)) / cells.tolerance_m
        close = off < 1.0
        near, off = able[close], off[close]
        normal = trace.normal_at(trace.along(cells.level_m[near, :2]))
        cosine = np.abs(np.sum(normal * cells.normals[near, :2], axis=1))
        clear = cells.clear[near]
        misfit = np.square(off) + np.where(clear, (1.0 - cosine) / (1.0 - UNLIKE_COSINE), 1.0)
        better = (~clear | (cosine > 0.8)) & (misfit < best[near])
        best[near[better]], owner[near[better]] = misfit[better], index
    order = np.argsort(owner, kind="stable")
    bounds = np.searchsorted(owner[order], np.arange(len(traces) + 1))
    return [order[bounds[k] : bounds[k + 1]] for k in range(len(traces))]


def last_along(one: Columns, cells: LevelCells, middle: float, ahead: float) -> float:
    """Where a wall's cells stop, `ahead` (+1 or -1) of its last plain column: the median over rows of 100 mm."""
    points = cells.level_m[one.own]
    on = np.abs(one.trace.distance(points[:, :2])) < 0.5 * cells.tolerance_m
    along = (one.trace.along(points[:, :2]) - middle) * ahead
    near = on & (np.abs(along) < 2.0 * COLUMN_M)
    row = np.floor(points[near, 2] / 0.1).astype(np.int64)
    if len(row) == 0:
        return middle
    farthest = np.full(row.max() - row.min() + 1, -np.inf)
    np.maximum.at(farthest, row - row.min(), along[near])
    seen = np.isfinite(farthest)
    return middle + ahead * (float(np.median(farthest[seen])) + 0.25 * cells.edge_m)


def without_furniture(one: Columns, storey: Storey) -> Columns:
    """Take out the stretches that are furniture: over furniture the ceiling goes on without a gap, at a wall it ends.

    Each stretch is judged by itself: a cupboard's front may lie on the line of a wall farther on.
    """
    along = one.along()
    base, normal = one.trace.at(along), one.trace.normal_at(along)
    heights = []
    for offset in (-0.08, -0.04, 0.04, 0.08):
        i, j, inside = storey.raster.index(base + offset * normal)
        heights.append(np.where(inside, storey.ceiling_map_m[i, j], np.nan))
    step = np.max(heights, axis=0) - np.min(heights, axis=0)  # NaN where one was not seen; a soffit makes a step
    stretch, number = ndimage.label(ndimage.binary_closing(np.pad(one.full, 4), np.ones(4, bool))[4:-4] | one.full)
    full = one.full.copy()
    for index in range(1, number + 1):
        plain = one.full & (stretch == index)
        if np.mean(step[plain] < 0.06) > 0.5:
            full[plain] = False
    return replace(one, full=full)


def stands_out(one: Columns, cells: LevelCells) -> bool:
    """Tell a surface from a cut through scattered points: far more cells lie on it than just before and behind it."""
    able = ~cells.clear | (np.abs(cells.normals[:, 2]) < 0.6)
    xy = cells.level_m[able, :2]
    off = np.abs(one.trace.distance(xy)) / cells.tolerance_m
    close = off < 3.0
    column = np.floor((one.trace.along(xy[close]) - one.start) / COLUMN_M).astype(np.int64)
    plain = (column >= 0) & (column < len(one.full))
    plain[plain] = one.full[column[plain]]
    return int((plain & (off[close] < 1.0)).sum()) > 1.2 * int((plain & (off[close] >= 1.0)).sum())


def gather_columns(trace: Trace, own: Ints, cells: LevelCells, storey: Storey, space: FreeSpace) -> Columns | None:
    """Judge every column of a trace, from its `own` of the storey's cells; None when it has hardly any."""
    if len(own) < 10:
        return None
    points = cells.level_m[own]
    along = trace.along(points[:, :2])
    start = float(np.floor(along.min() / COLUMN_M) * COLUMN_M)
    columns = int((along.max() - start) / COLUMN_M) + 1
    rows = max(3, int(np.ceil((storey.top_m - storey.bottom_m) / ROW_M)))
    hits = np.zeros((columns, rows), bool)
    row = np.floor((points[:, 2] - storey.bottom_m) / ROW_M).astype(np.int64)
    column = np.clip(((along - start) / COLUMN_M).astype(np.int64), 0, columns - 1)
    inside = (row >= 0) & (row < rows)
    hits[column[inside], row[inside]] = True
    facing = _facing(trace, cells, own, column, columns)
    return _judge(trace, own, start, hits, facing, storey, space)


def _facing(trace: Trace, cells: LevelCells, own: Ints, column: Ints, columns: int) -> Floats:
    """Which side each column was seen from: a surface is never seen from behind."""
    xy, votes, number = cells.level_m[own, :2], np.zeros(columns), np.zeros(columns)
    normal = trace.normal_at(trace.along(xy))
    for station, place in cells.stations_m.items():
        seen = cells.seen_from(station)[own]
        side = np.sign(np.sum((place[:2] - xy) * normal, axis=1))
        votes += np.bincount(column[seen], side[seen], minlength=columns)
        number += np.bincount(column[seen], minlength=columns)
    return np.asarray(votes / np.maximum(number, 1.0))


def _judge(
    trace: Trace, own: Ints, start: float, hits: Bools, facing: Floats, storey: Storey, space: FreeSpace
) -> Columns:
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
    return _sum_up(trace, own, start, hits, hit, passed, asked, facing, z, ceiling, space.known)


def _close_small(hits: Bools) -> Bools:
    """Close gaps of one column and row: sparse points leave them."""
    return np.asarray(ndimage.binary_closing(np.pad(hits, 2), np.ones((3, 3), bool))[2:-2, 2:-2] | hits)


def _sum_up(
    trace: Trace, own: Ints, start: float, hits: Bools, hit: Bools, passed: Bools, asked: Bools, facing: Floats,
    z: Floats, ceiling: Floats, known: bool,
) -> Columns:  # fmt: skip
    seen = hit.sum(axis=1) + passed.sum(axis=1)
    share = hit.sum(axis=1) / np.maximum(seen, 1)
    height = np.maximum(asked.sum(axis=1), 1)
    tall = hit.sum(axis=1) / height
    upper = asked & (z[None, :] > (ceiling - 0.6)[:, None])
    on_top = _highest(hit) >= _highest(passed)
    if known:
        half = (hit & (np.cumsum(asked, axis=1) > 0.5 * height[:, None])).any(axis=1)
        full: Bools = np.asarray((share >= FULL_SHARE) & on_top & half & (tall >= 0.25))
    else:
        full = _full_unwitnessed(hit, asked)
    if not _stands(hits & asked, asked, full):
        full = np.zeros_like(full)
    lintel = ~full & (((hit & upper).any(axis=1) & on_top) | (tall >= 0.3))
    partly: Bools = np.asarray(hits.any(axis=1))
    low = np.where(partly, z[np.argmax(hits, axis=1)], np.nan)
    high = np.where(partly, z[::-1][np.argmax(hits[:, ::-1], axis=1)], np.nan)
    return Columns(
        trace, own, start, _mend(full), lintel, partly, (passed.sum(axis=1) > 0) & ~partly,
        facing, low, high,
    )  # fmt: skip


def _stands(hits: Bools, asked: Bools, full: Bools) -> bool:
    """Tell a wall from the front of what hangs on one: somewhere it is hit low, over furniture's height at most."""
    low = np.cumsum(asked, axis=1) <= LOW_SHARE * np.maximum(asked.sum(axis=1), 1)[:, None]
    return bool((full & (hits & low).any(axis=1)).sum() >= max(1, 0.1 * full.sum()))


def _full_unwitnessed(hit: Bools, asked: Bools) -> Bools:
    """Plain wall where no ray can tell an opening from a shadow: hit over the upper half, up to the ceiling."""
    order = np.cumsum(asked, axis=1)
    number = order[:, -1:]
    upper = asked & (order > 0.5 * number)
    topmost = asked & (order > number - 2)
    dense = (hit & upper).sum(axis=1) >= 0.6 * np.maximum(upper.sum(axis=1), 1)
    return np.asarray(dense & (hit & topmost).any(axis=1))


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
