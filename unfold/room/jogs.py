"""Short steps between parallel walls: the cheeks of pilasters and recesses, which a scanner sees edge-on or not at all.

A cheek 150 mm deep that faces across the line of sight gets a single row of points, too few to fit a line to. Where a
wall stops and a parallel one goes on close behind or before it, the two are joined by a line square to them, laid
through whatever was hit between them. Hit from floor to ceiling it is a wall; else it is only where the wall may end.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.room.cells import LevelCells
from unfold.room.evidence import COLUMN_M, Columns, last_along
from unfold.room.storey import Storey
from unfold.room.uprights import Line

MOST_DEPTH_M = 1.2
SLACK_M = 0.06
OWN_M = 0.015
LEAST_FACE_M = 0.25  # reveals and cheeks themselves are joined by nothing
CAP_M, MEET_M, CARRY_ON_M = 0.3, 0.4, 1.0
RECESS_M = 0.1  # what is narrower or shallower is a corner that was badly seen
PARALLEL = np.cos(np.radians(8.0))
TALL_SHARE = 0.5
SLENDER_M = 1.0  # a column is no thicker


@dataclass(frozen=True, slots=True)
class Jogs:
    """Cheeks that were hit, and joining lines that were not."""

    walls: list[Columns]
    unseen: list[Floats]  # (2, 2) segments


def find_jogs(columns: list[Columns], cells: LevelCells, storey: Storey) -> Jogs:
    """Find the steps between the walls in `columns`."""
    jogs = Jogs([], [])
    lines = [one for one in columns if isinstance(one.trace, Line)]
    for one in lines:
        for end in _ends(one, cells):
            jogs.unseen.extend(_recesses(one, end, lines, columns, cells))
            if not _meets(one, end, columns):
                jogs.unseen.extend(_caps(one, end))
            for other in lines:
                if other is not one and min(one.full.sum(), other.full.sum()) * COLUMN_M >= LEAST_FACE_M:
                    _join(one, end, other, columns, cells, storey, jogs)
    jogs.unseen.extend(_column_backs(lines, columns, cells))
    return jogs


def _column_backs(lines: list[Columns], columns: list[Columns], cells: LevelCells) -> list[Floats]:
    """The unseen sides of columns of which two faces are seen: from a face's free end, parallel to the other face."""
    slender = [one for one in lines if one.full.sum() * COLUMN_M < SLENDER_M]
    found: list[Floats] = []
    for index, one in enumerate(slender):
        for other in slender[index + 1 :]:
            a, b = one.trace, other.trace
            assert isinstance(a, Line) and isinstance(b, Line)
            far = _free_end(one, other, cells), _free_end(other, one, cells)
            rest = [wall for wall in columns if wall is not one and wall is not other]
            if far[0] is None or far[1] is None:
                continue
            if any(_is_close(a, far[0], wall) or _is_close(b, far[1], wall) for wall in rest):
                continue
            here, there = a.at(np.array([far[0][0]]))[0], b.at(np.array([far[1][0]]))[0]
            back = here + there - _crossing(a, b)
            found += [np.stack([here, back + 0.1 * (back - here)]), np.stack([there, back + 0.1 * (back - there)])]
    return found


def _recesses(
    one: Columns, end: tuple[float, float], lines: list[Columns], columns: list[Columns], cells: LevelCells
) -> list[Floats]:
    """Where a wall stops short of another that goes on behind it, the unseen cheek and back of the recess there."""
    a = one.trace
    assert isinstance(a, Line)
    behind = -float(np.mean(one.facing[one.full]))
    found: list[Floats] = []
    for other in lines:
        b = other.trace
        assert isinstance(b, Line)
        if other is one or abs(float(a.normal @ b.normal)) > 0.5 or abs(behind) < 0.5:
            continue
        crossing = _crossing(a, b)
        mouth = (float(a.along(crossing[None])[0]) - end[0]) * end[1]
        meeting = float(b.along(crossing[None])[0])
        far = other.along()[other.full]
        if not RECESS_M < mouth < MOST_DEPTH_M or len(far) == 0 or np.abs(far - meeting).min() > SLACK_M:
            continue
        for stop, ahead in _ends(other, cells):
            depth = (stop - meeting) * ahead
            way = b.at(np.array([stop]))[0] - crossing
            if RECESS_M < depth < MOST_DEPTH_M and behind * float(way @ a.normal) > 0.0:
                start = a.at(np.array([end[0]]))[0]
                if not _explained(start + 0.5 * way, a, columns):
                    found.append(_drawn(start, start + way))
                if not _explained(crossing + way, b, columns):
                    found.append(_drawn(start + way, crossing + way))
    return found


