"""From inside regions to chains of walls: the runs of a region's border that lie on one trace each."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from unfold.arrays import Bools, Floats, Ints
from unfold.room.arrangement import Rooms, assign_segments
from unfold.room.evidence import COLUMN_M, Columns
from unfold.room.storey import Raster
from unfold.room.uprights import Circle

SHORT_M = 0.06  # a shorter run is a splinter of the arrangement
BOUNDED_SHARE = 0.7  # a further room that no station stood in is one only when this much of its border is wall
UNKNOWN_M = 0.3
PASSED_SHARE = 0.4  # of a run's end, beyond which the room is known to go on
MOST_OPENING_M = 4.0  # wider gaps between coplanar walls are taken for the end of the wall
NARROW_M = 0.6
CARRY_M = 1.0  # a wall is carried on unseen to its corner by at most this much


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of border on one trace, walked with the room on the right."""

    trace: int  # index into the columns; -1 where the border is open
    start: Floats  # (2,)
    end: Floats  # (2,)
    middle: Floats  # (2,) a point of the run between them
    length: float


@dataclass(frozen=True, slots=True)
class Chain:
    """A border loop; `closed` when every run of it is wall."""

    runs: tuple[Run, ...]
    closed: bool
    ring: Floats  # (n, 2), clockwise around a room, counter-clockwise around a column
    hole: bool
    region: int


def walk_chains(rooms: Rooms, columns: list[Columns], raster: Raster) -> list[Chain]:
    """Walk every region's borders: the outer one first, then its holes that walls bound."""
    chains = []
    for number, region in enumerate(rooms.regions):
        for hole, ring in enumerate((region.exterior, *region.interiors)):
            chain = _walk(np.asarray(ring.coords)[:-1], bool(hole), columns, number, rooms.evidence, raster)
            if chain is not None:
                chains.append(chain)
    if rooms.held or len(rooms.regions) < 2:
        return chains
    largest = int(np.argmax([region.area for region in rooms.regions]))
    return [chain for chain in chains if chain.region == largest or chain.hole or _wall_share(chain) > BOUNDED_SHARE]


def _wall_share(chain: Chain) -> float:
    """Share of a border's length that is wall."""
    return sum(run.length for run in chain.runs if run.trace >= 0) / sum(run.length for run in chain.runs)


def _walk(
    corners: Floats, hole: bool, columns: list[Columns], region: int, evidence: Floats, raster: Raster
) -> Chain | None:
    ccw = shapely.LinearRing(corners).is_ccw
    if ccw != hole:
        corners = corners[::-1]
    which = assign_segments(corners, np.roll(corners, -1, axis=0), columns)
    runs = [part for run in _group(corners, which) for part in _split(run, columns, evidence, raster)]
    runs = [run if run.trace < 0 or _holds(run, columns[run.trace]) else _opened(run) for run in runs]
    runs = _tidy(runs)
    if not any(run.trace >= 0 for run in runs):
        return None
    wall = sum(run.length for run in runs if run.trace >= 0)
    if hole and wall < 0.5 * sum(run.length for run in runs):
        return None
    return Chain(tuple(runs), all(run.trace >= 0 for run in runs), corners, hole, region)


