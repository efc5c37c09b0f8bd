"""Compiled loops of the elevation stage: collecting rays near edges."""

import math

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Floats

FACE = 192  # cells along the side of one of the six faces of the direction table
RAY_FIELDS = 6  # u, v, du/dh, dv/dh, h of the end, station


@njit(cache=True, nogil=True)
def direction_cell(x: float, y: float, z: float) -> int:
    """Index of the direction table's cell that a direction (not zero) falls into: a cube of six faces."""
    ax, ay, az = abs(x), abs(y), abs(z)
    if ax >= ay and ax >= az:
        face, a, b, major = (0 if x > 0 else 1), y, z, ax
    elif ay >= az:
        face, a, b, major = (2 if y > 0 else 3), x, z, ay
    else:
        face, a, b, major = (4 if z > 0 else 5), x, y, az
    i = min(int((a / major + 1.0) * (FACE / 2)), FACE - 1)
    j = min(int((b / major + 1.0) * (FACE / 2)), FACE - 1)
    return (face * FACE + i) * FACE + j


@njit(cache=True, nogil=True)
def mark_directions(directions: Floats, reach: Floats, bit: int, table: AnyArray) -> None:
    """Set `bit` in the table (6 * FACE * FACE,) for directions (n, 3) and all within `reach` (n,) radians of them."""
    for k in range(directions.shape[0]):
        size = max(abs(directions[k, 0]), abs(directions[k, 1]), abs(directions[k, 2]))
        for face in range(6):
            axis = face // 2
            major = directions[k, axis] if face % 2 == 0 else -directions[k, axis]
            if major < 0.8 * size:
                continue
            a = directions[k, 1 if axis == 0 else 0] / major
            b = directions[k, 1 if axis == 2 else 2] / major
            spread = reach[k] * (1.0 + a * a + b * b) + 1.0 / FACE  # the gnomonic map stretches
            first_i, last_i = int((a - spread + 1.0) * (FACE / 2)), int((a + spread + 1.0) * (FACE / 2))
            first_j, last_j = int((b - spread + 1.0) * (FACE / 2)), int((b + spread + 1.0) * (FACE / 2))
            for i in range(max(first_i, 0), min(last_i, FACE - 1) + 1):
                for j in range(max(first_j, 0), min(last_j, FACE - 1) + 1):
                    table[(face * FACE + i) * FACE + j] |= np.uint64(1) << np.uint64(bit)


@njit(cache=True, nogil=True)
def _hash(x: float, y: float, z: float) -> int:
    """A number below 2**31 that depends on the point alone: thinning by it does not depend on the order of points."""
    mixed = np.uint64(np.int64(x * 1048576.0)) * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= (np.uint64(np.int64(y * 1048576.0)) + np.uint64(0x7F4A7C15)) * np.uint64(0xC2B2AE3D27D4EB4F)
    mixed ^= (np.uint64(np.int64(z * 1048576.0)) + np.uint64(0x27D4EB4F)) * np.uint64(0x165667B19E3779F9)
    mixed ^= mixed >> np.uint64(29)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    return int(mixed >> np.uint64(33))


@njit(cache=True, nogil=True)
def _on_plane(station: Floats, end: Floats, height: float, out: Floats) -> bool:
    """Cross a ray with the plane h = height; fills u, v, du/dh, dv/dh, h of the end."""
    fall = station[2] - end[2]
    if fall <= 1e-9 or station[2] <= height:
        return False
    share = (station[2] - height) / fall
    out[0] = station[0] + share * (end[0] - station[0])
    out[1] = station[1] + share * (end[1] - station[1])
    out[2] = (station[0] - end[0]) / fall
    out[3] = (station[1] - end[1]) / fall
    out[4] = end[2]
    return True


@njit(cache=True, nogil=True)
def _on_cylinder(station: Floats, end: Floats, height: float, radius: float, out: Floats) -> bool:
    """Cross a ray with the cylinder at `height` over an upright base cylinder about out = radius; fills as a plane."""
    sign = 1.0 if radius > 0 else -1.0
    wanted = abs(radius - height)
    px, pz = station[0], station[2] - radius
    dx, dy, dz = end[0] - station[0], end[1] - station[1], end[2] - station[2]
    a = dx * dx + dz * dz
    b = px * dx + pz * dz
    c = px * px + pz * pz - wanted * wanted
    inside = b * b - a * c
    if a < 1e-12 or inside <= 0.0 or c * sign >= 0.0:  # it misses, or the station stands behind the wall's face
        return False
    share = (-b + sign * math.sqrt(inside)) / a
    if share <= 0.0:
        return False
    x, z = px + share * dx, pz + share * dz
    out[0] = radius * math.atan2(sign * x, -sign * z)
    out[1] = station[1] + share * dy
    normal_x, normal_z = -sign * x / wanted, -sign * z / wanted
    rise = dx * normal_x + dz * normal_z
    out[2] = (dx * normal_z - dz * normal_x) * (radius / (radius - height)) / rise
    out[3] = dy / rise
    out[4] = radius - sign * math.hypot(px + dx, pz + dz)
    return True


