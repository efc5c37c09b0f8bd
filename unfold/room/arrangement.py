"""The plan cut up by the lines of all walls into faces, each judged to lie inside or outside the rooms.

The judgement is the cheapest cut of a graph (Greig, Porteous and Seheult 1989): a face's own evidence is the ceiling
and floor seen in it and the free space over it; a border between inside and outside is cheap where a wall was hit, dear
where rays went through or nothing is known.
"""

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import ndimage, sparse
from scipy.sparse import csgraph

from unfold.arrays import AnyArray, Bools, Floats, Ints
from unfold.room.evidence import COLUMN_M, Columns
from unfold.room.space import FreeSpace
from unfold.room.storey import Raster, Storey
from unfold.room.uprights import Circle

GRID_M = 0.001
LIMIT_COST = 0.35  # a metre of border where the scan merely ends
WALLED_COST = 0.4  # a border cheaper than this, a metre, parts two rooms
AS_WELL_SEEN = 0.8  # of the best seen room: one that is seen through a door shows part of its floor and ceiling only
CLOSE_M, SEEN_GAIN = 0.015, 0.4  # a metre of plain wall says so much for what lies this close before it
SCALE = 10_000
NARROWEST_M = 0.4  # through a gap narrower than this nobody goes from room to room
RECESS_M2, RECESS_MOUTH_M = 0.6, 0.15  # what is so small is no room of its own, but a recess of the one before it


@dataclass(frozen=True, slots=True)
class Rooms:
    """Inside regions of the plan."""

    regions: tuple[shapely.Polygon, ...]
    evidence: Floats  # raster: positive where inside
    held: bool  # a station stood in every region


def find_rooms(
    columns: list[Columns], closers: list[Floats], storey: Storey, space: FreeSpace, stations: Floats
) -> Rooms:
    """Cut up the plan and choose the faces that lie inside.

    `columns` are those of the walls alone; `closers` are (2, 2) segments where a wall may end unseen; `stations` is
    (n, 2), in plan.
    """
    evidence = _pixel_evidence(columns, storey, space)
    faces = _faces(columns, closers, evidence, storey.raster)
    if not faces:
        return Rooms((), evidence, False)
    gain = _face_gain(faces, evidence, storey.raster) + _before_walls(faces, columns)
    pairs, costs, gaps = _borders(faces, columns, evidence, storey, space)
    inside = _cheapest_cut(gain, pairs, costs)
    regions = _regions(faces, inside, pairs, gaps, stations, gain)
    held = all(any(shapely.contains_xy(region, *place) for place in stations) for region in regions)
    return Rooms(regions, evidence, held)


def _pixel_evidence(columns: list[Columns], storey: Storey, space: FreeSpace) -> Floats:
    """Evidence per pixel: +1 inside for sure, negative outside."""
    raster = storey.raster
    width = max(1, round(0.06 / raster.edge) + (1 if space.edge_m > 0.06 else 0))
    block = np.ones((2 * width + 1, 2 * width + 1), bool)
    ceiling = _closed(~np.isnan(storey.ceiling_map_m), block)
    floor = _closed(~np.isnan(storey.floor_map_m), block)
    free = _free_share(storey, space)
    roofed = ceiling.sum() > 0.5 * max(floor.sum(), 1)
    evidence = np.where(free > 0.6, 0.2 if roofed else 0.5, -0.4)
    evidence = np.where(floor, 0.2 if roofed else 1.0, evidence)
    evidence = np.where(ceiling, 1.0, evidence)
    facing = [_facing(one, raster, ceiling | floor) for one in columns]
    for chosen, weight, ahead in (("full", 0.6, 1.0), ("lintel", -2.0, -1.0), ("full", -4.0, -1.0)):
        for one, sides in zip(columns, facing, strict=True):  # what lies behind counts for more than what lies before
            _mark(evidence, one, sides, one.full if chosen == "full" else one.lintel, weight, ahead, raster)
    return np.asarray(evidence)


def _closed(mask: Bools, block: Bools) -> Bools:
    pad = block.shape[0]
    return np.asarray(ndimage.binary_closing(np.pad(mask, pad), block)[pad:-pad, pad:-pad])


