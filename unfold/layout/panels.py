"""Cutting a wall's field into panels: true rings with cutouts, inside corners rounded, and what is left over.

Every square millimetre of a wall is accounted for: openings, gaps (edges, neighbours' cladding and clearances round
openings), joints, panels, and what stays unclad.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Floats
from unfold.layout.cutting_shapes import clearance_region, rounded_polygon, sharp_inside_corners
from unfold.layout.field import Field
from unfold.layout.mitre import MitredEdge
from unfold.layout.own_joints import OwnJoints
from unfold.layout.pattern import Pattern
from unfold.layout.result import Balance, Cutout, Mitre
from unfold.layout.wall_face import WallFace, polygon_list, polygons_of, ring_points
from unfold.settings.layout import LayoutSettings

LEAST_PANEL_WIDTH_MM = 10.0  # narrower pieces cannot be cut or held
LEAST_NOTCH_MM = 20.0  # shallower steps do not weaken a panel as a notch does


@dataclass(frozen=True, slots=True)
class PanelShape:
    """One panel's shape on the wall."""

    row: int
    column: int
    shape: Polygon
    notch_corners: Floats  # (k, 2) inside corners of its outer ring, before they were rounded
    sharp_corners: Floats  # (k, 2) inside corners that are too close to others to be rounded
    mitres: tuple[Mitre, ...] = ()

    @property
    def ring(self) -> Floats:
        """Its outer ring (n, 2), counter-clockwise."""
        return ring_points(shapely.geometry.polygon.orient(self.shape).exterior)

    @property
    def holes(self) -> tuple[Floats, ...]:
        """Its cutouts' rings, (n, 2) each."""
        return tuple(ring_points(hole) for hole in self.shape.interiors)


@dataclass(frozen=True, slots=True)
class Ground:
    """Where a wall's panels may lie: the field less the openings with their clearances."""

    face: WallFace
    region: BaseGeometry
    room: BaseGeometry  # the field less the openings themselves: where a rounded corner may reach
    kept_clear: Mapping[str, BaseGeometry]  # openings with their clearances, by id
    corners: Floats  # (k, 2) where the field's rounded inside corners were sharp
    mitres: tuple[MitredEdge, ...] = ()


@dataclass(frozen=True, slots=True)
class Cut:
    """A wall cut into panels."""

    panels: tuple[PanelShape, ...]
    dropped: BaseGeometry  # slivers too narrow for a panel
    balance: Balance


def lay_ground(face: WallFace, field: Field, settings: LayoutSettings) -> Ground:
    """Take the openings with their clearances off a field."""
    kept_clear = {name: clearance_region(face.opening(name), settings) for name in face.openings}
    region = polygons_of(field.region.difference(shapely.union_all(list(kept_clear.values()))))
    room = polygons_of(field.region.difference(face.all_openings))
    return Ground(face, region, room, kept_clear, field.corners, field.mitres)


def cut_panels(ground: Ground, pattern: Pattern | OwnJoints, settings: LayoutSettings) -> Cut:
    """Cut a wall's ground along a pattern of joints."""
    panels: list[PanelShape] = []
    dropped: list[Polygon] = []
    for row, column, cell in sorted(pattern.cells(), key=lambda entry: entry[:2]):
        pieces = polygon_list(ground.region.intersection(cell))
        for piece in sorted(pieces, key=lambda piece: (piece.bounds[0], piece.bounds[1])):
            if piece.buffer(-LEAST_PANEL_WIDTH_MM / 2.0, quad_segs=2).is_empty:
                dropped.append(piece)
            else:
                shape, sharp = _rounded(piece, ground.room, cell, settings.cutting.inside_radius)
                notches = _notch_corners(piece, ground.corners, settings.cutting.inside_radius)
                edges = [(one, one.on(shape)) for one in ground.mitres]
                mitres = tuple(Mitre(one.neighbour, one.bevel_deg, on) for one, on in edges if on is not None)
                panels.append(PanelShape(row, column, shape, notches, sharp, mitres))
    return Cut(tuple(panels), shapely.union_all(dropped), _balance(ground, pattern, panels))


def cutouts_of(panel: PanelShape, face: WallFace) -> tuple[Cutout, ...]:
    """A panel's holes, clockwise, each named after the opening that it is for."""
    cutouts = []
    for hole in panel.shape.interiors:
        inside = Polygon(hole)
        name = max(face.openings, key=lambda name: face.openings[name].intersection(inside).area)
        ring = ring_points(shapely.geometry.polygon.orient(inside, sign=-1.0).exterior)
        cutouts.append(Cutout(name, ring))
    return tuple(sorted(cutouts, key=lambda cutout: cutout.of))


def unclad_balance(face: WallFace) -> Balance:
    """The balance of a wall that gets no panels."""
    return Balance(face.outline.area, 0.0, 0.0, 0.0, face.all_openings.area, face.net.area)


def _rounded(piece: Polygon, room: BaseGeometry, cell: BaseGeometry, radius_mm: float) -> tuple[Polygon, Floats]:
    """Round a panel's inside corners within its cell and the field; also those (k, 2) that stay sharp and are deep."""
    if not piece.interiors and not len(sharp_inside_corners(piece)):
        return piece, np.zeros((0, 2))
    rounded, sharp = rounded_polygon(piece, radius_mm, room.intersection(cell))
    hull = piece.convex_hull.exterior
    deep = np.array([shapely.Point(corner).distance(hull) > radius_mm for corner in sharp], np.bool_)
    return rounded, sharp[deep]


def _notch_corners(piece: Polygon, field_corners: Floats, radius_mm: float) -> Floats:
    """Inside corners of a panel's outer ring (k, 2) that are notches, no ripples of a scribed edge.

    Those of the field are rounded already: they lie up to (sqrt(2) - 1) r inside the ring, or a little more.
    """
    corners = np.concatenate([sharp_inside_corners(piece), field_corners])
    points = [shapely.Point(corner) for corner in corners]
    hull, ring = piece.convex_hull.exterior, piece.exterior
    kept = [point.distance(hull) >= LEAST_NOTCH_MM and point.distance(ring) <= radius_mm for point in points]
    notches: Floats = corners[np.array(kept, np.bool_)]
    return notches


def _balance(ground: Ground, pattern: Pattern | OwnJoints, panels: list[PanelShape]) -> Balance:
    """Add up each kind of area from its own region; that they make up the wall is for the tests to find."""
    face = ground.face
    all_panels = shapely.union_all([panel.shape for panel in panels])
    joint_region = pattern.joint_region()
    on_wall = ground.region.intersection(face.outline) if ground.mitres else ground.region
    joints = on_wall.intersection(joint_region).difference(all_panels)
    unclad = on_wall.difference(joint_region).difference(all_panels)  # slivers
    beyond = sum(panel.shape.difference(face.outline).area for panel in panels) if ground.mitres else 0.0
    gaps = face.net.difference(ground.region).difference(all_panels)
    return Balance(
        wall=face.outline.area,
        panels=sum(panel.shape.area for panel in panels) - beyond,
        joints=joints.area,
        gaps=gaps.area,
        openings=face.all_openings.area,
        unclad=unclad.area,
        beyond=beyond,
    )
