"""How deep the room is in front of a place on a wall, in plan, from the unfolded walls."""

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Elevations, WallElevation

RAYS = 5
LEVEL_SCAN_M = 1e-9


def depth_in_front_mm(elevations: Elevations, wall: WallElevation, left_mm: float, right_mm: float) -> float | None:
    """Return the least distance from a strip of a wall to the walls opposite, square to the wall.

    Round walls count as the chords of their outlines. None when some ray meets no wall: what lies there was not seen.
    """
    across = np.column_stack([wall.right, wall.inward])
    segments = [_plan_ends(other) @ across for other in elevations.walls if other.id != wall.id]
    origin = wall.origin_scan_m @ across
    least = np.inf
    for u in np.linspace(left_mm, right_mm, RAYS):
        found = [_met(segment - origin, u / 1000.0) for segment in segments]
        nearest = min((distance for distance in found if distance is not None), default=None)
        if nearest is None:
            return None
        least = min(least, nearest)
    return 1000.0 * float(least)


def _plan_ends(wall: WallElevation) -> Floats:
    """The wall's foot in scan coordinates, end to end, (2, 3) m."""
    left, right = wall.outline_mm[:, 0].min() / 1000.0, wall.outline_mm[:, 0].max() / 1000.0
    if wall.radius_mm is None:
        return np.array([wall.origin_scan_m + u * wall.right for u in (left, right)])
    radius = wall.radius_mm / 1000.0
    angles = np.array([left, right]) / radius
    out = [radius * (np.sin(a) * wall.right + (1.0 - np.cos(a)) * wall.inward) for a in angles]
    return np.array([wall.origin_scan_m + shift for shift in out])


def _met(segment: Floats, u: float) -> float | None:
    """Distance along the ray at u, square to the wall, to a segment (2, 2) of u and depth; None when it misses it."""
    (a, depth_a), (b, depth_b) = segment
    if abs(b - a) < LEVEL_SCAN_M or not min(a, b) <= u <= max(a, b):
        return None
    depth = depth_a + (depth_b - depth_a) * (u - a) / (b - a)
    return float(depth) if depth > LEVEL_SCAN_M else None
