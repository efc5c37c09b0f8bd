"""Mitred outside corners: both walls' panels run on to where their finished faces meet, bevelled at the back.

Panels of one thickness meet in a plane that halves the corner, whatever their beds: it holds the line where the two
faces meet and the one where the two backs do. The bevel is the angle between that plane and the panel's normal, half of
what the wall turns by: 45 degrees at a square corner. The joint is as wide as the gap at outside corners, square to
that plane.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Floats
from unfold.elevation.result import Edge
from unfold.layout.finished_face import FinishedFace
from unfold.layout.parallel import without_repeats
from unfold.layout.wall_face import WallFace, box, polygons_of
from unfold.settings.layout import LayoutSettings

LEAST_TURN_DEG, MOST_TURN_DEG = 20.0, 140.0  # gentler corners need no mitre, sharper ones would leave a knife's edge
FAR_MM = 1e5
NEAR_MM = 1.0  # the strip beside the edge whose reach up the wall the panel keeps beyond it
ON_LINE_MM = 0.1


@dataclass(frozen=True, slots=True)
class MitredEdge:
    """Where a wall's panels end in a mitre: the line of their faces' edges, (n, 2) in the wall's frame."""

    neighbour: str
    bevel_deg: float
    line_mm: Floats

    def on(self, shape: Polygon) -> Floats | None:
        """The part (2, 2) of the line at which a panel ends, from below up; None where it does not."""
        shared = shape.exterior.intersection(LineString(self.line_mm).buffer(ON_LINE_MM))
        if shared.length <= 10.0 * ON_LINE_MM:
            return None
        v = np.array([shared.bounds[1], shared.bounds[3]])
        order = np.argsort(self.line_mm[:, 1], kind="stable")
        return np.column_stack([np.interp(v, self.line_mm[order, 1], self.line_mm[order, 0]), v])


def mitred_edge(
    face: WallFace, edge: Edge, faces: Mapping[str, WallFace], finished: Mapping[str, FinishedFace],
    settings: LayoutSettings,
) -> MitredEdge | None:  # fmt: skip
    """Work out the mitre at an edge; None where the corner gets a profile.

    It takes two flat clad walls that name each other at an outside corner.
    """
    name = edge.neighbour or ""
    own, other = finished.get(face.wall.id), finished.get(name)
    if settings.outside_corners != "mitre" or edge.kind != "outside_corner" or own is None or other is None:
        return None
    neighbour = faces[name]
    is_mutual = any(one.kind == "outside_corner" and one.neighbour == face.wall.id for one in neighbour.wall.edges)
    if not is_mutual or face.wall.radius_mm is not None or neighbour.wall.radius_mm is not None:
        return None
    turn = math.acos(float(np.clip(np.dot(face.wall.inward, neighbour.wall.inward), -1.0, 1.0)))
    if not LEAST_TURN_DEG <= math.degrees(turn) <= MOST_TURN_DEG:
        return None
    back = settings.gaps.outside_corner / 2.0 / math.cos(turn / 2.0)
    points = without_repeats(face.edge_points(edge))
    outward = _outward(face, edge)
    reach = _to_the_other_face(face, points, outward, own, neighbour, other) - back
    line = points + outward * np.stack([reach, np.zeros(len(points))], axis=1)
    return MitredEdge(name, math.degrees(turn) / 2.0, line)


def _outward(face: WallFace, edge: Edge) -> float:
    """The direction along u that leaves the wall at an edge: 1 or -1."""
    middle = (face.wall.outline_mm[:, 0].min() + face.wall.outline_mm[:, 0].max()) / 2.0
    return 1.0 if face.edge_points(edge)[:, 0].mean() > middle else -1.0


def _to_the_other_face(
    face: WallFace, points: Floats, outward: float, own: FinishedFace, neighbour: WallFace, finished: FinishedFace
) -> Floats:
    """How far beyond each point of the edge, along u, the wall's finished face meets the neighbour's, (n,)."""

    def over(reach: Floats) -> Floats:
        u = points[:, 0] + outward * reach
        place = np.stack([u, points[:, 1], own.height_mm(u, points[:, 1])], axis=1) / 1000.0
        u_there, v_there, height = 1000.0 * neighbour.frame.uvh_from_level(face.frame.level_from_uvh(place)).T
        past: Floats = height - finished.height_mm(u_there, v_there)
        return past

    start, step = over(np.zeros(len(points))), over(np.ones(len(points)))  # both faces are planes: one step is exact
    reach: Floats = -start / (step - start)
    return reach


def with_mitre(field: BaseGeometry, face: WallFace, edge: Edge, mitre: MitredEdge) -> BaseGeometry:
    """Lengthen (or shorten) a field that ends at the wall's edge so that it ends at the mitre's line."""
    outward = _outward(face, edge)
    points = without_repeats(face.edge_points(edge))
    along = np.array([outward, 0.0])
    # Floor and ceiling gaps end square to the floor and the ceiling: where the edge leans a sliver stays along it.
    inner = points - along * NEAR_MM
    beside = field.intersection(_between(inner, inner - along * NEAR_MM))
    if beside.is_empty:
        return field
    field = field.difference(_between(inner, points + along * NEAR_MM))
    _, low, _, high = beside.bounds
    order = np.argsort(mitre.line_mm[:, 1], kind="stable")
    line = mitre.line_mm[order]
    line = np.concatenate([[[line[0, 0], low - FAR_MM]], line, [[line[-1, 0], high + FAR_MM]]])
    beyond = _between(line, line + along * FAR_MM)
    farthest = float(np.abs(mitre.line_mm[:, 0] - points[:, 0]).max()) + NEAR_MM
    run = _between(inner, points + along * farthest).intersection(box(-FAR_MM, low, FAR_MM, high))
    return polygons_of(shapely.union_all([field, run]).difference(beyond))


def _between(line: Floats, other: Floats) -> BaseGeometry:
    return polygons_of(shapely.make_valid(Polygon(np.concatenate([line, other[::-1]]))))