def _free_share(storey: Storey, space: FreeSpace) -> Floats:
    """Share of the height over each pixel that is known to be free."""
    z = np.linspace(storey.bottom_m + 0.15, storey.top_m - 0.15, 12)
    centres = storey.raster.centres()
    total = np.zeros(len(centres))
    for height in z:
        total += space.is_free(np.c_[centres, np.full(len(centres), height)])
    return (total / len(z)).reshape(storey.raster.shape)


def _facing(one: Columns, raster: Raster, covered: Bools) -> Floats:
    """Which side of each column lies in the room: from the stations, else from floor and ceiling beside it."""
    along = one.along()
    base, normal = one.trace.at(along), one.trace.normal_at(along)
    guess = _cover(base, normal, raster, covered) - _cover(base, -normal, raster, covered)
    return np.asarray(np.where(one.facing == 0.0, 2.0 * guess, one.facing))


def _mark(
    evidence: Floats, one: Columns, facing: Floats, chosen: Bools, weight: float, ahead: float, raster: Raster
) -> None:
    """Set the evidence close before (ahead = 1) or behind (-1) the chosen columns."""
    along = one.along()
    chosen = chosen & (np.abs(facing) > 0.5)
    base = one.trace.at(along)[chosen]
    normal = (ahead * np.sign(facing)[:, None] * one.trace.normal_at(along))[chosen]
    for offset in (0.04, 0.08, 0.12):
        i, j, inside = raster.index(base + offset * normal)
        evidence[i[inside], j[inside]] = weight


def _cover(base: Floats, normal: Floats, raster: Raster, covered: Bools) -> Floats:
    total = np.zeros(len(base))
    for offset in (0.1, 0.15, 0.2, 0.25, 0.3):
        i, j, inside = raster.index(base + offset * normal)
        total += covered[i, j] & inside
    return total / 5.0


def _faces(columns: list[Columns], closers: list[Floats], evidence: Floats, raster: Raster) -> list[shapely.Polygon]:
    box = shapely.box(*raster.low, *(raster.low + np.array(raster.shape) * raster.edge))
    drawn = [box.exterior, *_limits(evidence, raster), *(shapely.LineString(segment) for segment in closers)]
    drawn += [line for one in columns if (line := _carried_on(one).intersection(box))]
    noded = shapely.node(shapely.set_precision(shapely.union_all(drawn), GRID_M))
    faces = shapely.polygonize([noded])
    return [face for face in faces.geoms if face.area > 1e-5]


def _limits(evidence: Floats, raster: Raster) -> list[AnyArray]:
    """Outlines of what the scan covers, a little outside of it, so that they cross the walls' lines."""
    reach = round(0.15 / raster.edge)
    covered = ndimage.binary_dilation(evidence > 0, np.ones((2 * reach + 1, 2 * reach + 1), bool))
    boxes = []
    for i in range(raster.shape[0]):
        edges = np.flatnonzero(np.diff(np.r_[False, covered[i], False].astype(np.int8)))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            boxes.append((i, first, i + 1, last))
    if not boxes:
        return []
    corners = np.array(boxes, dtype=float) * raster.edge + np.tile(raster.low, 2)
    outline = shapely.union_all(shapely.box(*corners.T)).simplify(0.12)
    return list(shapely.get_parts(shapely.boundary(outline)))


def _carried_on(one: Columns) -> shapely.LineString:
    """The trace over its plain wall, carried on at both ends."""
    full = np.flatnonzero(one.full)
    first, last = one.start + full[0] * COLUMN_M, one.start + (full[-1] + 1) * COLUMN_M
    if isinstance(one.trace, Circle):
        return shapely.LineString(one.trace.at(_arc_steps(one, full)))
    return shapely.LineString(one.trace.at(np.array([first - one.reach_m, last + one.reach_m])))


