"""Shapes that a cutter can make: clearances around openings, and inside corners rounded to the cutter's radius."""

import math

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from unfold.arrays import Floats, Ints
from unfold.elevation.result import Opening
from unfold.layout.wall_face import region, ring_points
from unfold.settings.layout import LayoutSettings

CORNER_DEG = 20.0  # sharper turns are corners; gentler ones are a scribed edge's own shape
ARC_ERROR_MM = 0.005  # largest distance of a rounded corner's chords from the true arc
_STRAY_MM = 1e-9  # of a fillet outside its room, area over length: rounding alone; a sliver of 1e-6 mm2 is 0.3 um wide
QUARTER_PIECES = 32  # chords of a clearance's corner fall short by 0.03 % of it


def clearance_region(opening: Opening, settings: LayoutSettings) -> BaseGeometry:
    """Return an opening grown by its clearance: what no panel may cover.

    Around boxes and pipes the clearance holds all round. Where the cutter's radius is no larger than the clearance the
    corners are round, at exactly the clearance from the box's own; otherwise the sides move out so far that the rounded
    corner still keeps it. Doors, windows and niches keep straight sides at exactly their gap, as long as the rounded
    corners keep half of it.
    """
    shape, radius = region(opening.ring_mm), settings.cutting.inside_radius
    if opening.kind != "service":
        gap = settings.gaps.opening
        return shape.buffer(max(gap, _side_for_corner(gap / 2.0, radius)), join_style="mitre", mitre_limit=3.0)
    clearance = settings.gaps.box
    if opening.shape == "circle" or radius <= clearance:
        return shape.buffer(clearance, quad_segs=QUARTER_PIECES)
    return shape.buffer(_side_for_corner(clearance, radius), join_style="mitre", mitre_limit=3.0)


def _side_for_corner(clearance: float, radius: float) -> float:
    """How far the sides of a right angle lie from it when the rounded corner between them keeps a clearance.

    With the sides at d the arc comes within d sqrt(2) - r (sqrt(2) - 1) of the angle's corner.
    """
    return radius - (radius - clearance) * math.sqrt(0.5)


def round_inside_corners(ring: Floats, radius_mm: float, room: BaseGeometry | None = None) -> tuple[Floats, Floats]:
    """Round a ring's inside corners to a radius.

    Parameters
    ----------
    ring : (n, 2) float64
        A ring with the material on its left: counter-clockwise for a panel, clockwise for a cutout.
    radius_mm : float
        Radius of the corners, zero or more.
    room : polygon or None
        Where material may be left; a corner whose rounding would reach out of it stays sharp.

    Returns
    -------
    (m, 2) float64
        The ring with arcs, sampled to 0.005 mm.
    (k, 2) float64
        Inside corners that stay sharp, because their sides are too short for the radius or the room too narrow.
    """
    corners, turns = inside_corners(ring)
    if radius_mm <= 0.0 or not len(corners):
        return ring, ring[corners] if radius_mm > 0.0 else np.zeros((0, 2))
    paths: dict[int, tuple[int, int, Floats]] = {}
    sharp = []
    for corner, turn, free in zip(corners, turns, _room_beside(ring, corners), strict=True):
        tangent = radius_mm * math.tan(turn / 2.0)
        path = _arc(ring, int(corner), tangent, radius_mm) if tangent <= free else None
        if path is None or not _within(room, ring, path):
            sharp.append(ring[corner])
        else:
            paths[int(corner)] = path
    return _with_arcs(ring, paths), np.array(sharp).reshape(-1, 2)


def _within(room: BaseGeometry | None, ring: Floats, path: tuple[int, int, Floats]) -> bool:
    """Tell whether the material that an arc leaves in its corner stays within the room."""
    if room is None:
        return True
    last, first, arc = path
    corner = ring[np.arange(first - 1, last, -1) % len(ring)]
    left = Polygon(np.concatenate([arc, corner]))
    return bool(left.is_valid and left.difference(room).area <= _STRAY_MM * left.length)


def rounded_polygon(shape: Polygon, radius_mm: float, room: BaseGeometry | None = None) -> tuple[Polygon, Floats]:
    """Round a polygon's inside corners, holes too; also returns those (k, 2) that stay sharp for want of room."""
    oriented = orient(shape)
    rings = [
        round_inside_corners(ring_points(ring), radius_mm, room) for ring in (oriented.exterior, *oriented.interiors)
    ]
    rounded = Polygon(rings[0][0], [ring for ring, _ in rings[1:]])
    return rounded if rounded.is_valid else oriented, np.concatenate([corners for _, corners in rings])


