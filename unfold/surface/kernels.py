"""Compiled loops over the points: what each ray proved about each wall, and the sums behind the height maps.

All lengths in millimetres, points in metres. Each wall is one row of numbers in `walls`; the columns are named below.
No fast-math: heights may be NaN. Arrays are passed one by one and `borrowed`: else each is counted in and out again
for every point, which costs several times what the geometry does.
"""

import math

from unfold.arrays import AnyArray, Floats, Floats32, Ints
from unfold.compiled import borrowed, compiled, inlined

# columns of the counts and of the sums, of every cell of every wall
HIT, RECESS, THROUGH, PROUD, BLOCKED, LOST, BESIDE, FRONT = range(8)
DEPTH, HIT_SUM, HIT_SQUARES, BESIDE_SUM, BESIDE_SQUARES = range(5)

# columns of a wall's row. AXES: right, up, inward, times 1000, so that axes @ (point - origin) is mm; ORIGIN: local, m
AXES, ORIGIN = 0, 9
RADIUS = 12  # signed as WallFrame.radius_m; 0 for a plane
U_LOW, U_HIGH, V_LOW, V_HIGH = 13, 14, 15, 16  # rough extent
CORNER_U, CORNER_V = 17, 18  # lower corner of cell [0, 0]
ROWS, COLUMNS, FIRST = 19, 20, 21  # FIRST: index of cell [0, 0] in the counts
COARSE_ROWS, COARSE_COLUMNS, COARSE_FIRST = 22, 23, 24
BAND = 25  # how far from the coarse surface a point still is the wall's
NEAR_REACH, PROUD_REACH, RECESS_REACH, SLACK = 26, 27, 28, 29
TILE_FIRST, TILE_COLUMNS = 30, 31
PER_MM, COARSE_PER_CELL, TILES_PER_CELL = 32, 33, 34  # cells in a mm, coarse steps and tiles in a cell
WALL_COLUMNS = 35

_FAR = 1e30
_FAR_OUT = 300.0  # mm beyond a wall's rough extent: no coarse surface moves a crossing that far back in


@inlined
def direction_bin(x: float, y: float, bins: int) -> int:
    """Which of `bins` sectors of plan a direction falls in; a cheap stand-in for its angle that grows with it."""
    size = abs(x) + abs(y)
    if size == 0.0:
        return 0
    turn = 1.0 - x / size if y >= 0.0 else 3.0 + x / size
    return min(int(turn * 0.25 * bins), bins - 1)


@inlined
def coarse_height(walls: Floats, coarse: Floats32, w: int, x: float, y: float) -> float:
    """Height of wall w's coarse surface at x columns and y rows from the raster's corner: bilinear between its nodes,
    constant beyond them.
    """
    columns = int(walls[w, COARSE_COLUMNS])
    a = min(max(x * walls[w, COARSE_PER_CELL], 0.0), walls[w, COARSE_COLUMNS] - 1.000001)
    b = min(max(y * walls[w, COARSE_PER_CELL], 0.0), walls[w, COARSE_ROWS] - 1.000001)
    j, i = int(a), int(b)
    a -= j
    b -= i
    k = int(walls[w, COARSE_FIRST]) + i * columns + j
    low = coarse[k] * (1.0 - a) + coarse[k + 1] * a
    high = coarse[k + columns] * (1.0 - a) + coarse[k + columns + 1] * a
    return float(low * (1.0 - b) + high * b)


@inlined
def in_cells(walls: Floats, w: int, u: float, v: float) -> tuple[float, float]:
    """A place on wall w in columns and rows from the raster's corner."""
    return (u - walls[w, CORNER_U]) * walls[w, PER_MM], (v - walls[w, CORNER_V]) * walls[w, PER_MM]


