"""Compiled loops over the points: what each ray proved about each wall, and the sums behind the height maps.

All lengths in millimetres. Walls, stations and sums come packed in named tuples of arrays; each is described where it
is made (`rays.py`). No fast-math: heights may be NaN.
"""

import math
from typing import NamedTuple

from numba import njit

from unfold.arrays import AnyArray, Floats, Floats32, Ints

HIT, RECESS, THROUGH, PROUD, BLOCKED, LOST, BESIDE, FRONT = range(8)
DEPTH, HIT_SUM, HIT_SQUARES, BESIDE_SUM = range(4)
_FAR = 1e30
_FAR_OUT = 300.0  # mm beyond a wall's rough extent: no coarse surface moves a crossing that far back in


class WallTable(NamedTuple):
    """All walls, packed; lengths in mm, points in local coordinates (m)."""

    axes: Floats  # (w, 3, 3) rows right, up, inward, times 1000: uvh_mm = axes @ (point_m - origin_m)
    origin: Floats  # (w, 3) m
    radius: Floats  # (w,) mm, signed as WallFrame.radius_m; 0 for a plane
    extent: Floats  # (w, 4) rough u_least, u_most, v_least, v_most
    corner: Floats  # (w, 2) lower corner of cell [0, 0]
    shape: Ints  # (w, 2) rows, columns
    first: Ints  # (w,) index of cell [0, 0] in the sums
    coarse: Floats32  # coarse heights of all walls, one after the other
    coarse_shape: Ints  # (w, 2) rows, columns of the coarse nodes
    coarse_first: Ints  # (w,)
    band: Floats  # (w,) how far from the coarse surface a point still is the wall's
    numbers: Floats  # cell, coarse step, near reach, proud reach, recess reach, slack of the extent, tile


class View(NamedTuple):
    """A station's place, and the walls that its rays can meet by their direction in plan."""

    place: Floats  # (3,) m, local
    uvh: Floats  # (w, 3) the station in each wall's own flat axes, mm
    plan: Floats  # (2, 3) level x and y from local
    start: Ints  # (bins + 1,) into `walls`
    walls: Ints  # candidate walls, bin after bin


class Plan(NamedTuple):
    """A coarse plan: the walls near each square of it; for points without a station."""

    plan: Floats  # (2, 3) level x and y from local
    corner: Floats  # (2,) m
    step_m: float
    shape: Ints  # (2,) columns along x, along y
    start: Ints
    walls: Ints


class Sums(NamedTuple):
    """What was counted and summed for every cell of every wall."""

    counts: AnyArray  # (cells, 8) uint32: HIT .. FRONT
    sums: Floats  # (cells, 4) DEPTH .. BESIDE_SUM
    by_station: AnyArray  # (stations, cells) uint16 hits of each station; (0, 0) when not kept
    tiles: Floats  # (stations, tiles, 3) count, sum, sum of squares of hits
    tile_first: Ints  # (w,)
    tile_shape: Ints  # (w, 2)


@njit(cache=True, nogil=True, inline="always")
def direction_bin(x: float, y: float, bins: int) -> int:
    """Which of `bins` sectors of plan a direction falls in; a cheap stand-in for its angle that grows with it."""
    size = abs(x) + abs(y)
    if size == 0.0:
        return 0
    turn = 1.0 - x / size if y >= 0.0 else 3.0 + x / size
    return min(int(turn * 0.25 * bins), bins - 1)


@njit(cache=True, nogil=True, inline="always")
def coarse_height(table: WallTable, w: int, u: float, v: float) -> float:
    """Height of wall w's coarse surface at (u, v): bilinear between its nodes, constant beyond them."""
    rows, columns = table.coarse_shape[w, 0], table.coarse_shape[w, 1]
    step = table.numbers[1]
    x = min(max((u - table.corner[w, 0]) / step, 0.0), columns - 1.000001)
    y = min(max((v - table.corner[w, 1]) / step, 0.0), rows - 1.000001)
    j, i = int(x), int(y)
    x -= j
    y -= i
    k = table.coarse_first[w] + i * columns + j
    low = table.coarse[k] * (1.0 - x) + table.coarse[k + 1] * x
    high = table.coarse[k + columns] * (1.0 - x) + table.coarse[k + columns + 1] * x
    return float(low * (1.0 - y) + high * y)


