"""Compiled loops of the room stage: folding points into cells, and local planes from neighbouring cells.

A cell is a cube with edge `edge_m`; its key packs the three integer coordinates, 21 bits each. Cells stand in arrays in
the order in which they were first met, and an open-addressing table maps a key to its place there.
"""

import math

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Floats, Floats32, Ints
from unfold.compiled import borrowed, compiled, inlined

OFFSET = 1 << 20  # cell coordinates run from -OFFSET to OFFSET - 1: 26 km each way at 25 mm
MASK = (1 << 21) - 1
RECENT = 1024  # cells whose places are kept at hand while points are folded; noise jumps to and fro between two cells


@inlined
def pack(i: int, j: int, k: int) -> int:
    """Pack three cell coordinates into one non-negative key."""
    return ((i + OFFSET) << 42) | ((j + OFFSET) << 21) | (k + OFFSET)


@inlined
def find_slot(key: int, table: Ints, keys: Ints) -> int:
    """Return the slot of the table (a power of two long) that holds `key`, or the empty slot where it belongs."""
    last = len(table) - 1
    mixed = (key ^ (key >> 31)) * 0x9E3779B97F4A7C1
    slot = (mixed ^ (mixed >> 29)) & last
    while table[slot] >= 0 and keys[table[slot]] != key:
        slot = (slot + 1) & last
    return slot


@compiled
def fold_points(
    points: Floats32,
    start: int,
    inverse_edge: float,
    station_bit: np.uint64,
    size: int,
    table: Ints,
    keys: Ints,
    about: Floats,
    sums: Floats,
    stations: AnyArray,
) -> tuple[int, int]:
    """Fold points[start:] into their cells; stops when the arrays are full.

    `about` (cells, 3) is a cell's first point, and `sums` (cells, 10) are its points' count and sums about that: x, y,
    z, and of products xx, yy, zz, xy, xz, yz (shifted data: Chan, Golub and LeVeque 1983). Returns the index of the
    first point not folded (n when all are) and the number of cells.
    """
    table, keys, about, sums = borrowed(table), borrowed(keys), borrowed(about), borrowed(sums)
    recent_keys, recent_places = np.full(RECENT, -1, np.int64), np.empty(RECENT, np.int64)
    capacity = len(keys)
    for index in range(start, len(points)):
        x, y, z = float(points[index, 0]), float(points[index, 1]), float(points[index, 2])
        i, j, k = math.floor(x * inverse_edge), math.floor(y * inverse_edge), math.floor(z * inverse_edge)
        key = pack(i, j, k)
        recent = (i ^ (j << 3) ^ (k << 6)) & (RECENT - 1)
        place = recent_places[recent]
        if recent_keys[recent] != key:
            slot = find_slot(key, table, keys)
            place = table[slot]
            if place < 0:
                if size == capacity:
                    return index, size
                place, size = size, size + 1
                table[slot], keys[place] = place, key
                about[place, 0], about[place, 1], about[place, 2] = x, y, z
            recent_keys[recent], recent_places[recent] = key, place
            stations[place] |= station_bit
        x, y, z = x - about[place, 0], y - about[place, 1], z - about[place, 2]
        sums[place, 0] += 1.0
        sums[place, 1] += x
        sums[place, 2] += y
        sums[place, 3] += z
        sums[place, 4] += x * x
        sums[place, 5] += y * y
        sums[place, 6] += z * z
        sums[place, 7] += x * y
        sums[place, 8] += x * z
        sums[place, 9] += y * z
    return len(points), size


@njit(cache=True, nogil=True)
def index_keys(table: Ints, keys: Ints, size: int) -> None:
    """Enter the first `size` keys into an empty table."""
    for place in range(size):
        table[find_slot(keys[place], table, keys)] = place