@inlined
def flat_axes(walls: Floats, w: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A local point in wall w's flat axes: across, up, out; mm."""
    dx, dy, dz = x - walls[w, ORIGIN], y - walls[w, ORIGIN + 1], z - walls[w, ORIGIN + 2]
    return (
        walls[w, 0] * dx + walls[w, 1] * dy + walls[w, 2] * dz,
        walls[w, 3] * dx + walls[w, 4] * dy + walls[w, 5] * dz,
        walls[w, 6] * dx + walls[w, 7] * dy + walls[w, 8] * dz,
    )


@inlined
def unrolled(radius: float, across: float, out: float) -> tuple[float, float]:
    """(u, h) of a place in flat axes; as WallFrame.uvh_from_level does it."""
    if radius == 0.0:
        return across, out
    sign = 1.0 if radius > 0.0 else -1.0
    to_axis = radius - out
    return radius * math.atan2(sign * across, sign * to_axis), radius - sign * math.hypot(across, to_axis)


@inlined
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


@inlined
def _within(walls: Floats, w: int, u: float, v: float, slack: float) -> bool:
    across = walls[w, U_LOW] - slack <= u <= walls[w, U_HIGH] + slack
    return bool(across and walls[w, V_LOW] - slack <= v <= walls[w, V_HIGH] + slack)


@inlined
def _met_at(
    walls: Floats, coarse: Floats32, w: int, s: tuple[float, float, float], p: tuple[float, float, float]
) -> tuple[float, float, float]:
    """(t, u, v) where the ray meets wall w's coarse surface; t = _FAR when it does not."""
    radius = walls[w, RADIUS]
    t = crossing(radius, 0.0, s, p)
    u, v = 0.0, 0.0
    for again in range(3):
        if t >= _FAR:
            return _FAR, 0.0, 0.0
        u = unrolled(radius, s[0] + t * (p[0] - s[0]), s[2] + t * (p[2] - s[2]))[0]
        v = s[1] + t * (p[1] - s[1])
        if again == 2:
            break
        if not _within(walls, w, u, v, _FAR_OUT):  # most rays to floor and ceiling: no need to look closer
            return _FAR, 0.0, 0.0
        across, up = in_cells(walls, w, u, v)
        t = crossing(radius, coarse_height(walls, coarse, w, across, up), s, p)
    return t, u, v


@inlined
def _cell(walls: Floats, w: int, x: float, y: float) -> int:
    """Index of the cell at x columns, y rows, or -1 beyond the raster. Column after column, as scanners turn."""
    if not (x >= 0.0 and y >= 0.0 and x < walls[w, COLUMNS] and y < walls[w, ROWS]):
        return -1
    return int(walls[w, FIRST]) + int(x) * int(walls[w, ROWS]) + int(y)


@inlined
def _add_hit(
    walls: Floats,
    w: int,
    station: int,
    cell: int,
    x: float,
    y: float,
    d: float,
    counts: AnyArray,
    sums: Floats,
    by_station: AnyArray,
    tiles: Floats,
) -> None:
    counts[cell, HIT] += 1
    sums[cell, HIT_SUM] += d
    sums[cell, HIT_SQUARES] += d * d
    if station < by_station.shape[0] and by_station[station, cell] < 65535:
        by_station[station, cell] += 1
    row, column = int(y * walls[w, TILES_PER_CELL]), int(x * walls[w, TILES_PER_CELL])
    tile = int(walls[w, TILE_FIRST]) + row * int(walls[w, TILE_COLUMNS]) + column
    tiles[station, tile, 0] += 1.0
    tiles[station, tile, 1] += d
    tiles[station, tile, 2] += d * d


@inlined
def _place(
    walls: Floats,
    coarse: Floats32,
    w: int,
    station: int,
    x: float,
    y: float,
    h: float,
    counts: AnyArray,
    sums: Floats,
    by_station: AnyArray,
    tiles: Floats,
) -> bool:
    """Count a point by where it lies when it is at or just before wall w's surface; True when it is at it."""
    cell = _cell(walls, w, x, y)
    if cell < 0:
        return False
    d = h - coarse_height(walls, coarse, w, x, y)
    if abs(d) <= walls[w, BAND]:
        _add_hit(walls, w, station, cell, x, y, d, counts, sums, by_station, tiles)
        return True
    if abs(d) <= walls[w, NEAR_REACH]:
        counts[cell, BESIDE] += 1
        sums[cell, BESIDE_SUM] += d
        sums[cell, BESIDE_SQUARES] += d * d
    if 0.0 < d <= walls[w, PROUD_REACH]:
        counts[cell, PROUD] += 1
        if d <= walls[w, NEAR_REACH]:
            counts[cell, FRONT] += 1
    return False


@inlined
def _behind(
    walls: Floats, w: int, u: float, v: float, depth: float, lost: bool, counts: AnyArray, sums: Floats
) -> None:
    """Count a ray that went into wall w's surface at (u, v) and ended `depth` behind it."""
    x, y = in_cells(walls, w, u, v)
    cell = _cell(walls, w, x, y)
    if cell < 0:
        return
    if depth <= walls[w, RECESS_REACH] and not lost:
        counts[cell, RECESS] += 1
        sums[cell, DEPTH] += depth
    else:
        counts[cell, THROUGH] += 1
        if lost:
            counts[cell, LOST] += 1


@inlined
def _first_wall(
    walls: Floats, seen_from: Floats, listed: Ints, low: int, high: int, x: float, y: float, z: float
) -> int:
    """The wall of listed[low:high] that a ray meets first from its front, within its rough extent; -1: none."""
    first, nearest = -1, _FAR
    for k in range(low, high):
        w = listed[k]
        s = (seen_from[w, 0], seen_from[w, 1], seen_from[w, 2])
        p = flat_axes(walls, w, x, y, z)
        radius = walls[w, RADIUS]
        if unrolled(radius, s[0], s[2])[1] <= 0.0:
            continue
        t = crossing(radius, 0.0, s, p)
        if t < nearest:
            u = unrolled(radius, s[0] + t * (p[0] - s[0]), s[2] + t * (p[2] - s[2]))[0]
            if _within(walls, w, u, s[1] + t * (p[1] - s[1]), walls[w, SLACK]):
                first, nearest = w, t
    return first


@inlined
def _cast_at_wall(
    walls: Floats,
    coarse: Floats32,
    seen_from: Floats,
    listed: Ints,
    low: int,
    high: int,
    w: int,
    station: int,
    x: float,
    y: float,
    z: float,
    lost: bool,
    counts: AnyArray,
    sums: Floats,
    by_station: AnyArray,
    tiles: Floats,
) -> None:
    """Count what a ray proved of wall w, of all in listed[low:high] that it can meet."""
    s = (seen_from[w, 0], seen_from[w, 1], seen_from[w, 2])
    p = flat_axes(walls, w, x, y, z)
    radius = walls[w, RADIUS]
    u, h = unrolled(radius, p[0], p[2])
    before = unrolled(radius, s[0], s[2])[1] > 0.0
    near = before and not lost and -_FAR_OUT < h < walls[w, PROUD_REACH] + _FAR_OUT
    across, up = in_cells(walls, w, u, p[1])
    if near and _place(walls, coarse, w, station, across, up, h, counts, sums, by_station, tiles):
        return
    if not before and h < 0.0:
        return
    depth = coarse_height(walls, coarse, w, across, up) - h
    if before and -walls[w, PROUD_REACH] <= depth <= walls[w, BAND]:
        return  # just in front, or too near to tell
    t, u, v = _met_at(walls, coarse, w, s, p)
    if t >= _FAR or not _within(walls, w, u, v, walls[w, SLACK] if before else -walls[w, SLACK]):
        return
    first = _first_wall(walls, seen_from, listed, low, high, x, y, z)
    if t > 1.0 and not lost:
        across, up = in_cells(walls, w, u, v)
        cell = _cell(walls, w, across, up)
        if w == first and cell >= 0:
            counts[cell, BLOCKED] += 1
    elif w == first or _within(walls, w, u, v, 0.0):
        _behind(walls, w, u, v, depth if before else _FAR, lost, counts, sums)


@compiled
def cast_rays(
    ends: Floats32,
    lost: bool,
    place: Floats,
    level: Floats,
    walls: Floats,
    coarse: Floats32,
    seen_from: Floats,
    start: Ints,
    listed: Ints,
    rise: Floats,
    station: int,
    counts: AnyArray,
    sums: Floats,
    by_station: AnyArray,
    tiles: Floats,
) -> None:
    """Add a station's rays to points (n, 3), m, local; or, when `lost`, along unit directions (n, 3) that met nothing.

    place: the station (3,), local, m; seen_from: the same in each wall's flat axes, mm; level: (3, 3) from local.
    start and listed: the walls that a ray can meet, by the sector of plan of its direction; rise: its least and
    greatest rise there. Most rays end on floor and ceiling, and are done with by their rise, or on a plane, and are
    counted right here; a call costs more than that.
    """
    bins = len(start) - 1
    walls, coarse, seen_from, listed = borrowed(walls), borrowed(coarse), borrowed(seen_from), borrowed(listed)
    counts, sums, by_station, tiles = borrowed(counts), borrowed(sums), borrowed(by_station), borrowed(tiles)
    for i in range(len(ends)):
        x, y, z = float(ends[i, 0]), float(ends[i, 1]), float(ends[i, 2])
        if lost:
            x, y, z = place[0] + 1000.0 * x, place[1] + 1000.0 * y, place[2] + 1000.0 * z
        dx, dy, dz = x - place[0], y - place[1], z - place[2]
        a = level[0, 0] * dx + level[0, 1] * dy + level[0, 2] * dz
        b = level[1, 0] * dx + level[1, 1] * dy + level[1, 2] * dz
        rises = level[2, 0] * dx + level[2, 1] * dy + level[2, 2] * dz
        size = abs(a) + abs(b)
        sector = direction_bin(a, b, bins)
        if rises < rise[sector, 0] * size or rises > rise[sector, 1] * size:
            continue
        for k in range(start[sector], start[sector + 1]):
            w = listed[k]
            if walls[w, RADIUS] == 0.0 and seen_from[w, 2] > 0.0 and not lost:
                u, v, h = flat_axes(walls, w, x, y, z)
                if abs(h) <= _FAR_OUT:
                    across, up = in_cells(walls, w, u, v)
                    cell = _cell(walls, w, across, up)
                    d = h - coarse_height(walls, coarse, w, across, up)
                    if cell >= 0 and abs(d) <= walls[w, BAND]:
                        _add_hit(walls, w, station, cell, across, up, d, counts, sums, by_station, tiles)
                        continue
            _cast_at_wall(
                *(walls, coarse, seen_from, listed, start[sector], start[sector + 1], w, station),
                *(x, y, z, lost, counts, sums, by_station, tiles),
            )


@compiled
def place_points(
    points: Floats32,
    plan: Floats,
    corner: Floats,
    step_m: float,
    shape: tuple[int, int],
    walls: Floats,
    coarse: Floats32,
    start: Ints,
    listed: Ints,
    station: int,
    counts: AnyArray,
    sums: Floats,
    by_station: AnyArray,
    tiles: Floats,
) -> None:
    """Add points (n, 3), m, local, by where they lie alone.

    plan: level x and y from local; start and listed: the walls near each square of a plan of `shape` squares of
    step_m from `corner` on.
    """
    walls, coarse = borrowed(walls), borrowed(coarse)
    counts, sums, by_station, tiles = borrowed(counts), borrowed(sums), borrowed(by_station), borrowed(tiles)
    for i in range(len(points)):
        x, y, z = float(points[i, 0]), float(points[i, 1]), float(points[i, 2])
        a = math.floor((plan[0, 0] * x + plan[0, 1] * y + plan[0, 2] * z - corner[0]) / step_m)
        b = math.floor((plan[1, 0] * x + plan[1, 1] * y + plan[1, 2] * z - corner[1]) / step_m)
        if a < 0 or b < 0 or a >= shape[0] or b >= shape[1]:
            continue
        square = b * shape[0] + a
        low, high = start[square], start[square + 1]
        owned = False
        for k in range(low, high):
            w = listed[k]
            p = flat_axes(walls, w, x, y, z)
            u, h = unrolled(walls[w, RADIUS], p[0], p[2])
            across, up = in_cells(walls, w, u, p[1])
            if _place(walls, coarse, w, station, across, up, h, counts, sums, by_station, tiles):
                owned = owned or _within(walls, w, u, p[1], 0.0)
        if owned:  # the far face of a column, or of the wall between two rooms, is no recess
            continue
        for k in range(low, high):
            w = listed[k]
            p = flat_axes(walls, w, x, y, z)
            u, h = unrolled(walls[w, RADIUS], p[0], p[2])
            if not _within(walls, w, u, p[1], 0.0):
                continue
            across, up = in_cells(walls, w, u, p[1])
            depth = coarse_height(walls, coarse, w, across, up) - h
            if walls[w, BAND] < depth <= walls[w, RECESS_REACH]:
                _behind(walls, w, u, p[1], depth, False, counts, sums)