@njit(cache=True, nogil=True)
def collect_rays(
    points: AnyArray,
    station: Floats,
    table: AnyArray,
    station_index: int,
    walls: Floats,
    wall_zones: AnyArray,
    zones: AnyArray,
    zone_height: Floats,
    kept: AnyArray,
    counts: AnyArray,
    limits: AnyArray,
    front_m: float,
) -> None:
    """Add the rays from one station to points (n, 3) that cross a zone to the zone's sample, in place.

    Parameters
    ----------
    station : (3,)
        Where the rays start, in the points' coordinates.
    table : (6 * FACE * FACE,) uint64
        For each direction a bit per wall (modulo 64) whose zones lie there.
    walls : (walls, 16)
        Origin, right, up, inward (in the points' axes), radius or 0, u0, v0 of the zone raster's corner, cell size.
    wall_zones : (walls, 3) int64
        Offset of the wall's raster in `zones`, rows, columns.
    zones : (n,) int16
        Zone of each raster cell, -1 for none.
    kept : (zones, room, RAY_FIELDS) float32
        The sample; of a zone with more rays than room those with the smallest hashes stay.
    front_m : float
        Rays that end farther than this in front of a wall say nothing of it.
    """
    end, start, out = np.empty(3), np.empty(3), np.empty(5)
    for k in range(points.shape[0]):
        dx, dy, dz = points[k, 0] - station[0], points[k, 1] - station[1], points[k, 2] - station[2]
        mask = table[direction_cell(dx, dy, dz)]
        if mask == 0:
            continue
        for w in range(walls.shape[0]):
            if (mask >> np.uint64(w % 64)) & np.uint64(1) == 0:
                continue
            for axis in range(3):
                end[axis], start[axis] = 0.0, 0.0
                for i in range(3):
                    direction = walls[w, 3 + 3 * axis + i]
                    end[axis] += (points[k, i] - walls[w, i]) * direction
                    start[axis] += (station[i] - walls[w, i]) * direction
            if not _cross(start, end, 0.0, walls[w, 12], out) or out[4] > front_m:
                continue
            zone = _zone_at(out[0], out[1], walls[w], wall_zones[w], zones)
            if zone < 0:
                continue
            if zone_height[zone] != 0.0 and not _cross(start, end, zone_height[zone], walls[w, 12], out):
                continue
            _keep(out, station_index, _hash(points[k, 0], points[k, 1], points[k, 2]), zone, kept, counts, limits)


@njit(cache=True, nogil=True)
def collect_points(
    points: AnyArray,
    station_index: int,
    walls: Floats,
    wall_zones: AnyArray,
    zones: AnyArray,
    kept: AnyArray,
    counts: AnyArray,
    limits: AnyArray,
    front_m: float,
    behind_m: float,
) -> None:
    """Add points of unknown station that lie before or behind a zone, as if seen square on; else as `collect_rays`."""
    end, _start, out = np.empty(3), np.empty(3), np.empty(5)
    for k in range(points.shape[0]):
        for w in range(walls.shape[0]):
            radius = walls[w, 12]
            end[2] = 0.0
            for i in range(3):
                end[2] += (points[k, i] - walls[w, i]) * walls[w, 9 + i]
            if radius == 0.0 and (end[2] > front_m or end[2] < -behind_m):
                continue
            for axis in range(2):
                end[axis] = 0.0
                for i in range(3):
                    end[axis] += (points[k, i] - walls[w, i]) * walls[w, 3 + 3 * axis + i]
            if radius != 0.0:
                sign = 1.0 if radius > 0 else -1.0
                across, to_axis = end[0], radius - end[2]
                end[0] = radius * math.atan2(sign * across, sign * to_axis)
                end[2] = radius - sign * math.hypot(across, to_axis)
                if end[2] > front_m or end[2] < -behind_m:
                    continue
            zone = _zone_at(end[0], end[1], walls[w], wall_zones[w], zones)
            if zone < 0:
                continue
            out[0], out[1], out[2], out[3], out[4] = end[0], end[1], 0.0, 0.0, end[2]
            _keep(out, station_index, _hash(points[k, 0], points[k, 1], points[k, 2]), zone, kept, counts, limits)


@njit(cache=True, nogil=True)
def _cross(start: Floats, end: Floats, height: float, radius: float, out: Floats) -> bool:
    if radius == 0.0:
        return _on_plane(start, end, height, out)
    return _on_cylinder(start, end, height, radius, out)


@njit(cache=True, nogil=True)
def _zone_at(u: float, v: float, wall: Floats, shape: AnyArray, zones: AnyArray) -> int:
    column, row = math.floor((u - wall[13]) / wall[15]), math.floor((v - wall[14]) / wall[15])
    if not (0 <= column < shape[2] and 0 <= row < shape[1]):
        return -1
    return int(zones[shape[0] + int(row) * shape[2] + int(column)])


@njit(cache=True, nogil=True)
def _keep(out: Floats, station: int, mixed: int, zone: int, kept: AnyArray, counts: AnyArray, limits: AnyArray) -> None:
    """Put one ray into its zone's sample; when that is full, halve the share of hashes that are kept."""
    if mixed >= limits[zone, 0]:
        return
    if counts[zone] == kept.shape[1]:
        limits[zone, 0] //= 2
        left = 0
        for i in range(counts[zone]):
            if limits[zone, 1 + i] < limits[zone, 0]:
                limits[zone, 1 + left] = limits[zone, 1 + i]
                kept[zone, left] = kept[zone, i]
                left += 1
        counts[zone] = left
        _keep_again(out, station, mixed, zone, kept, counts, limits)
        return
    _keep_again(out, station, mixed, zone, kept, counts, limits)


@njit(cache=True, nogil=True)
def _keep_again(
    out: Floats, station: int, mixed: int, zone: int, kept: AnyArray, counts: AnyArray, limits: AnyArray
) -> None:
    if mixed >= limits[zone, 0] or counts[zone] == kept.shape[1]:
        return
    i = counts[zone]
    for field in range(5):
        kept[zone, i, field] = out[field]
    kept[zone, i, 5] = station
    limits[zone, 1 + i] = mixed
    counts[zone] += 1