@njit(cache=True, nogil=True, inline="always")
def flat_axes(table: WallTable, w: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A local point in wall w's flat axes: across, up, out; mm."""
    dx, dy, dz = x - table.origin[w, 0], y - table.origin[w, 1], z - table.origin[w, 2]
    return (
        table.axes[w, 0, 0] * dx + table.axes[w, 0, 1] * dy + table.axes[w, 0, 2] * dz,
        table.axes[w, 1, 0] * dx + table.axes[w, 1, 1] * dy + table.axes[w, 1, 2] * dz,
        table.axes[w, 2, 0] * dx + table.axes[w, 2, 1] * dy + table.axes[w, 2, 2] * dz,
    )


@njit(cache=True, nogil=True, inline="always")
def unrolled(radius: float, across: float, out: float) -> tuple[float, float]:
    """(u, h) of a place in flat axes; as WallFrame.uvh_from_level does it."""
    if radius == 0.0:
        return across, out
    sign = 1.0 if radius > 0.0 else -1.0
    to_axis = radius - out
    return radius * math.atan2(sign * across, sign * to_axis), radius - sign * math.hypot(across, to_axis)


@njit(cache=True, nogil=True, inline="always")
def crossing(radius: float, height: float, s: tuple[float, float, float], p: tuple[float, float, float]) -> float:
    """Where the ray from s toward p (flat axes) goes into the surface h = height: 0 at s, 1 at p; _FAR: nowhere."""
    if radius == 0.0:
        fall = s[2] - p[2]
        if abs(fall) < 1e-9:
            return _FAR
        t = (s[2] - height) / fall
        return t if t > 0.0 else _FAR
    dx, dy = p[0] - s[0], p[2] - s[2]
    x, y = s[0], s[2] - radius
    a = dx * dx + dy * dy
    b = x * dx + y * dy
    arm = radius - height
    inside = b * b - a * (x * x + y * y - arm * arm)
    if inside < 0.0 or a < 1e-9:
        return _FAR
    # into a concave wall where the ray leaves the circle, into a convex one where it enters
    t = (-b + math.sqrt(inside)) / a if radius > 0.0 else (-b - math.sqrt(inside)) / a
    return t if t > 0.0 else _FAR


@njit(cache=True, nogil=True, inline="always")
def _met_at(
    table: WallTable, w: int, s: tuple[float, float, float], p: tuple[float, float, float]
) -> tuple[float, float, float]:
    """(t, u, v) where the ray meets wall w's coarse surface; t = _FAR when it does not."""
    radius = table.radius[w]
    t = crossing(radius, 0.0, s, p)
    u, v = 0.0, 0.0
    for again in range(3):
        if t >= _FAR:
            break
        u = unrolled(radius, s[0] + t * (p[0] - s[0]), s[2] + t * (p[2] - s[2]))[0]
        v = s[1] + t * (p[1] - s[1])
        if again == 2:
            break
        if not _within(table, w, u, v, _FAR_OUT):  # most rays to floor and ceiling: no need to look closer
            t = _FAR
            break
        t = crossing(radius, coarse_height(table, w, u, v), s, p)
    return t, u, v


@njit(cache=True, nogil=True, inline="always")
def _within(table: WallTable, w: int, u: float, v: float, slack: float) -> bool:
    across = table.extent[w, 0] - slack <= u <= table.extent[w, 1] + slack
    return bool(across and table.extent[w, 2] - slack <= v <= table.extent[w, 3] + slack)


@njit(cache=True, nogil=True, inline="always")
def _cell(table: WallTable, w: int, u: float, v: float) -> int:
    """Index of the cell at (u, v) in the sums, or -1 beyond the raster."""
    x = (u - table.corner[w, 0]) / table.numbers[0]
    y = (v - table.corner[w, 1]) / table.numbers[0]
    if not (x >= 0.0 and y >= 0.0 and x < table.shape[w, 1] and y < table.shape[w, 0]):
        return -1
    return int(table.first[w] + int(y) * table.shape[w, 1] + int(x))


@njit(cache=True, nogil=True, inline="always")
def _add_hit(table: WallTable, out: Sums, w: int, station: int, cell: int, d: float) -> None:
    out.counts[cell, HIT] += 1
    out.sums[cell, HIT_SUM] += d
    out.sums[cell, HIT_SQUARES] += d * d
    if station < len(out.by_station) and out.by_station[station, cell] < 65535:
        out.by_station[station, cell] += 1
    if station < len(out.tiles):
        inside = cell - table.first[w]
        side = int(table.numbers[6])
        tile = (
            out.tile_first[w]
            + (inside // table.shape[w, 1]) // side * out.tile_shape[w, 1]
            + (inside % table.shape[w, 1]) // side
        )
        out.tiles[station, tile, 0] += 1.0
        out.tiles[station, tile, 1] += d
        out.tiles[station, tile, 2] += d * d


@njit(cache=True, nogil=True, inline="always")
def _place(table: WallTable, out: Sums, w: int, station: int, u: float, v: float, h: float) -> bool:
    """Count a point by where it lies when it is at or just before wall w's surface; True when it is at it."""
    cell = _cell(table, w, u, v)
    if cell < 0:
        return False
    d = h - coarse_height(table, w, u, v)
    if abs(d) <= table.band[w]:
        _add_hit(table, out, w, station, cell, d)
        return True
    if abs(d) <= table.numbers[2]:
        out.counts[cell, BESIDE] += 1
        out.sums[cell, BESIDE_SUM] += d
    if 0.0 < d <= table.numbers[3]:
        out.counts[cell, PROUD] += 1
        if d <= table.numbers[2]:
            out.counts[cell, FRONT] += 1
    return False


@njit(cache=True, nogil=True, inline="always")
def _behind(table: WallTable, out: Sums, w: int, u: float, v: float, depth: float, lost: bool) -> None:
    """Count a ray that went into wall w's surface at (u, v) and ended `depth` behind it."""
    cell = _cell(table, w, u, v)
    if cell < 0:
        return
    if depth <= table.numbers[4] and not lost:
        out.counts[cell, RECESS] += 1
        out.sums[cell, DEPTH] += depth
    else:
        out.counts[cell, THROUGH] += 1
        if lost:
            out.counts[cell, LOST] += 1


@njit(cache=True, nogil=True)
def _first_wall(table: WallTable, view: View, walls: Ints, x: float, y: float, z: float) -> int:
    """The wall that the ray toward a point meets first from its front, within the walls' rough extents; or -1."""
    first, nearest = -1, _FAR
    for w in walls:
        s = (view.uvh[w, 0], view.uvh[w, 1], view.uvh[w, 2])
        p = flat_axes(table, w, x, y, z)
        radius = table.radius[w]
        if unrolled(radius, s[0], s[2])[1] <= 0.0:
            continue
        t = crossing(radius, 0.0, s, p)
        if t < nearest:
            u = unrolled(radius, s[0] + t * (p[0] - s[0]), s[2] + t * (p[2] - s[2]))[0]
            if _within(table, w, u, s[1] + t * (p[1] - s[1]), table.numbers[5]):
                first, nearest = w, t
    return first


@njit(cache=True, nogil=True, inline="always")
def _cast_ray(table: WallTable, view: View, out: Sums, station: int, x: float, y: float, z: float, lost: bool) -> None:
    dx, dy, dz = x - view.place[0], y - view.place[1], z - view.place[2]
    bins = len(view.start) - 1
    k = direction_bin(
        view.plan[0, 0] * dx + view.plan[0, 1] * dy + view.plan[0, 2] * dz,
        view.plan[1, 0] * dx + view.plan[1, 1] * dy + view.plan[1, 2] * dz,
        bins,
    )
    walls = view.walls[view.start[k] : view.start[k + 1]]
    first = -2
    for w in walls:
        s = (view.uvh[w, 0], view.uvh[w, 1], view.uvh[w, 2])
        p = flat_axes(table, w, x, y, z)
        radius = table.radius[w]
        u, h = unrolled(radius, p[0], p[2])
        before = unrolled(radius, s[0], s[2])[1] > 0.0
        if before and not lost and _place(table, out, w, station, u, p[1], h):
            continue
        depth = coarse_height(table, w, u, p[1]) - h
        if before and -table.numbers[3] <= depth <= table.band[w]:
            continue  # just in front, or too near to tell
        if not before and h < 0.0:
            continue
        t, u, v = _met_at(table, w, s, p)
        if t >= _FAR or not _within(table, w, u, v, table.numbers[5] if before else -table.numbers[5]):
            continue
        if first == -2:
            first = _first_wall(table, view, walls, x, y, z)
        if t > 1.0 and not lost:
            cell = _cell(table, w, u, v)
            if w == first and cell >= 0:
                out.counts[cell, BLOCKED] += 1
        elif w == first or _within(table, w, u, v, 0.0):
            _behind(table, out, w, u, v, depth if before else _FAR, lost)


@njit(cache=True, nogil=True)
def cast_rays(points: Floats32, table: WallTable, view: View, out: Sums, station: int) -> None:
    """Add rays from a station to points (n, 3), m, local."""
    for i in range(len(points)):
        _cast_ray(table, view, out, station, float(points[i, 0]), float(points[i, 1]), float(points[i, 2]), False)


@njit(cache=True, nogil=True)
def cast_escaped(directions: Floats32, table: WallTable, view: View, out: Sums, station: int) -> None:
    """Add rays from a station along unit directions (n, 3), local, that met nothing."""
    for i in range(len(directions)):
        _cast_ray(
            table,
            view,
            out,
            station,
            view.place[0] + 1000.0 * directions[i, 0],
            view.place[1] + 1000.0 * directions[i, 1],
            view.place[2] + 1000.0 * directions[i, 2],
            True,
        )


@njit(cache=True, nogil=True)
def place_points(points: Floats32, table: WallTable, plan: Plan, out: Sums, station: int) -> None:
    """Add points (n, 3), m, local, by where they lie alone."""
    for i in range(len(points)):
        x, y, z = float(points[i, 0]), float(points[i, 1]), float(points[i, 2])
        level_x = plan.plan[0, 0] * x + plan.plan[0, 1] * y + plan.plan[0, 2] * z
        level_y = plan.plan[1, 0] * x + plan.plan[1, 1] * y + plan.plan[1, 2] * z
        a = math.floor((level_x - plan.corner[0]) / plan.step_m)
        b = math.floor((level_y - plan.corner[1]) / plan.step_m)
        if a < 0 or b < 0 or a >= plan.shape[0] or b >= plan.shape[1]:
            continue
        k = b * plan.shape[0] + a
        for w in plan.walls[plan.start[k] : plan.start[k + 1]]:
            p = flat_axes(table, w, x, y, z)
            u, h = unrolled(table.radius[w], p[0], p[2])
            if _place(table, out, w, station, u, p[1], h):
                continue
            depth = coarse_height(table, w, u, p[1]) - h
            if table.band[w] < depth <= table.numbers[4] and _within(table, w, u, p[1], 0.0):
                _behind(table, out, w, u, p[1], depth, False)