def _arc_steps(one: Columns, full: Ints) -> Floats:
    """Arc lengths to draw a circle at: around the widest gap between plain columns, carried on by half a metre."""
    assert isinstance(one.trace, Circle)
    radius = one.trace.radius
    turn = 2 * math.pi * radius
    along = np.sort(one.along()[full])
    gaps = np.diff(np.r_[along, along[0] + turn])
    widest = int(np.argmax(gaps))
    begin = along[(widest + 1) % len(along)]
    length = turn - gaps[widest]
    step = math.sqrt(8.0 * 0.0005 * radius)
    if gaps[widest] < 1.2 or length > 0.6 * turn:
        return np.asarray(begin + np.linspace(0.0, turn, max(16, int(turn / step))))
    return np.asarray(np.linspace(begin - 0.5, begin + length + 0.5, max(8, int((length + 1.0) / step))))


def _face_gain(faces: list[shapely.Polygon], evidence: Floats, raster: Raster) -> Floats:
    """Sum of the evidence over each face, in square metres; small faces are sampled at a point inside."""
    tree = shapely.STRtree(faces)
    centres = raster.centres()
    pixel, face = tree.query(shapely.points(centres), predicate="intersects")
    total = np.bincount(face, evidence.ravel()[pixel], minlength=len(faces))
    number = np.bincount(face, minlength=len(faces))
    area = np.array([one.area for one in faces])
    inner = np.array([one.representative_point().coords[0] for one in faces])
    i, j, _ = raster.index(inner)
    mean = np.where(number > 0, total / np.maximum(number, 1), evidence[i, j])
    return np.asarray(mean * area)


def _before_walls(faces: list[shapely.Polygon], columns: list[Columns]) -> Floats:
    """What plain wall says for the faces from which it was seen, however narrow they are: a recess's cheek, say."""
    tree = shapely.STRtree(faces)
    total = np.zeros(len(faces))
    for one in columns:
        chosen = one.full & (np.abs(one.facing) > 0.5)
        along = one.along()[chosen]
        before = one.trace.at(along) + CLOSE_M * np.sign(one.facing[chosen])[:, None] * one.trace.normal_at(along)
        total += np.bincount(tree.query(shapely.points(before), predicate="within")[1], minlength=len(faces))
    return SEEN_GAIN * COLUMN_M * total


def _borders(
    faces: list[shapely.Polygon], columns: list[Columns], evidence: Floats, storey: Storey, space: FreeSpace
) -> tuple[Ints, Floats, Floats]:
    """Neighbouring faces (n, 2; -1 is the world outside), what a border costs, and how wide the gap is that it lies in.

    There is no gap (0) where there is wall, and where nothing shows that one face goes on into the other.
    """
    starts, ends, owners = [], [], []
    for index, face in enumerate(faces):
        for ring in (face.exterior, *face.interiors):
            corners = np.asarray(ring.coords)
            starts.append(corners[:-1])
            ends.append(corners[1:])
            owners.append(np.full(len(corners) - 1, index))
    start, end, owner = np.concatenate(starts), np.concatenate(ends), np.concatenate(owners)
    key = np.round(np.c_[start + end, np.abs(start - end)] / (0.5 * GRID_M)).astype(np.int64)
    _, first, group = np.unique(key, axis=0, return_index=True, return_inverse=True)
    group = group.ravel()
    pairs = np.full((len(first), 2), -1, np.int64)
    order = np.argsort(group, kind="stable")
    place = np.r_[0, np.cumsum(np.bincount(group))]
    for index in range(len(first)):
        members = owner[order[place[index] : place[index + 1]]][:2]
        pairs[index, : len(members)] = members
    start, end = start[first], end[first]
    which = assign_segments(start, end, columns)
    costs, walled = border_costs(start, end, which, columns)
    crossed = ~walled & _passable(start, end, evidence, storey, space)
    return pairs, costs, _gap_widths(crossed, start, end, which, columns)