@njit(cache=True, nogil=True)
def merge_into(n_a: float, mean_a: Floats, squares_a: Floats, n_b: float, mean_b: Floats, squares_b: Floats) -> float:
    """Add group b's moments to group a's in place (Chan, Golub and LeVeque 1983, pairwise form); returns the count."""
    total = n_a + n_b
    dx, dy, dz = mean_b[0] - mean_a[0], mean_b[1] - mean_a[1], mean_b[2] - mean_a[2]
    weight, share = n_a * n_b / total, n_b / total
    squares_a[0] += squares_b[0] + weight * dx * dx
    squares_a[1] += squares_b[1] + weight * dy * dy
    squares_a[2] += squares_b[2] + weight * dz * dz
    squares_a[3] += squares_b[3] + weight * dx * dy
    squares_a[4] += squares_b[4] + weight * dx * dz
    squares_a[5] += squares_b[5] + weight * dy * dz
    mean_a[0] += share * dx
    mean_a[1] += share * dy
    mean_a[2] += share * dz
    return total


@njit(cache=True, nogil=True)
def coarsen(
    size: int,
    table: Ints,
    keys: Ints,
    count: Ints,
    mean: Floats,
    squares: Floats,
    stations: AnyArray,
) -> int:
    """Merge cells into cells of twice the edge, in place; `table` is refilled. Returns the number of cells."""
    table[:] = -1
    kept = 0
    for place in range(size):
        key = keys[place]
        i, j, k = ((key >> 42) & MASK) - OFFSET, ((key >> 21) & MASK) - OFFSET, (key & MASK) - OFFSET
        parent = pack(i >> 1, j >> 1, k >> 1)
        slot = find_slot(parent, table, keys)
        target = table[slot]
        if target < 0:
            target, kept = kept, kept + 1
            table[slot], keys[target], count[target] = target, parent, count[place]
            mean[target], squares[target], stations[target] = mean[place], squares[place], stations[place]
        else:
            merge_into(count[target], mean[target], squares[target], count[place], mean[place], squares[place])
            count[target] += count[place]
            stations[target] |= stations[place]
    return kept


@njit(cache=True, nogil=True)
def smallest_direction(squares: Floats, normal: Floats, values: Floats) -> None:
    """Eigenvalues (ascending) of a symmetric 3x3 matrix xx, yy, zz, xy, xz, yz, and the smallest one's unit vector.

    Trigonometric solution of the characteristic equation (Smith 1961, Communications of the ACM 4, 168).
    """
    a, b, c, d, e, f = squares[0], squares[1], squares[2], squares[3], squares[4], squares[5]
    mean = (a + b + c) / 3.0
    off = d * d + e * e + f * f
    p = math.sqrt(max(((a - mean) ** 2 + (b - mean) ** 2 + (c - mean) ** 2 + 2.0 * off) / 6.0, 1e-300))
    ra, rb, rc, rd, re, rf = (a - mean) / p, (b - mean) / p, (c - mean) / p, d / p, e / p, f / p
    half = 0.5 * (ra * (rb * rc - rf * rf) - rd * (rd * rc - rf * re) + re * (rd * rf - rb * re))
    angle = math.acos(min(1.0, max(-1.0, half))) / 3.0
    largest = mean + 2.0 * p * math.cos(angle)
    smallest = mean + 2.0 * p * math.cos(angle + 2.0943951023931953)
    values[0], values[1], values[2] = smallest, 3.0 * mean - largest - smallest, largest
    a, b, c = a - smallest, b - smallest, c - smallest
    best = -1.0
    for pair in range(3):  # the cross product of the two most independent rows is the most exact
        if pair == 0:
            x, y, z = d * f - e * b, e * d - a * f, a * b - d * d
        elif pair == 1:
            x, y, z = d * c - e * f, e * e - a * c, a * f - d * e
        else:
            x, y, z = b * c - f * f, f * e - d * c, d * f - b * e
        length = x * x + y * y + z * z
        if length > best:
            best = length
            normal[0], normal[1], normal[2] = x, y, z
    length = math.sqrt(best)
    if length > 0.0:
        normal[0], normal[1], normal[2] = normal[0] / length, normal[1] / length, normal[2] / length
    else:
        normal[0], normal[1], normal[2] = 0.0, 0.0, 1.0


@njit(cache=True, nogil=True)
def column_bounds(keys: Ints) -> Ints:
    """First row of every column of cells with equal i and j in sorted keys, and at the end their number."""
    bounds = np.empty(len(keys) + 1, np.int64)
    size = 0
    for row in range(len(keys)):
        if row == 0 or (keys[row] >> 21) != (keys[row - 1] >> 21):
            bounds[size] = row
            size += 1
    bounds[size] = len(keys)
    return bounds[: size + 1].copy()


