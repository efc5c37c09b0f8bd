"""The way in, and each panel's place between floor and ceiling, from the settings and the scanned openings."""

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Elevations
from unfold.layout.handling import Place
from unfold.layout.passage import Passage
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import LayoutSettings


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
                doors.append(Passage(opening.id, float(width), float(height)))
    if not doors:
        return None
    return (max(doors, key=lambda door: (door.width_mm * door.height_mm, door.name)),)


def place_of(ring_mm: Floats, face: WallFace) -> Place:
    """Return the free heights under and over a panel's final place; None where no floor or ceiling was measured."""
    left, low = ring_mm.min(axis=0)
    right, high = ring_mm.max(axis=0)
    floor, ceiling = _edge_heights(face, "floor", left, right), _edge_heights(face, "ceiling", left, right)
    below = None if floor is None else max(float(low - floor.max()), 0.0)
    above = None if ceiling is None else max(float(ceiling.min() - high), 0.0)
    return Place(below, above)


def _edge_heights(face: WallFace, kind: str, left: float, right: float) -> Floats | None:
    """Heights of a kind of edge above or below a panel, at its points and at the panel's sides."""
    heights = []
    for edge in face.wall.edges:
        if edge.kind == kind:
            points = face.edge_points(edge)
            points = points[np.argsort(points[:, 0], kind="stable")]
            if points[0, 0] < right and points[-1, 0] > left:
                inside = points[(points[:, 0] >= left) & (points[:, 0] <= right), 1]
                sides = np.interp(np.clip([left, right], points[0, 0], points[-1, 0]), points[:, 0], points[:, 1])
                heights.append(np.concatenate([inside, sides]))
    return np.concatenate(heights) if heights else None
