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
    """Widths near the bottom, halfway and near the top of both sides: the outermost crossings of a level line."""
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


def _upright_span(wall: WallElevation) -> tuple[float, float]:
    """The v over which both upright sides of a wall stand: under the low end of a sloped ceiling, above a high step."""
    lows, highs = [], []
    middle = 0.5 * float(wall.outline_mm[:, 0].min() + wall.outline_mm[:, 0].max())
    for leftward in (True, False):
        sides = [
            edge_points(wall, edge) for edge in wall.edges if edge.kind in ("inside_corner", "outside_corner", "end")
        ]
        v = [points[:, 1] for points in sides if (points[:, 0].mean() < middle) == leftward]
        if v:
            lows.append(min(float(part.min()) for part in v))
            highs.append(max(float(part.max()) for part in v))
    whole = float(wall.outline_mm[:, 1].min()), float(wall.outline_mm[:, 1].max())
    span = max(lows, default=whole[0]), min(highs, default=whole[1])
    return span if span[1] > span[0] else whole


def edge_points(wall: WallElevation, edge: Edge) -> Floats:
    """The outline's points (n, 2) of one edge, both ends included."""
    count = len(wall.outline_mm)
    points: Floats = wall.outline_mm[(edge.first + np.arange((edge.last - edge.first) % count + 1)) % count]
    return points


def _sizes(wall: WallElevation, axis: int, names: tuple[str, str, str]) -> tuple[Size, ...]:
    low, high = float(wall.outline_mm[:, axis].min()), float(wall.outline_mm[:, axis].max())
    if axis == 1:
        low, high = _upright_span(wall)
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