@njit(cache=True, nogil=True)
def add_neighbours(
    row: int, reach: int, pointers: Ints, stops: Ints, most_reach: int, keys: Ints, count: Ints, mean: Floats,
    squares: Floats, sums: Floats,
) -> int:  # fmt: skip
    """Sum the moments of the cells within `reach` of a row about that row's mean; returns how many cells.

    `pointers` move on to the first cell of each column that may be within reach of this row, or of one after it. `sums`
    becomes count, sums of x, y, z and of xx, yy, zz, xy, xz, yz.
    """
    side, level, cells = 2 * most_reach + 1, keys[row] & MASK, 0
    x, y, z = mean[row, 0], mean[row, 1], mean[row, 2]
    points, sx, sy, sz = 0.0, 0.0, 0.0, 0.0  # held in registers: sums in an array are written for every cell
    xx, yy, zz, xy, xz, yz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for di in range(most_reach - reach, most_reach + reach + 1):
        for dj in range(most_reach - reach, most_reach + reach + 1):
            column = di * side + dj
            first, stop = pointers[column], stops[column]
            while first < stop and (keys[first] & MASK) < level - most_reach:
                first += 1
            pointers[column] = first
            for other in range(first, stop):
                offset = (keys[other] & MASK) - level
                if offset > reach:
                    break
                if offset < -reach:
                    continue
                n = float(count[other])
                dx, dy, dz = mean[other, 0] - x, mean[other, 1] - y, mean[other, 2] - z
                cells += 1
                points += n
                sx += n * dx
                sy += n * dy
                sz += n * dz
                xx += squares[other, 0] + n * dx * dx
                yy += squares[other, 1] + n * dy * dy
                zz += squares[other, 2] + n * dz * dz
                xy += squares[other, 3] + n * dx * dy
                xz += squares[other, 4] + n * dx * dz
                yz += squares[other, 5] + n * dy * dz
    sums[0], sums[1], sums[2], sums[3], sums[4] = points, sx, sy, sz, xx
    sums[5], sums[6], sums[7], sums[8], sums[9] = yy, zz, xy, xz, yz
    return cells


@njit(cache=True, nogil=True)
def centre_moments(sums: Floats, scatter: Floats) -> None:
    """Turn sums about any point into sums of products about the mean."""
    n, x, y, z = sums[0], sums[1], sums[2], sums[3]
    scatter[0] = sums[4] - x * x / n
    scatter[1] = sums[5] - y * y / n
    scatter[2] = sums[6] - z * z / n
    scatter[3] = sums[7] - x * y / n
    scatter[4] = sums[8] - x * z / n
    scatter[5] = sums[9] - y * z / n


@njit(cache=True, nogil=True)
def index_columns(table: Ints, keys: Ints) -> tuple[Ints, Ints]:
    """Enter the columns of sorted keys into an empty table; give `column_bounds` and the columns' keys."""
    bounds = column_bounds(keys)
    columns = keys[bounds[:-1]] | MASK
    index_keys(table, columns, len(columns))
    return bounds, columns


