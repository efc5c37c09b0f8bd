"""A wall's face as polygons: its outline, openings and unseen areas, ready to be cut up.

Polygons are shapely's, in millimetres in the wall's frame. The outline is what the elevation gives, vertex for vertex.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Floats
from unfold.elevation.result import Edge, Opening, WallElevation
from unfold.room.frame import WallFrame

SLIVER_MM2 = 1e-6  # what two exact boundaries leave between them in double precision is far below this


@dataclass(frozen=True)
class WallFace:
    """One wall's elevation with its polygons."""

    wall: WallElevation

    @cached_property
    def outline(self) -> BaseGeometry:
        """The wall's visible face with its openings filled in."""
        return region(self.wall.outline_mm)

    @cached_property
    def openings(self) -> dict[str, BaseGeometry]:
        """Each opening's part of the outline, by id; openings that lie outside are left out."""
        clipped = {opening.id: region(opening.ring_mm).intersection(self.outline) for opening in self.wall.openings}
        return {name: shape for name, shape in clipped.items() if shape.area > SLIVER_MM2}

    @cached_property
    def all_openings(self) -> BaseGeometry:
        """All openings as one region."""
        return shapely.union_all(list(self.openings.values()))

    @cached_property
    def net(self) -> BaseGeometry:
        """The outline less the openings."""
        return self.outline.difference(self.all_openings)

    @cached_property
    def unseen(self) -> BaseGeometry:
        """What no measurement reached, less openings."""
        return shapely.union_all([region(ring) for ring in self.wall.unseen_mm]).intersection(self.net)

    @property
    def frame(self) -> WallFrame:
        """The wall's frame in scan coordinates, metres."""
        wall = self.wall
        radius = None if wall.radius_mm is None else wall.radius_mm / 1000.0
        return WallFrame(wall.origin_scan_m, wall.right, wall.up, wall.inward, radius)

    @property
    def length_mm(self) -> float:
        """How far the outline reaches along the wall."""
        return float(np.ptp(self.wall.outline_mm[:, 0]))

    def edge_points(self, edge: Edge) -> Floats:
        """The run of the outline that an edge names, (n, 2), in ring order."""
        count = len(self.wall.outline_mm)
        steps = (edge.last - edge.first) % count
        if steps == 0 and len(self.wall.edges) == 1:
            steps = count
        points: Floats = self.wall.outline_mm[(edge.first + np.arange(steps + 1)) % count]
        return points

    def opening(self, opening_id: str) -> Opening:
        """The opening of this id."""
        return next(opening for opening in self.wall.openings if opening.id == opening_id)


def region(ring_mm: Floats) -> BaseGeometry:
    """Make a valid region of a ring; where the ring crosses itself, what it surrounds by the even-odd rule."""
    if len(ring_mm) < 3:
        return Polygon()
    shape = Polygon(ring_mm)
    return polygons_of(shape if shape.is_valid else shapely.make_valid(shape))


def polygons_of(shape: BaseGeometry) -> BaseGeometry:
    """Keep the polygons of a geometry: where boundaries touch, points, lines and what only rounding left may stay."""
    parts = polygon_list(shape)
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def polygon_list(shape: BaseGeometry) -> list[Polygon]:
    """List the polygons of a geometry, without points, lines and what only rounding left."""
    if shape.geom_type == "Polygon":
        return [shape] if shape.area > SLIVER_MM2 else []
    if shape.geom_type in ("MultiPolygon", "GeometryCollection"):
        return [polygon for part in shape.geoms for polygon in polygon_list(part)]
    return []


def ring_points(ring: BaseGeometry) -> Floats:
    """A ring's points (n, 2), not repeated at the end."""
    points: Floats = np.asarray(ring.coords, dtype=float)[:-1, :2]
    return points


def box(left: float, low: float, right: float, high: float) -> Polygon:
    """An upright rectangle, counter-clockwise."""
    rectangle: Polygon = shapely.box(left, low, right, high)
    return rectangle