def _drawn(start: Floats, stop: Floats) -> Floats:
    """A segment carried on a little at both ends, so that it crosses what it ends at."""
    beyond = 0.02 * (stop - start) / np.linalg.norm(stop - start)
    return np.stack([start - beyond, stop + beyond])


def _free_end(one: Columns, other: Columns, cells: LevelCells) -> tuple[float, float] | None:
    """The end of a column's face away from its edge with the other face, None unless the two meet in such an edge."""
    a, b = one.trace, other.trace
    assert isinstance(a, Line) and isinstance(b, Line)
    if abs(float(a.normal @ b.normal)) > 0.7:
        return None
    edge = float(a.along(_crossing(a, b)[None])[0])
    ends = sorted(_ends(one, cells), key=lambda end: abs(end[0] - edge))
    if abs(ends[0][0] - edge) > SLACK_M or ends[0][1] == ends[-1][1]:
        return None
    behind = float(b.distance(a.at(np.array([ends[-1][0]])))[0]) * float(np.mean(other.facing[other.full]))
    return ends[-1] if behind < 0.0 else None


def _crossing(a: Line, b: Line) -> Floats:
    return np.asarray(np.linalg.solve(np.stack([a.normal, b.normal]), np.array([a.offset, b.offset])))


def _meets(one: Columns, end: tuple[float, float], columns: list[Columns]) -> bool:
    """Tell whether a wall's end lies close to another wall, or would when both are carried on by a metre."""
    a = one.trace
    assert isinstance(a, Line)
    for other in columns:
        if other is one:
            continue
        ahead = isinstance(other.trace, Line) and _cross_ahead(a, end, other.trace, other.along()[other.full])
        if ahead or _is_close(a, end, other):
            return True
    return False


def _is_close(a: Line, end: tuple[float, float], other: Columns) -> bool:
    point = a.at(np.array([end[0]]))
    near = abs(float(other.trace.distance(point)[0])) < MEET_M
    return near and bool(np.any(np.abs(other.along()[other.full] - float(other.trace.along(point)[0])) < MEET_M))


def _cross_ahead(a: Line, end: tuple[float, float], b: Line, full: Floats) -> bool:
    sine = float(a.normal[0] * b.normal[1] - a.normal[1] * b.normal[0])
    if abs(sine) < 0.35:
        return False
    crossing = _crossing(a, b)[None]
    ahead = (float(a.along(crossing)[0]) - end[0]) * end[1]
    off = float(np.abs(full - b.along(crossing)[0]).min())
    return -MEET_M < ahead < CARRY_ON_M and off < CARRY_ON_M


def _caps(one: Columns, end: tuple[float, float]) -> list[Floats]:
    """Short lines from a wall's end, square and slanting back: they part the strip behind it from the space beside."""
    here, back = one.trace.at(np.array([end[0], end[0] - CAP_M * end[1]]))
    normal = CAP_M * one.trace.normal_at(np.array([end[0]]))[0]
    return [np.stack([here - normal, here + normal]), *(np.stack([here, back + side * normal]) for side in (-1.0, 1.0))]


def _ends(one: Columns, cells: LevelCells) -> list[tuple[float, float]]:
    """Positions along the trace where its plain wall begins and stops, each with the direction that leads out of it.

    A wall that goes on over furniture or an opening stops farther on; that place is then one of them too.
    """
    full = np.flatnonzero(one.full)
    piece = ndimage.label(ndimage.binary_closing(np.pad(one.full | one.lintel, 2), np.ones(3, bool))[2:-2])[0]
    found = []
    for plain, ahead in ((full[0], -1.0), (full[-1], 1.0)):
        reached = np.flatnonzero(piece == piece[plain])[0 if ahead < 0.0 else -1]
        for k in [plain, reached] if abs(reached - plain) * COLUMN_M > MEET_M else [plain]:
            found.append((last_along(one, cells, float(one.start + (k + 0.5) * COLUMN_M), ahead), ahead))
    return found


