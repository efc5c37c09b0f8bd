"""The way in, and each panel's place between floor and ceiling, from the settings and the scanned openings."""

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Elevations
from unfold.layout.handling import Place
from unfold.layout.passage import Passage
from unfold.layout.room_depth import depth_in_front_mm
from unfold.layout.room_in_front import ceiling_before, least_play_beside_mm
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import LayoutSettings

UPRIGHTS = 48  # places along a panel where its free height is taken


def way_in(elevations: Elevations, settings: LayoutSettings) -> tuple[Passage, ...] | None:
    """Return the declared route, or else the largest scanned door; None when neither is known."""
    if settings.route:
        return tuple(Passage(one.name, one.width, one.height, one.next_width) for one in settings.route)
    doors = []
    for wall in elevations.walls:
        for opening in wall.openings:
            if opening.kind == "door":
                ring = opening.ring_mm if opening.clear_ring_mm is None else opening.clear_ring_mm
                width, height = np.ptp(ring, axis=0)
                left, right = float(ring[:, 0].min()), float(ring[:, 0].max())
                depth = depth_in_front_mm(elevations, wall, left, right)
                doors.append(Passage(opening.id, float(width), float(height), depth_behind_mm=depth))
    if not doors:
        return None
    return (max(doors, key=lambda door: (door.width_mm * door.height_mm, door.name)),)


def place_of(ring_mm: Floats, face: WallFace, elevations: Elevations | None = None) -> Place:
    """Return what is known of a panel's place: the least free heights under and over it, and the room before it.

    The heights are taken upright by upright, for a scribed panel follows a sloping floor; None where no floor or
    ceiling was measured. Without `elevations` nothing is known of the room.
    """
    left, right = float(ring_mm[:, 0].min()), float(ring_mm[:, 0].max())
    u = left + (right - left) * (np.arange(UPRIGHTS) + 0.5) / UPRIGHTS
    low, high = _reach_at(ring_mm, u)
    floor, ceiling = _edge_at(face, "floor", u), _edge_at(face, "ceiling", u)
    below, above = _least(low - floor), _least(ceiling - high)
    if elevations is None or below is None or above is None or face.wall.radius_mm is not None:
        return Place(below, above)
    faces, foot = [WallFace(wall) for wall in elevations.walls], float(np.nanmax(floor))
    reach = float(np.ptp(ring_mm[:, 1]))
    over = ceiling_before(faces, face, (left + right) / 2.0, reach)
    return Place(below, above, over, least_play_beside_mm(face, faces, ring_mm, foot))


def _least(free: Floats) -> float | None:
    known = free[np.isfinite(free)]
    return max(float(known.min()), 0.0) if len(known) else None


def _reach_at(ring_mm: Floats, u: Floats) -> tuple[Floats, Floats]:
    """The lowest and the highest v of a ring at each u inside it, (n,) each."""
    (u1, v1), (u2, v2) = ring_mm.T, np.roll(ring_mm, -1, axis=0).T
    crosses = (u1 <= u[:, None]) != (u2 <= u[:, None])
    run = np.where(u2 == u1, 1.0, u2 - u1)
    v = v1 + (u[:, None] - u1) / run * (v2 - v1)
    return np.where(crosses, v, np.inf).min(axis=1), np.where(crosses, v, -np.inf).max(axis=1)


def _edge_at(face: WallFace, kind: str, u: Floats) -> Floats:
    """The v of a kind of edge at each u: of floors the highest, of ceilings the lowest; NaN where there is none."""
    found = np.full(len(u), np.nan)
    for edge in face.wall.edges:
        if edge.kind == kind:
            points = face.edge_points(edge)
            points = points[np.argsort(points[:, 0], kind="stable")]
            v = np.interp(u, points[:, 0], points[:, 1], left=np.nan, right=np.nan)
            found = np.fmax(found, v) if kind == "floor" else np.fmin(found, v)
    return found
