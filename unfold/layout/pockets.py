"""Notches and cutouts of panels as room for smaller ones, where the cutter may go round corners.

A pocket is an upright rectangle within a panel's bounding rectangle that the panel leaves free. What is left of the
bounding rectangle is cut into boxes: on a sheet they take room, the pockets do not.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Polygon

from unfold.arrays import Bools, Floats, Ints

CELLS = 100  # along the longer side of the raster that pockets are looked for on
CLOSE_MM = 0.01  # how near a pocket's sides come to the panel
MOST_POCKETS = 4
LEAST_DEPTH_MM = 50.0  # shallower steps are a scribed edge's own shape
MICROMETRES = 1000
Box = tuple[float, float, float, float]  # left, low, right, top


def pockets_of(ring_mm: Floats, holes_mm: Sequence[Floats], least_mm: float) -> list[Box]:
    """Find a panel's largest pockets.

    Parameters
    ----------
    ring_mm, holes_mm : (n, 2) float64
        Outer ring and cutouts.
    least_mm : float
        Least longer side of a pocket: the shortest side of all parts. A part may reach out of an open pocket.

    Returns
    -------
    list of boxes
        From the lower left corner of the ring's bounds, the largest first. None touches the panel's inside.
    """
    low = ring_mm.min(axis=0)
    shape = Polygon(ring_mm - low, [hole - low for hole in holes_mm])
    width, height = (float(side) for side in np.ptp(ring_mm, axis=0))
    if not shape.is_valid or width * height - shape.area < least_mm * LEAST_DEPTH_MM:
        return []
    shapely.prepare(shape)
    x, y = (np.linspace(0.0, side, math.ceil(CELLS * side / max(width, height)) + 1) for side in (width, height))
    cells = shapely.box(x[None, :-1], y[:-1, None], x[None, 1:], y[1:, None])
    free = np.asarray(~shapely.intersects(shape, cells))
    pockets: list[Box] = []
    while free.any() and len(pockets) < MOST_POCKETS:
        left, bottom, right, top = _largest_rectangle(free)
        box = _grown(shape, (float(x[left]), float(y[bottom]), float(x[right]), float(y[top])), (width, height))
        sides = sorted((box[2] - box[0], box[3] - box[1]))
        if sides[0] < LEAST_DEPTH_MM or sides[1] < least_mm:
            break
        free[bottom:top, left:right] = False
        pockets.append(box)
    return pockets


def _largest_rectangle(free: Bools) -> tuple[int, int, int, int]:
    """The largest rectangle of free cells: first column and row, and those after the last; all 0 when none is free."""
    best, found = 0, (0, 0, 0, 0)
    heights = np.zeros(free.shape[1] + 1, np.int64)
    for row in range(len(free)):
        heights[:-1] = np.where(free[row], heights[:-1] + 1, 0)
        rising: list[tuple[int, int]] = []  # first column and height of the bars that may grow on
        for column, height in enumerate(heights.tolist()):
            first = column
            while rising and rising[-1][1] >= height:
                first, tall = rising.pop()
                if tall * (column - first) > best:
                    best, found = tall * (column - first), (first, row + 1 - tall, column, row + 1)
            rising.append((first, height))
    return found


def _grown(shape: Polygon, box: Box, size: tuple[float, float]) -> Box:
    """Move a free box's sides outward, one after the other, until they come close to the shape or reach the bounds."""
    sides = list(box)
    for side, end in enumerate((0.0, 0.0, *size)):
        near, far = sides[side], end
        sides[side] = end
        if _is_free(shape, sides):
            continue
        while abs(far - near) > CLOSE_MM:
            sides[side] = (near + far) / 2.0
            near, far = (sides[side], far) if _is_free(shape, sides) else (near, sides[side])
        sides[side] = near
    return sides[0], sides[1], sides[2], sides[3]


def _is_free(shape: Polygon, sides: Sequence[float]) -> bool:
    """Tell whether a box has no point inside the shape; they may touch."""
    return bool(shapely.relate_pattern(shape, shapely.box(*sides), "F********"))


def turned_pockets(pockets: Sequence[Box], height_mm: float) -> list[Box]:
    """The pockets of a panel that is turned a quarter counter-clockwise: (u, v) becomes (height - v, u)."""
    return [(height_mm - top, left, height_mm - low, right) for left, low, right, top in pockets]


def solid_boxes(pockets: Sequence[Box], extent_mm: tuple[float, float], size: Sequence[int], kerf_mm: float) -> Ints:
    """Cut what a panel's pockets leave of its bounding rectangle into boxes, in whole micrometres, kerf added.

    `extent_mm` is the panel's width and height, `size` the same in micrometres with the kerf. A part's own kerf lies on
    its right and upper side, so a pocket that has the panel on its left or below begins a kerf later. Returns (k, 4).
    """
    kerf = math.ceil(kerf_mm * MICROMETRES)
    free = []
    for box in pockets:
        sides = []
        for axis in (0, 1):
            low, high = box[axis], box[axis + 2]
            start = 0 if low <= 0.0 else math.ceil(low * MICROMETRES) + kerf
            end = int(size[axis]) if high >= extent_mm[axis] else math.floor(high * MICROMETRES)
            sides.append((start, end))
        (left, right), (low, top) = sides
        if left < right and low < top:
            free.append((left, low, right, top))
    places = sorted({0, int(size[0]), *(x for left, _, right, _ in free for x in (left, right))})
    boxes: list[tuple[int, int, int, int]] = []
    for left, right in pairwise(places):
        gaps = sorted((box[1], box[3]) for box in free if box[0] <= left and right <= box[2])
        low = 0
        for start, end in [*gaps, (int(size[1]), int(size[1]))]:
            if start > low:
                boxes.append((left, low, right, start))
            low = max(low, end)
    return np.array(_joined(boxes), np.int64).reshape(-1, 4)


def _joined(boxes: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    """Join boxes that stand side by side at the same height."""
    joined: list[tuple[int, int, int, int]] = []
    for box in boxes:
        match = next((n for n, one in enumerate(joined) if one[2] == box[0] and one[1::2] == box[1::2]), None)
        if match is None:
            joined.append(box)
        else:
            joined[match] = (joined[match][0], box[1], box[2], box[3])
    return joined