def _join(
    one: Columns, end: tuple[float, float], other: Columns, columns: list[Columns], cells: LevelCells, storey: Storey,
    jogs: Jogs,
) -> None:  # fmt: skip
    a, b = one.trace, other.trace
    assert isinstance(a, Line) and isinstance(b, Line)
    if abs(float(a.normal @ b.normal)) < PARALLEL:
        return
    start, back = a.at(np.array([end[0], end[0] - 0.15 * end[1]]))
    depth = float(-b.distance(start[None])[0] / (a.normal @ b.normal))
    if not SLACK_M < abs(depth) < MOST_DEPTH_M:
        return
    stop = start + depth * a.normal
    if not _reaches(other, stop) or _explained(0.5 * (start + stop), a, columns):
        return
    past = back + (start - back) * 2.0
    if _face_each_other(one, other, depth) and all(_is_open(p + 0.5 * depth * a.normal, storey) for p in (back, past)):
        return
    found = _through_hits(a, end[0], depth, cells, storey)
    if found is None or _is_open(back + 0.5 * depth * a.normal, storey):
        jogs.unseen.append(_drawn(start, stop))
    else:
        jogs.walls.append(found)


def _face_each_other(one: Columns, other: Columns, depth: float) -> bool:
    """Tell whether two parallel walls were both seen from between them: the cheeks of an alcove, or a passage."""
    a, b = one.trace, other.trace
    assert isinstance(a, Line) and isinstance(b, Line)
    seen = (
        float(np.mean(one.facing[one.full])) * depth,
        -float(np.mean(other.facing[other.full])) * depth * float(a.normal @ b.normal),
    )
    return min(seen) > 0.0


def _is_open(place: Floats, storey: Storey) -> bool:
    """Tell whether a ceiling was seen over a point: the room goes on there."""
    i, j, inside = storey.raster.index(place[None])
    return bool(inside[0] and not np.isnan(storey.ceiling_map_m[i[0], j[0]]))


def _reaches(other: Columns, point: Floats) -> bool:
    """Tell whether the other wall was hit, under its ceiling at least, within 150 mm of the point."""
    hit = other.along()[other.full | other.lintel]
    return bool(np.any(np.abs(hit - other.trace.along(point[None])[0]) < 0.15 + COLUMN_M))


def _explained(middle: Floats, a: Line, columns: list[Columns]) -> bool:
    """Tell whether a wall that is already known closes the step."""
    for one in columns:
        if abs(float(one.trace.distance(middle[None])[0])) > SLACK_M + 0.04:
            continue
        along = one.trace.along(middle[None])
        across = abs(float(one.trace.normal_at(along)[0] @ a.normal))
        if across < 0.7 and np.any(np.abs(one.along()[one.full] - along[0]) < 0.1):
            return True
    return False


def _through_hits(a: Line, end: float, depth: float, cells: LevelCells, storey: Storey) -> Columns | None:
    """The cheek between the two walls at the end of the nearer, when hits there reach from low to near the ceiling.

    Points strewn behind its edge by beams that met both walls tell that it is there, not where: its own are those close
    to the line.
    """
    out = a.distance(cells.level_m[:, :2]) * np.sign(depth)
    along = a.along(cells.level_m[:, :2]) - end
    margin = min(0.03, 0.25 * abs(depth))
    z = cells.level_m[:, 2]
    between = (out > margin) & (out < abs(depth) - margin) & (np.abs(along) < SLACK_M + 0.02)
    between &= (z > storey.bottom_m + 0.1) & (z < storey.top_m - 0.1)
    if between.sum() < 8:
        return None
    rows = np.unique(np.floor((z[between] - storey.bottom_m) / 0.1))
    if len(rows) * 0.1 < TALL_SHARE * (storey.top_m - storey.bottom_m):
        return None
    line = Line(np.array([-a.normal[1], a.normal[0]]), end)
    corner = a.at(np.array([end]))
    ends = line.along(np.concatenate([corner, corner + depth * a.normal]))
    low, high = float(ends.min()), float(ends.max())
    number = max(1, int(np.ceil((high - low) / COLUMN_M)))
    yes: Bools = np.ones(number, bool)
    no: Bools = np.zeros(number, bool)
    return Columns(
        line, np.flatnonzero(between & (np.abs(along) < OWN_M)), low, yes, no, yes, no, np.zeros(number),
        np.full(number, storey.bottom_m), np.full(number, storey.top_m), 0.05 + COLUMN_M,
    )  # fmt: skip