def _group(corners: Floats, which: Ints) -> list[Run]:
    """Group the segments of a ring into runs on one trace, beginning where the trace changes."""
    n = len(which)
    changes = np.flatnonzero(which != np.roll(which, 1))
    if len(changes) == 0:
        around = np.vstack([corners, corners[:1]])
        length = float(np.hypot(*np.diff(around, axis=0).T).sum())
        return [Run(int(which[0]), corners[0], corners[0], corners[n // 2], length)]
    runs = []
    for first, after in zip(changes, np.r_[changes[1:], changes[0] + n], strict=True):
        path = corners[np.arange(first, after + 1) % n]
        middle = path[len(path) // 2] if len(path) > 2 else 0.5 * (path[0] + path[-1])
        length = float(np.hypot(*np.diff(path, axis=0).T).sum())
        runs.append(Run(int(which[first]), path[0], path[-1], middle, length))
    return runs


def _split(run: Run, columns: list[Columns], evidence: Floats, raster: Raster) -> list[Run]:
    """Open a straight run for 0.3 m and more where nothing was hit and nothing is known of the space before it, and at
    its ends also where the room goes on behind it: there the wall has ended, and an alcove begins.
    """
    if run.trace < 0 or isinstance(columns[run.trace].trace, Circle):
        return [run]
    one, length = columns[run.trace], run.length
    ahead = (run.end - run.start) / length
    steps = np.arange(0.5 * COLUMN_M, length, COLUMN_M)
    points = run.start + steps[:, None] * ahead
    place = np.floor((one.trace.along(points) - one.start) / COLUMN_M).astype(np.int64)
    on = (place >= 0) & (place < len(one.full))
    hit = (one.full | one.lintel | one.partly)[np.clip(place, 0, len(one.full) - 1)] & on
    before, behind = np.zeros(len(hit), bool), np.zeros(len(hit), bool)
    for offset in (0.1, 0.15, 0.2, 0.25):
        for side, known in ((offset, before), (-offset, behind)):
            i, j, inside = raster.index(points + side * np.array([ahead[1], -ahead[0]]))
            known |= inside & (evidence[i, j] > 0.3)
    through = on & one.through[np.clip(place, 0, len(one.full) - 1)]
    ends = _passed_ends(hit, through | before & behind)
    hit = (hit | before) & ~ends
    edges = np.flatnonzero(np.diff(np.r_[True, hit, True].astype(np.int8)))
    gaps = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if (b - a) * COLUMN_M > UNKNOWN_M]
    cuts = [0.0, *(min(COLUMN_M * float(at), length) for gap in gaps for at in gap), length]
    parts = []
    for number, (first, last) in enumerate(pairwise(cuts)):
        start, end = run.start + first * ahead, run.start + last * ahead
        if last > first:
            parts.append(Run(-1 if number % 2 else run.trace, start, end, 0.5 * (start + end), last - first))
    return parts


def _passed_ends(hit: Bools, passed: Bools) -> Bools:
    """Columns beyond the first and the last that were hit, at either end of a run, where many of them are passed."""
    found = np.zeros(len(hit), bool)
    places = np.flatnonzero(hit)
    if len(places) == 0:
        return found
    for stretch in (slice(0, places[0]), slice(places[-1] + 1, len(hit))):
        found[stretch] = passed[stretch].mean() > PASSED_SHARE if stretch.stop > stretch.start else False
    return found


def span(run: Run, one: Columns) -> tuple[float, float]:
    """`along` of the run's two ends, in walking order; on a circle unrolled through its middle."""
    first, middle, last = one.trace.along(np.stack([run.start, run.middle, run.end]))
    if not isinstance(one.trace, Circle):
        return float(first), float(last)
    turn = 2 * np.pi * one.trace.radius
    if np.allclose(run.start, run.end):
        return float(first), float(first + turn)
    forward = (middle - first) % turn < (last - first) % turn
    return float(first), float(first + ((last - first) % turn if forward else -((first - last) % turn)))


def columns_within(run: Run, one: Columns) -> Ints:
    """Indices of the columns that the run covers."""
    a, b = sorted(span(run, one))
    along = one.along()
    if isinstance(one.trace, Circle):
        turn = 2 * np.pi * one.trace.radius
        return np.flatnonzero((along - a) % turn <= b - a)
    return np.flatnonzero((along >= a) & (along <= b))


def _holds(run: Run, one: Columns) -> bool:
    """A run is wall when plain wall was hit on enough of it; one too narrow for a door has less to excuse the rest."""
    inside = columns_within(run, one)
    full = float(one.full[inside].sum()) * COLUMN_M
    some = float((one.full | one.lintel | one.partly)[inside].sum()) * COLUMN_M
    if run.length < NARROW_M and full < 0.4 * run.length:
        return False
    return full >= min(0.1, 0.6 * run.length) and (full >= 0.15 * run.length or some >= 0.5 * run.length)


def _opened(run: Run) -> Run:
    return Run(-1, run.start, run.end, run.middle, run.length)


def _tidy(runs: list[Run]) -> list[Run]:
    """Drop splinters, join open runs, and join what lies on one trace on both sides of a splinter."""
    kept = [run for run in runs if run.length >= SHORT_M] or runs
    joined: list[Run] = []
    for run in kept:
        if joined and joined[-1].trace == run.trace:
            joined[-1] = _join(joined[-1], run)
        else:
            joined.append(run)
    if len(joined) > 1 and joined[0].trace == joined[-1].trace:
        joined[0] = _join(joined.pop(), joined[0])
    return _bridge(joined)


def _bridge(runs: list[Run]) -> list[Run]:
    """Make one wall of two runs on one trace with only an open run between them: it is an opening in the wall."""
    k = 0
    while len(runs) > 2 and k < len(runs):
        first, gap, second = runs[k], runs[(k + 1) % len(runs)], runs[(k + 2) % len(runs)]
        same = first.trace >= 0 and first.trace == second.trace and gap.trace < 0
        if same and first is not second and np.hypot(*(second.start - first.end)) < MOST_OPENING_M:
            runs = [run for run in runs if run is not gap and run is not second]
            runs[runs.index(first)] = _join(first, second)
        else:
            k += 1
    return runs


def _join(first: Run, second: Run) -> Run:
    gap = float(np.hypot(*(second.start - first.end)))
    middle = first.end if first.length > second.length else second.start
    return Run(first.trace, first.start, second.end, middle, first.length + gap + second.length)
