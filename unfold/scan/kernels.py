"""Compiled loops of the scan stage; each has a plain NumPy twin in its test."""

import math
from typing import Any

import numpy as np
from numba import njit

from unfold.arrays import AnyArray, Floats, Floats32, Ints

FAR_M = 1e9  # beyond this from the origin a coordinate is not a length but an error
MIX = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)  # odd, bits well spread
NO_DROP = np.zeros(0, np.int8)
POWERS = 10.0 ** np.arange(0, 23)  # exactly representable
_NEWLINE, _MINUS, _PLUS = 10, 45, 43


@njit(cache=True, nogil=True)
def place(
    x: AnyArray,
    y: AnyArray,
    z: AnyArray,
    drop: AnyArray,
    zero_is_miss: bool,
    matrix: Floats,
    station: Floats,
    near: float,
    out: Floats32,
    counts: Ints,
    bounds: Floats,
) -> int:
    """Transform raw coordinates (n,) by `matrix` (3, 4) into `out` (n, 3), without what is no point; return how many.

    `drop` is (n,), or (0,) for none. Left out and added to `counts` are [0] those not finite, [1] raw zeros, [2] those
    nearer than `near` to `station` (3,). `bounds` (2, 3), lowest and highest, are widened to hold what is placed.
    """
    placed = 0
    for i in range(len(x)):
        if len(drop) > 0 and drop[i] != 0:
            continue
        a, b, c = float(x[i]), float(y[i]), float(z[i])
        if zero_is_miss and a == 0.0 and b == 0.0 and c == 0.0:
            counts[1] += 1
            continue
        u = matrix[0, 0] * a + matrix[0, 1] * b + matrix[0, 2] * c + matrix[0, 3]
        v = matrix[1, 0] * a + matrix[1, 1] * b + matrix[1, 2] * c + matrix[1, 3]
        w = matrix[2, 0] * a + matrix[2, 1] * b + matrix[2, 2] * c + matrix[2, 3]
        if not (abs(u) < FAR_M and abs(v) < FAR_M and abs(w) < FAR_M):  # NaN fails too
            counts[0] += 1
            continue
        if (u - station[0]) ** 2 + (v - station[1]) ** 2 + (w - station[2]) ** 2 < near * near:
            counts[2] += 1
            continue
        bounds[0, 0], bounds[1, 0] = min(bounds[0, 0], u), max(bounds[1, 0], u)
        bounds[0, 1], bounds[1, 1] = min(bounds[0, 1], v), max(bounds[1, 1], v)
        bounds[0, 2], bounds[1, 2] = min(bounds[0, 2], w), max(bounds[1, 2], w)
        out[placed, 0] = u
        out[placed, 1] = v
        out[placed, 2] = w
        placed += 1
    return placed


@njit(cache=True, nogil=True)
def from_spherical(reach: Floats, azimuth: Floats, elevation: Floats) -> None:
    """Turn range, azimuth and elevation (n,) into x, y and z in place (ASTM E2807: elevation from the xy plane)."""
    for i in range(len(reach)):
        r, a, e = reach[i], azimuth[i], elevation[i]
        level = r * math.cos(e)
        reach[i] = level * math.cos(a)
        azimuth[i] = level * math.sin(a)
        elevation[i] = r * math.sin(e)


@njit(cache=True, nogil=True)
def parse_number(text: AnyArray, start: int, end: int, point: int) -> float:
    """Return the number in text[start:end], or NaN when it is none. Correct to the last bit up to 15 digits."""
    i, sign = start, 1.0
    if i < end and (text[i] == _MINUS or text[i] == _PLUS):
        sign = -1.0 if text[i] == _MINUS else 1.0
        i += 1
    mantissa, digits, shift, seen_point = 0, 0, 0, False
    while i < end:
        c = text[i]
        if 48 <= c <= 57:
            if mantissa < 100_000_000_000_000_000:
                mantissa = mantissa * 10 + (int(c) - 48)
                shift -= 1 if seen_point else 0
            else:
                shift += 0 if seen_point else 1
            digits += 1
        elif c == point and not seen_point:
            seen_point = True
        else:
            break
        i += 1
    if digits == 0:
        return np.nan
    if i < end and (text[i] == 101 or text[i] == 69):  # e, E
        i += 1
        down = False
        if i < end and (text[i] == _MINUS or text[i] == _PLUS):
            down = text[i] == _MINUS
            i += 1
        power, first = 0, i
        while i < end and 48 <= text[i] <= 57 and power < 1000:
            power = power * 10 + (int(text[i]) - 48)
            i += 1
        if i == first:
            return np.nan
        shift += -power if down else power
    if i < end:
        return np.nan
    value = float(mantissa)
    if -22 <= shift < 0:
        value /= POWERS[-shift]
    elif 0 < shift <= 22:
        value *= POWERS[shift]
    elif shift != 0:
        value *= 10.0**shift
    return sign * value