def sharp_inside_corners(shape: Polygon) -> Floats:
    """Sharp inside corners of a polygon's outer ring, (k, 2)."""
    ring = ring_points(orient(shape).exterior)
    corners: Floats = ring[inside_corners(ring)[0]]
    return corners


def inside_corners(ring: Floats) -> tuple[Ints, Floats]:
    """Indices of a ring's sharp right turns, and the angles turned in radians; material is on the left."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, np.einsum("ij,ij->i", before, after))
    found = np.flatnonzero(turn < -math.radians(CORNER_DEG))
    return found, -turn[found]


def _room_beside(ring: Floats, corners: Ints) -> Floats:
    """How far an arc may reach along the ring on either side of each inside corner, millimetres."""
    steps = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    along = np.r_[0.0, np.cumsum(steps)]
    length = along[-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], np.einsum("ij,ij->i", before, after))
    sharp = np.flatnonzero(np.abs(turn) > math.radians(CORNER_DEG))
    room = []
    for corner in corners:
        distance = (along[sharp] - along[corner]) % length
        is_inside = np.isin(sharp, corners)
        ahead = np.where(distance > 0.0, distance * np.where(is_inside, 0.5, 1.0), length / 2.0)
        back = np.where(distance > 0.0, (length - distance) * np.where(is_inside, 0.5, 1.0), length / 2.0)
        room.append(min(float(ahead.min()), float(back.min())))
    return np.array(room)


def _arc(ring: Floats, corner: int, tangent: float, radius: float) -> tuple[int, int, Floats] | None:
    """The arc in place of a corner: the last vertex kept before it, the first kept after it, and its points.

    Vertices nearer than the tangent are dropped: a scribed side may have some. None where that makes the corner vanish.
    """
    point, count = ring[corner], len(ring)
    last = first = corner
    while np.hypot(*(ring[(last - 1) % count] - point)) < tangent:
        last -= 1
    while np.hypot(*(ring[(first + 1) % count] - point)) < tangent:
        first += 1
    before, after = ring[(last - 1) % count] - point, ring[(first + 1) % count] - point
    before, after = before / np.hypot(*before), after / np.hypot(*after)
    turn = math.pi - math.acos(float(np.clip(np.dot(before, after), -1.0, 1.0)))
    if not math.radians(CORNER_DEG) / 2.0 < turn < math.radians(175.0):
        return None
    start, end = point + before * radius * math.tan(turn / 2.0), point + after * radius * math.tan(turn / 2.0)
    middle = before + after
    centre = point + middle / np.hypot(*middle) * radius / math.cos(turn / 2.0)
    pieces = max(2, math.ceil(turn / (2.0 * math.acos(1.0 - min(ARC_ERROR_MM / radius, 1.0)))))
    angle = math.atan2(*(start - centre)[::-1]) - np.linspace(0.0, turn, pieces + 1)
    points = centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points[0], points[-1] = start, end
    return last - 1, first + 1, points


def _with_arcs(ring: Floats, paths: dict[int, tuple[int, int, Floats]]) -> Floats:
    count = len(ring)
    dropped = {index % count for last, first, _ in paths.values() for index in range(last + 1, first)}
    parts = []
    for index in range(count):
        if index in paths:
            parts.append(paths[index][2])
        elif index not in dropped:
            parts.append(ring[index : index + 1])
    return np.concatenate(parts)


def narrowest_mm(shape: BaseGeometry, limit_mm: float) -> float | None:
    """Return the width of a shape's narrowest part to 1 mm, or None when no part is narrower than the limit.

    A part is narrower than w when a disc of that diameter, rolled about inside the shape, leaves out a piece of it that
    is larger than the disc; the small pieces left out in sharp corners are not.
    """
    coarse = shape.simplify(0.5)
    if not _leaves_out(coarse, limit_mm):
        return None
    low, high = 0.0, limit_mm
    while high - low > 1.0:
        middle = (low + high) / 2.0
        low, high = (low, middle) if _leaves_out(coarse, middle) else (middle, high)
    return low


def _leaves_out(shape: BaseGeometry, width: float) -> bool:
    rolled = shape.buffer(-width / 2.0, quad_segs=2).buffer(width / 2.0 + 0.01, quad_segs=4)
    left_out = shape.difference(rolled)
    return any(piece.area > width * width for piece in getattr(left_out, "geoms", [left_out]))
