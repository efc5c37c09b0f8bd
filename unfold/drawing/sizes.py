"""Widths and heights of a wall, read off its scribed outline at three places each, with their uncertainty."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Edge, WallElevation
from unfold.quantity import Quantity, combine

INSET_MM = 100.0  # how far from the ends the outer readings are taken, so that a corner's rounding does not count
INSET_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Size:
    """One width or height: straight between two points of the outline."""

    where: str  # "bottom", "middle", "top" of a width; "left", "middle", "right" of a height
    ends_mm: Floats  # (2, 2) of [u, v]
    length_mm: Quantity
    to_scan_end: bool  # one side is where the scan stopped, not where the wall does


def wall_widths(wall: WallElevation) -> tuple[Size, ...]:
    """Widths near the bottom, at half height and near the top: the outermost crossings of a level line."""
    return _sizes(wall, axis=1, names=("bottom", "middle", "top"))


def wall_heights(wall: WallElevation) -> tuple[Size, ...]:
    """Heights near the left end, in the middle and near the right end: the outermost crossings of an upright line."""
    return _sizes(wall, axis=0, names=("left", "middle", "right"))


def crossings(outline_mm: Floats, axis: int, at_mm: float) -> tuple[Floats, Floats]:
    """Where a ring crosses the line `coordinate[axis] = at_mm`.

    Returns the crossings' other coordinate, sorted, and the index of the ring's segment that each lies on; shapes (k,).
    """
    here = outline_mm[:, axis] - at_mm
    there = np.roll(here, -1)
    index = np.flatnonzero((here < 0.0) != (there < 0.0))
    share = here[index] / (here[index] - there[index])
    other = outline_mm[:, 1 - axis]
    found = other[index] + share * (np.roll(other, -1)[index] - other[index])
    order = np.argsort(found)
    return found[order], index[order].astype(float)


def edge_at(wall: WallElevation, segment: int) -> Edge | None:
    """The edge of the outline that a segment (outline[segment] to the next point) belongs to."""
    count = len(wall.outline_mm)
    for edge in wall.edges:
        if (segment - edge.first) % count < (edge.last - edge.first) % count:
            return edge
    return None


def _sizes(wall: WallElevation, axis: int, names: tuple[str, str, str]) -> tuple[Size, ...]:
    low, high = float(wall.outline_mm[:, axis].min()), float(wall.outline_mm[:, axis].max())
    inset = min(INSET_MM, INSET_SHARE * (high - low))
    places = (low + inset, 0.5 * (low + high), high - inset)
    found = (size_at(wall, axis, at, name) for at, name in zip(places, names, strict=True))
    return tuple(size for size in found if size is not None)


def size_at(wall: WallElevation, axis: int, at_mm: float, name: str) -> Size | None:
    """The height at u = at_mm (axis 0), or the width at v = at_mm (axis 1); None where the outline is not there."""
    found, segments = crossings(wall.outline_mm, axis, at_mm)
    if len(found) < 2:
        return None
    edges = [edge_at(wall, int(segments[end])) for end in (0, -1)]
    uncertainty = combine(edge.standard_uncertainty_mm for edge in edges if edge is not None)
    ends = np.array([(found[0], at_mm), (found[-1], at_mm)])
    return Size(
        name,
        ends if axis == 1 else ends[:, ::-1].copy(),
        Quantity(float(found[-1] - found[0]), uncertainty),
        any(edge is None or edge.kind == "end" for edge in edges),
    )