@njit(cache=True, nogil=True)
def parse_rows(
    text: AnyArray,
    start: int,
    columns: Ints,
    separators: AnyArray,
    point: int,
    lead: int,
    most: int,
    out: Floats,
) -> Any:
    """Read coordinates from whole lines of text[start:] into `out` (k, 3), `columns` (3,) of each line, ascending.

    `separators` is (256,), nonzero for the bytes that part columns; `point` is the decimal mark. When `lead` is not 0,
    only lines that begin with that byte and a separator are read. Stops after `most` rows. A line that lacks one of the
    columns is passed over; what is no number is NaN. Returns the rows read, the lines passed over (blank ones do not
    count), and where the text was left.
    """
    rows, passed, i, size = 0, 0, start, len(text)
    while i < size and rows < most and rows < len(out):
        if lead != 0 and not (text[i] == lead and i + 1 < size and separators[text[i + 1]] != 0):
            while i < size and text[i] != _NEWLINE:
                i += 1
            i += 1
            continue
        column, filled = 0, 0
        while i < size and text[i] != _NEWLINE:
            while i < size and separators[text[i]] != 0:
                i += 1
            first = i
            while i < size and text[i] != _NEWLINE and separators[text[i]] == 0:
                i += 1
            if i > first:
                if filled < 3 and columns[filled] == column:
                    out[rows, filled] = parse_number(text, first, i, point)
                    filled += 1
                column += 1
        i += 1
        if filled == 3:
            rows += 1
        elif column > 0:
            passed += 1
    return rows, passed, min(i, size)


@njit(cache=True, nogil=True)
def expand_lzf(data: AnyArray, last: bool, out: AnyArray, start: int, history: int) -> Any:
    """Expand LZF `data` into `out` from `start` on; `history` bytes before `start` may be referred to.

    Stops before data that may be incomplete, unless it is the `last`, and before `out` may overflow. Returns the bytes
    used and the end in `out`, which is -1 when the data are broken.
    """
    i, end, size = 0, start, len(data)
    while i < size and (last or i + 34 <= size) and end + 264 <= len(out):
        control = int(data[i])
        i += 1
        if control < 32:
            if i + control + 1 > size:
                return i, -1
            for _ in range(control + 1):
                out[end] = data[i]
                end += 1
                i += 1
            continue
        length = control >> 5
        if i + (2 if length == 7 else 1) > size:
            return i, -1
        if length == 7:
            length += int(data[i])
            i += 1
        source = end - ((control & 31) << 8) - int(data[i]) - 1
        i += 1
        if source < start - history:
            return i, -1
        for _ in range(length + 2):
            out[end] = out[source]
            end += 1
            source += 1
    return i, end


@njit(cache=True, nogil=True)
def drop_repeats(points: Floats32, bits: AnyArray, table: Ints) -> int:
    """Move the first of each set of exactly equal points (n, 3) to the front, in order; return how many there are.

    `bits` is the same memory as `points`, as uint32. `table`, a power of two and at least 2 n long, is overwritten.
    """
    mask, kept = len(table) - 1, 0
    table[:] = -1
    for i in range(len(points)):
        a, b, c = np.uint64(bits[i, 0]), np.uint64(bits[i, 1]), np.uint64(bits[i, 2])
        mixed = a * MIX[0] + b * MIX[1] + c * MIX[2]
        slot = np.int64((mixed ^ (mixed >> np.uint64(29))) & np.uint64(mask))
        while table[slot] >= 0:
            j = table[slot]
            if bits[j, 0] == bits[i, 0] and bits[j, 1] == bits[i, 1] and bits[j, 2] == bits[i, 2]:
                break
            slot = (slot + 1) & mask
        if table[slot] < 0:
            for axis in range(3):
                points[kept, axis] = points[i, axis]
            table[slot] = kept
            kept += 1
    return kept