def _gap_widths(crossed: Bools, start: Floats, end: Floats, which: Ints, columns: list[Columns]) -> Floats:
    """How wide the gap of a wall's line is in which each crossed border lies; infinite where it lies on no line."""
    wide = np.where(crossed & (which < 0), np.inf, 0.0)
    for index, one in enumerate(columns):
        own = np.flatnonzero(crossed & (which == index))
        spans = np.sort(np.stack([one.trace.along(start[own]), one.trace.along(end[own])], axis=1), axis=1)
        order = np.argsort(spans[:, 0], kind="stable")
        reached = np.maximum.accumulate(spans[order, 1]) if len(own) else np.zeros(0)
        gap = np.cumsum(np.r_[False, spans[order[1:], 0] > reached[:-1] + 2.0 * GRID_M]) if len(own) else order
        for one_gap in np.unique(gap):
            members = order[gap == one_gap]
            wide[own[members]] = spans[members, 1].max() - spans[members, 0].min()
    return wide


def _passable(start: Floats, end: Floats, evidence: Floats, storey: Storey, space: FreeSpace) -> Bools:
    """Where a border is crossed by rays, or by a ceiling or floor that goes on: on a third of its length or more."""
    share = np.linspace(0.1, 0.9, 5)
    points = start[:, None] + (end - start)[:, None] * share[:, None]
    heights = storey.bottom_m + (storey.top_m - storey.bottom_m) * np.array([0.25, 0.4, 0.55, 0.7, 0.85])
    free = np.zeros(points.shape[:2])
    for height in heights:
        free += space.is_free(np.concatenate([points, np.full((*points.shape[:2], 1), height)], axis=2))
    length = np.maximum(np.hypot(*(end - start).T), 1e-9)
    across = (end - start)[:, ::-1] * np.array([-1.0, 1.0]) / length[:, None]
    covered = np.ones(points.shape[:2], bool)
    for side in (-0.06, 0.06):
        i, j, inside = storey.raster.index(points + side * across[:, None])
        covered &= inside & (evidence[i, j] > 0.5)
    return np.asarray(((free >= 2) | covered).mean(axis=1) > 0.3)


def border_costs(start: Floats, end: Floats, which: Ints, columns: list[Columns]) -> tuple[Floats, Bools]:
    """What it costs to end the room at each segment (n, 2) to (n, 2), and whether it is wall for the most part.

    `which` (n,) is the trace that it lies on, -1 for none. The cost is its length times how little of it is wall.
    """
    length = np.hypot(*(end - start).T)
    cost = np.full(len(start), LIMIT_COST)
    parting = cost.copy()
    for index, one in enumerate(columns):
        own = np.flatnonzero(which == index)
        if len(own):
            ending = _column_costs(one)
            cost[own] = [_mean_cost(one, ending, start[k], end[k]) for k in own]
            # a mouth between two pieces of one wall is a likely place for the room to end, and still no wall
            open_there = np.where(one.through, 1.0, ending)
            parting[own] = [_mean_cost(one, open_there, start[k], end[k]) for k in own]
    return np.asarray(length * (cost + 0.01)), np.asarray((which >= 0) & (parting < WALLED_COST))


def assign_segments(start: Floats, end: Floats, columns: list[Columns], tolerance: float = 0.004) -> Ints:
    """Tell which trace each segment lies on; -1 for none."""
    best, which = np.full(len(start), tolerance), np.full(len(start), -1)
    middle = 0.5 * (start + end)
    for index, one in enumerate(columns):
        off = np.max([np.abs(one.trace.distance(points)) for points in (start, end, middle)], axis=0)
        closer = off < best
        best[closer], which[closer] = off[closer], index
    return which


def _column_costs(one: Columns) -> Floats:
    """Cost per metre of ending the room at each column."""
    full = np.flatnonzero(one.full)
    index = np.arange(len(one.full))
    between = (index > full[0]) & (index < full[-1])
    before = index - np.maximum.accumulate(np.where(one.full, index, -10_000))
    after = np.minimum.accumulate(np.where(one.full, index, 10_000_000)[::-1])[::-1] - index
    bridged = between & (before + after < 4.0 / COLUMN_M)
    cost = np.where(one.through, np.where(bridged, 0.5, 1.0), np.where(bridged, 0.2, 0.6))
    near = np.minimum(before, after) < 4.0 / COLUMN_M
    cost = np.where(one.partly, np.where(bridged, 0.3, 0.6), cost)
    cost = np.where(one.lintel, np.where(near, 0.05, 0.5), cost)
    return np.asarray(np.where(one.full, 0.0, cost))


