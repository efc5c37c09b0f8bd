"""Sides of an opening that something hides: how far out they may be.

A wardrobe before a jamb leaves rays that go through the opening up to the wardrobe's edge, and nothing beyond: the jamb
is somewhere behind it. The opening keeps the side that was seen last, and its uncertainty says how far that may be off.
"""

from dataclasses import replace

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.evidence import BEHIND, WALL, Evidence
from unfold.elevation.outline import Outline
from unfold.elevation.result import Opening
from unfold.quantity import combine

LEAST_STRIP_MM = 40.0  # narrower strips of wall may be rims
LEAST_HIDDEN_MM = 80.0  # narrower strips are rims and boards
MIDDLE = 0.7  # of a side's length that is looked at


def with_hidden_sides(opening: Opening, evidence: Evidence, outline_mm: Floats) -> Opening:
    """Widen a rectangle's uncertainty by what nobody saw beyond its sides; outline_mm (n, 2) is the wall's."""
    if opening.shape != "rectangle":
        return opening
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    left, bottom, right, top = hidden_beyond_mm(opening.ring_mm, evidence, (*low, *high))
    # a side is anywhere on its hidden stretch alike, and was put at the near end of it
    widened = combine([opening.standard_uncertainty_mm, max(np.hypot(left, right), np.hypot(bottom, top)) / np.sqrt(3)])
    return replace(opening, standard_uncertainty_mm=widened)


def cut_off(opening: Opening, evidence: Evidence, outline: Outline) -> bool:
    """Whether nothing was seen from an opening's side up to where the wall just ends: it ended there for want of wall.

    Such a side is at no known place: the rest of the opening, and of the wall, may lie beyond.
    """
    low, high = outline.ring.min(axis=0), outline.ring.max(axis=0)
    left, _, right, _ = hidden_beyond_mm(opening.ring_mm, evidence, (low[0], low[1], high[0], high[1]))
    middle = float(low[0] + high[0]) / 2
    free = [outline.ring[edge.first][0] < middle for edge in outline.edges if edge.kind == "end"]
    gaps = opening.ring_mm[:, 0].min() - low[0], high[0] - opening.ring_mm[:, 0].max()
    return bool(
        (True in free and gaps[0] < left + LEAST_STRIP_MM) or (False in free and gaps[1] < right + LEAST_STRIP_MM)
    )


def hidden_beyond_mm(
    ring_mm: Floats, evidence: Evidence, within: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    """Over how many millimetres nothing was seen beyond the left, lower, right and upper side of a ring (n, 2).

    `within` is the wall's least u and v and its most: beyond those there is nothing to see.
    """
    grid = evidence.grid
    corner = np.array([grid.u0_mm, grid.v0_mm]) - grid.cell_mm / 2
    edges = [np.concatenate([ring_mm.min(axis=0), ring_mm.max(axis=0)]), np.array(within)]
    box, wall = ((edge - np.tile(corner, 2)) / grid.cell_mm for edge in edges)
    # what is not the wall's own surface proves no side either: a board, or a leaf that the rough surface sank into
    hidden = ((evidence.kind != WALL) & (evidence.kind != BEHIND)) | evidence.doubtful
    across = _stretches(hidden, (box[1], box[3]), (box[0], box[2]), (wall[0], wall[2]))
    up = _stretches(hidden.T, (box[0], box[2]), (box[1], box[3]), (wall[1], wall[3]))
    mm = [grid.cell_mm * cells for cells in (across[0], up[0], across[1], up[1])]
    left, bottom, right, top = (float(value) if value > LEAST_HIDDEN_MM else 0.0 for value in mm)
    return left, bottom, right, top


def _stretches(
    hidden: Bools, along: tuple[float, float], sides: tuple[float, float], wall: tuple[float, float]
) -> tuple[float, float]:
    """Median stretches of hidden cells before and after the columns `sides`, over the middle of the rows `along`."""
    middle, half = sum(along) / 2, MIDDLE * (along[1] - along[0]) / 2
    rows = hidden[max(int(middle - half), 0) : int(middle + half) + 1]
    first, last = max(round(wall[0]), 0), min(round(wall[1]), hidden.shape[1])
    before = rows[:, first : max(round(sides[0]), first)][:, ::-1]
    after = rows[:, min(round(sides[1]), last) : last]
    return _run(before), _run(after)


def _run(rows: Bools) -> float:
    """Median length of the hidden run at the beginning of the rows."""
    if rows.size == 0:
        return 0.0
    return float(np.median(np.where(rows.all(axis=1), rows.shape[1], np.argmin(rows, axis=1))))
