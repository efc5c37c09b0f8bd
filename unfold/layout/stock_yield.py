"""What becomes of a sheet: the order of the saw's cuts, and the largest rest worth keeping. Lengths in millimetres.

Boxes are rows of left, bottom, right, top on the sheet, (n, 4), apart from each other by at least the kerf.
"""

import numpy as np

from unfold.arrays import Floats
from unfold.layout.nesting_kernels import take_free

MICROMETRES = 1000
SAME_MM = 0.01
Cut = tuple[tuple[float, float], tuple[float, float]]


def saw_cuts(boxes_mm: Floats, region_mm: Floats, kerf_mm: float) -> list[Cut] | None:
    """List cuts from edge to edge, in order, that part all boxes from each other and from the rest of a region.

    `region_mm` (4,) is the trimmed sheet. A cut is the middle line of the saw's path; each runs through the piece that
    the cuts before it left. Returns None when the boxes do not come apart this way.
    """
    cuts: list[Cut] = []
    pending = [(np.asarray(region_mm, dtype=float), np.asarray(boxes_mm, dtype=float).reshape(-1, 4))]
    while pending:
        region, boxes = pending.pop()
        if len(boxes) == 0:
            continue
        parted = _parted(boxes, region, kerf_mm)
        if parted is None:
            if len(boxes) > 1:
                return None
            continue
        cut, pieces = parted
        cuts.append(cut)
        pending += pieces[::-1]
    return cuts


def _parted(boxes: Floats, region: Floats, kerf: float) -> tuple[Cut, list[tuple[Floats, Floats]]] | None:
    """Find one cut through a region beside boxes, a shortest one; and the two pieces with their boxes."""
    found: list[tuple[float, float, int]] = []
    for axis in (0, 1):
        waste = boxes[:, axis].min() - region[axis]
        low = [boxes[:, axis].min() - kerf] if waste > SAME_MM else []
        for at in np.unique([*boxes[:, axis + 2], *low]):
            before = boxes[:, axis + 2] <= at + SAME_MM
            clear = boxes[:, axis] >= at + kerf - SAME_MM
            if np.all(before | clear) and at + SAME_MM < region[axis + 2]:
                found.append((float(region[3 - axis] - region[1 - axis]), float(at), axis))
    if not found:
        return None
    _, at, axis = min(found)
    first, second = region.copy(), region.copy()
    first[axis + 2], second[axis] = at, at + kerf
    middle = at + kerf / 2.0  # over the edge by less than a kerf where less than a kerf is waste
    ends = (float(region[1 - axis]), float(region[3 - axis]))
    cut = ((middle, ends[0]), (middle, ends[1])) if axis == 0 else ((ends[0], middle), (ends[1], middle))
    before = boxes[:, axis + 2] <= at + SAME_MM
    return cut, [(first, boxes[before]), (second, boxes[~before])]


def largest_rest_mm(boxes_mm: Floats, region_mm: Floats, kerf_mm: float) -> tuple[float, float] | None:
    """Return the sides of the largest rectangle left in a region, a kerf away from all boxes; None when none is."""
    region = np.round(np.asarray(region_mm, dtype=float) * MICROMETRES).astype(np.int64)
    free = np.empty((8 * len(boxes_mm) + 16, 4), np.int64)
    free[0] = region[0], region[1], region[2] - region[0], region[3] - region[1]
    count = 1
    for left, bottom, right, top in np.asarray(boxes_mm, dtype=float).reshape(-1, 4):
        grown = np.round(np.array([left - kerf_mm, bottom - kerf_mm, right + kerf_mm, top + kerf_mm]) * MICROMETRES)
        x, y, x1, y1 = (int(value) for value in grown)
        count = take_free(free, count, x, y, x1 - x, y1 - y)
    if count == 0:
        return None
    sides = free[:count, 2:]
    best = sides[np.argmax(sides[:, 0].astype(float) * sides[:, 1])]
    return float(best[0]) / MICROMETRES, float(best[1]) / MICROMETRES