@njit(cache=True, nogil=True)
def spread_points(corners: Floats, spacing: float, shift: float, state: Ints, out: Floats) -> int:
    """Put points on triangles (n, 3 corners, 3) where lines of a cubic grid pierce them, until `out` (k, 3) is full.

    Each triangle is pierced by the grid lines along the axis nearest to its normal; grid lines lie at
    (i + `shift`) * `spacing`. `state` (3,) says where to go on: triangle, first and second grid index less their
    lowest. Returns the number of points, fewer than k only at the end.
    """
    count = 0
    while state[0] < len(corners):
        a, b, c = corners[state[0], 0], corners[state[0], 1], corners[state[0], 2]
        normal = np.cross(b - a, c - a)
        axis = np.argmax(np.abs(normal))
        if normal[axis] == 0.0:
            state[0] += 1
            continue
        first, second = (axis + 1) % 3, (axis + 2) % 3
        tilt_first, tilt_second = -normal[first] / normal[axis], -normal[second] / normal[axis]
        lowest = math.ceil(min(a[first], b[first], c[first]) / spacing - shift)
        highest = math.floor(max(a[first], b[first], c[first]) / spacing - shift)
        while lowest + state[1] <= highest:
            u = (lowest + state[1] + shift) * spacing
            low, high = np.inf, -np.inf
            for p, q in ((a, b), (b, c), (c, a)):
                if (p[first] <= u) != (q[first] <= u):
                    v = p[second] + (q[second] - p[second]) * (u - p[first]) / (q[first] - p[first])
                    low, high = min(low, v), max(high, v)
            start = math.ceil(low / spacing - shift) if low <= high else 0
            end = math.floor(high / spacing - shift) if low <= high else -1
            while start + state[2] <= end:
                if count == len(out):
                    return count
                v = (start + state[2] + shift) * spacing
                out[count, first] = u
                out[count, second] = v
                out[count, axis] = a[axis] + tilt_first * (u - a[first]) + tilt_second * (v - a[second])
                count += 1
                state[2] += 1
            state[2] = 0
            state[1] += 1
        state[1] = 0
        state[0] += 1
    return count


@njit(cache=True, nogil=True)
def crc32c(data: AnyArray, start: int, end: int, tables: AnyArray) -> Any:
    """Return the CRC-32C of data[start:end], by `e57_pages.crc_tables`."""
    crc, i = np.uint32(0xFFFFFFFF), start
    while i + 8 <= end:
        low = crc ^ (
            np.uint32(data[i])
            | np.uint32(data[i + 1]) << np.uint32(8)
            | np.uint32(data[i + 2]) << np.uint32(16)
            | np.uint32(data[i + 3]) << np.uint32(24)
        )
        crc = (
            tables[7, low & np.uint32(255)]
            ^ tables[6, (low >> np.uint32(8)) & np.uint32(255)]
            ^ tables[5, (low >> np.uint32(16)) & np.uint32(255)]
            ^ tables[4, low >> np.uint32(24)]
            ^ tables[3, data[i + 4]]
            ^ tables[2, data[i + 5]]
            ^ tables[1, data[i + 6]]
            ^ tables[0, data[i + 7]]
        )
        i += 8
    while i < end:
        crc = (crc >> np.uint32(8)) ^ tables[0, (crc ^ np.uint32(data[i])) & np.uint32(255)]
        i += 1
    return crc ^ np.uint32(0xFFFFFFFF)


@njit(cache=True, nogil=True)
def first_broken_page(data: AnyArray, tables: AnyArray) -> int:
    """Return the first page of 1024 bytes in `data` whose last four are not its CRC-32C (big-endian), -1 for none."""
    for page in range(len(data) // 1024):
        end = page * 1024 + 1020
        stored = (
            np.uint32(data[end]) << np.uint32(24)
            | np.uint32(data[end + 1]) << np.uint32(16)
            | np.uint32(data[end + 2]) << np.uint32(8)
            | np.uint32(data[end + 3])
        )
        if crc32c(data, page * 1024, end, tables) != stored:
            return page
    return -1