@njit(cache=True, nogil=True)
def fit_local_planes(
    first: int,
    stop: int,
    table: Ints,
    bounds: Ints,
    columns: Ints,
    keys: Ints,
    count: Ints,
    mean: Floats,
    squares: Floats,
    least_reach: int,
    most_reach: int,
    least_cells: int,
    flat_ratio: float,
    normals: Floats32,
    roughness: Floats32,
    flatness: Floats32,
) -> None:
    """Fit a plane around each cell of columns `first` to `stop`, widening the reach until the patch is a plane.

    `keys` are sorted, and `table` maps a key of `columns` to its place in `bounds`; see `index_columns`. A patch is
    good when it holds `least_cells` cells and its smallest variance is below `flat_ratio` of the middle one.
    `roughness` is the standard deviation across the plane, metres; `flatness` that ratio, or 1 where no reach gave a
    plane.
    """
    side = 2 * most_reach + 1
    pointers, stops = np.empty(side * side, np.int64), np.empty(side * side, np.int64)
    sums, scatter, normal, values = np.empty(10), np.empty(6), np.empty(3), np.empty(3)
    for column in range(first, stop):
        i, j = ((columns[column] >> 42) & MASK) - OFFSET, ((columns[column] >> 21) & MASK) - OFFSET
        for di in range(side):
            for dj in range(side):
                key = pack(i + di - most_reach, j + dj - most_reach, 0) | MASK
                found = table[find_slot(key, table, columns)]
                pointers[di * side + dj] = bounds[found] if found >= 0 else 0
                stops[di * side + dj] = bounds[found + 1] if found >= 0 else 0
        for row in range(bounds[column], bounds[column + 1]):
            flatness[row] = 1.0
            for reach in range(least_reach, most_reach + 1):
                cells = add_neighbours(row, reach, pointers, stops, most_reach, keys, count, mean, squares, sums)
                if cells < least_cells:
                    continue
                centre_moments(sums, scatter)
                smallest_direction(scatter, normal, values)
                ratio = max(values[0], 0.0) / max(values[1], 1e-300)
                if ratio < flatness[row]:
                    flatness[row] = ratio
                    roughness[row] = math.sqrt(max(values[0], 0.0) / sums[0])
                    normals[row, 0], normals[row, 1], normals[row, 2] = normal[0], normal[1], normal[2]
                if ratio < flat_ratio:
                    break


@inlined
def cells_of_column(
    i: int, j: int, low: int, high: int, table: Ints, bounds: Ints, columns: Ints, keys: Ints
) -> tuple[int, int]:
    """First row of a column's cells whose third coordinate is `low` to `high`, and the row after the last.

    `keys` are sorted; `table` maps a key of `columns` to its place in `bounds`; see `index_columns`.
    """
    found = table[find_slot(pack(i, j, 0) | MASK, table, columns)]
    if found < 0:
        return 0, 0
    first, stop = bounds[found], bounds[found + 1]
    end, least, most = stop, pack(i, j, low), pack(i, j, high)
    while first < stop:
        middle = (first + stop) >> 1
        if keys[middle] < least:
            first = middle + 1
        else:
            stop = middle
    while stop < end and keys[stop] <= most:
        stop += 1
    return first, stop


@njit(cache=True, nogil=True)
def borrow_normals(
    first: int,
    stop: int,
    table: Ints,
    bounds: Ints,
    columns: Ints,
    keys: Ints,
    mean: Floats,
    reach: int,
    good: float,
    least_fit: float,
    normals: Floats32,
    roughness: Floats32,
    flatness: Floats32,
    new_normals: Floats32,
    new_flatness: Floats32,
) -> None:
    """Give each cell from `first` to `stop` by an edge the normal of the flattest patch nearby whose plane it lies on.

    A patch around a cell by an edge takes in both surfaces, and its normal lies between theirs. Cells flatter than
    `good` keep their own; `least_fit` is how far, in metres, a cell may always lie from a plane that it borrows.
    """
    for place in range(first, stop):
        new_normals[place] = normals[place]
        new_flatness[place] = flatness[place]
        if flatness[place] < good:
            continue
        key = keys[place]
        i, j, k = ((key >> 42) & MASK) - OFFSET, ((key >> 21) & MASK) - OFFSET, (key & MASK) - OFFSET
        for di in range(-reach, reach + 1):
            for dj in range(-reach, reach + 1):
                low, high = cells_of_column(i + di, j + dj, k - reach, k + reach, table, bounds, columns, keys)
                for other in range(low, high):
                    if flatness[other] >= new_flatness[place]:
                        continue
                    off = 0.0
                    for axis in range(3):
                        off += normals[other, axis] * (mean[place, axis] - mean[other, axis])
                    if abs(off) < max(3.0 * roughness[other], least_fit):
                        new_normals[place] = normals[other]
                        new_flatness[place] = flatness[other]