def _mean_cost(one: Columns, per_column: Floats, start: Floats, end: Floats) -> float:
    along = one.trace.along(start + (end - start) * np.linspace(0.05, 0.95, 7)[:, None])
    if not isinstance(one.trace, Circle):
        steps = max(2, int(np.hypot(*(end - start)) / COLUMN_M) + 1)
        ends = one.trace.along(np.stack([start, end]))
        along = np.linspace(ends[0], ends[1], 2 * steps + 1)[1::2]
    place = np.floor((along - one.start) / COLUMN_M).astype(np.int64)
    inside = (place >= 0) & (place < len(per_column))
    costs = np.where(inside, per_column[np.clip(place, 0, len(per_column) - 1)], 0.7)
    return float(costs.mean())


def _cheapest_cut(gain: Floats, pairs: Ints, costs: Floats) -> Bools:
    """Minimum s-t cut: faces on the source's side are inside."""
    n = len(gain)
    source, sink, world = n, n + 1, n + 1
    capacity = np.round(np.abs(gain) * SCALE).astype(np.int64)
    faces = np.arange(n)
    rows = [np.where(gain > 0, source, faces)]
    cols = [np.where(gain > 0, faces, sink)]
    data = [capacity]
    a, b = pairs[:, 0], np.where(pairs[:, 1] < 0, world, pairs[:, 1])
    both = np.round(costs * SCALE).astype(np.int64)
    rows += [a, b]
    cols += [b, a]
    data += [both, both]
    links = sparse.coo_array(
        (np.concatenate(data), (np.concatenate(rows), np.concatenate(cols))), shape=(n + 2, n + 2)
    ).tocsr()
    graph = sparse.csr_array(
        (np.minimum(links.data, 2_000_000_000).astype(np.int32), links.indices, links.indptr), shape=links.shape
    )
    flow = csgraph.maximum_flow(graph, source, sink).flow
    left = sparse.csr_array(graph - flow)
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = csgraph.breadth_first_order(left, source, directed=True, return_predecessors=False)
    inside = np.zeros(n + 2, bool)
    inside[reached] = True
    return inside[:n]


def _regions(
    faces: list[shapely.Polygon], inside: Bools, pairs: Ints, gaps: Floats, stations: Floats, gain: Floats
) -> tuple[shapely.Polygon, ...]:
    """Join inside faces that nothing parts; keep those where a station stood, or without stations those well seen."""
    found = []
    label = _labels(np.array([face.area for face in faces]), inside, pairs, gaps)
    for one in np.unique(label[inside]):
        members = np.flatnonzero(inside & (label == one))
        region = shapely.union_all([faces[m] for m in members])
        if isinstance(region, shapely.Polygon) and region.area > 0.3:
            found.append((region, float(gain[members].sum())))
    if not found:
        return ()
    held = [any(shapely.contains_xy(region, *station) for station in stations) for region, _ in found]
    if any(held):
        return tuple(region for (region, _), keep in zip(found, held, strict=True) if keep)
    most = max(gain for _, gain in found)
    best = max(gain / region.area for region, gain in found if gain >= 0.2 * most)
    least = max(0.5, AS_WELL_SEEN * best)
    return tuple(region for region, gain in found if gain >= 0.2 * most and gain > least * region.area)


def _labels(area: Floats, inside: Bools, pairs: Ints, gaps: Floats) -> Ints:
    """Number the rooms: faces joined by gaps that one can pass, and recesses with what lies before their mouths."""
    within = (pairs[:, 1] >= 0) & inside[pairs[:, 0]] & inside[pairs[:, 1]]
    label = _connected(len(area), pairs[within & (gaps > NARROWEST_M)])
    small = np.bincount(label, area) < RECESS_M2
    mouth = within & (gaps > RECESS_MOUTH_M) & (small[label[pairs[:, 0]]] | small[label[pairs[:, 1]]])
    return _connected(len(area), pairs[mouth | within & (gaps > NARROWEST_M)])


def _connected(number: int, pairs: Ints) -> Ints:
    graph = sparse.coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(number, number))
    return np.asarray(csgraph.connected_components(graph, directed=False)[1])