@njit(cache=True, nogil=True)
def count_met(table: Ints, bounds: Ints, columns: Ints, keys: Ints, step: int, reach: int) -> Ints:
    """Count the cells met in the cube of 2 reach + 1 cells a side around every `step`-th cell, itself among them.

    `keys` are sorted; for `table`, `bounds` and `columns` see `index_columns`.
    """
    found = np.zeros((len(keys) + step - 1) // step, np.int64)
    for row in range(len(found)):
        key = keys[row * step]
        i, j, k = ((key >> 42) & MASK) - OFFSET, ((key >> 21) & MASK) - OFFSET, (key & MASK) - OFFSET
        for di in range(-reach, reach + 1):
            for dj in range(-reach, reach + 1):
                low, high = cells_of_column(i + di, j + dj, k - reach, k + reach, table, bounds, columns, keys)
                found[row] += high - low
    return found


@njit(cache=True, nogil=True)
def carve(start: Floats, ends: Floats, low: Floats, inverse_edge: float, margin: float, free: AnyArray) -> None:
    """Mark the voxels that the rays from `start` to `ends` (n, 3) cross, less the last `margin` metres, as free.

    Traversal voxel by voxel (Amanatides and Woo 1987). `free` is (nx, ny, nz) uint8; voxel [0, 0, 0] begins at `low`.
    """
    nx, ny, nz = free.shape
    flat = free.reshape(-1)
    for index in range(len(ends)):
        dx, dy, dz = ends[index, 0] - start[0], ends[index, 1] - start[1], ends[index, 2] - start[2]
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        if length <= margin:
            continue
        dx, dy, dz = dx / length, dy / length, dz / length
        left = (length - margin) * inverse_edge
        x, y, z = (
            (start[0] - low[0]) * inverse_edge,
            (start[1] - low[1]) * inverse_edge,
            (start[2] - low[2]) * inverse_edge,
        )
        enter = 0.0
        for axis in range(3):  # a ray that begins outside the grid enters it where it meets the first face
            position, step = (x, dx) if axis == 0 else ((y, dy) if axis == 1 else (z, dz))
            size = nx if axis == 0 else (ny if axis == 1 else nz)
            if position < 0.0:
                enter = max(enter, -position / step if step > 0.0 else np.inf)
            elif position >= size:
                enter = max(enter, (size - position) / step if step < 0.0 else np.inf)
        if enter >= left:
            continue
        enter += 1e-9 if enter > 0.0 else 0.0
        i, j, k = math.floor(x + enter * dx), math.floor(y + enter * dy), math.floor(z + enter * dz)
        grow_x, grow_y, grow_z = abs(1.0 / dx) if dx != 0.0 else np.inf, np.inf, np.inf
        if dy != 0.0:
            grow_y = abs(1.0 / dy)
        if dz != 0.0:
            grow_z = abs(1.0 / dz)
        next_x = ((i + 1 - x) if dx > 0.0 else (x - i)) * grow_x if dx != 0.0 else np.inf
        next_y = ((j + 1 - y) if dy > 0.0 else (y - j)) * grow_y if dy != 0.0 else np.inf
        next_z = ((k + 1 - z) if dz > 0.0 else (z - k)) * grow_z if dz != 0.0 else np.inf
        step_x, step_y, step_z = (1 if dx > 0.0 else -1), (1 if dy > 0.0 else -1), (1 if dz > 0.0 else -1)
        if not (0 <= i < nx and 0 <= j < ny and 0 <= k < nz):
            continue
        voxel = (i * ny + j) * nz + k
        jump_x, jump_y, jump_z = step_x * ny * nz, step_y * nz, step_z
        # how many voxels there are from here to the grid's face ahead
        more_x = nx - 1 - i if step_x > 0 else i
        more_y = ny - 1 - j if step_y > 0 else j
        more_z = nz - 1 - k if step_z > 0 else k
        while True:
            flat[np.uint64(voxel)] = 1
            if next_x < next_y and next_x < next_z:
                if next_x > left or more_x == 0:
                    break
                more_x -= 1
                voxel += jump_x
                next_x += grow_x
            elif next_y < next_z:
                if next_y > left or more_y == 0:
                    break
                more_y -= 1
                voxel += jump_y
                next_y += grow_y
            else:
                if next_z > left or more_z == 0:
                    break
                more_z -= 1
                voxel += jump_z
                next_z += grow_z
