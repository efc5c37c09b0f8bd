"""The field that panels may cover: the outline less the edge gaps and the room that neighbours' cladding takes.

Where two clad walls meet in an inside corner one runs through to the other's wall, and the other butts against its
finished face. At outside corners both claddings end at the wall's own edge, for a corner profile, or meet in a mitre.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Floats
from unfold.elevation.result import Edge
from unfold.layout.cutting_shapes import rounded_polygon, sharp_inside_corners
from unfold.layout.finished_face import FinishedFace
from unfold.layout.mitre import MitredEdge, mitred_edge, with_mitre
from unfold.layout.parallel import left_normals, mitre_wedge, parallel_strip, without_repeats
from unfold.layout.result import Gap
from unfold.layout.wall_face import WallFace, box, polygon_list, polygons_of
from unfold.settings.layout import GapSettings, LayoutSettings

STEP_MM = 20.0  # a floor that rises more than this at once is a step: each tread gets a level edge of its own
ACUTE_BY_DEG = 5.0  # nearer to square the gap itself is room enough
BEYOND_CORNER_MM = 500.0  # farther than any wall's corner bows


@dataclass(frozen=True, slots=True)
class Field:
    """What is left of the outline for panels and joints, openings not yet taken out.

    Its inside corners, as round a bulkhead, have the cutter's radius already: `corners` (k, 2) is where they were
    sharp. Where the gap leaves no room for the radius they still are.
    """

    region: BaseGeometry
    gaps: tuple[Gap, ...]
    corners: Floats
    mitres: tuple[MitredEdge, ...] = ()


def lay_field(
    face: WallFace, faces: Mapping[str, WallFace], finished: Mapping[str, FinishedFace], settings: LayoutSettings
) -> Field:
    """Take the edge gaps and the neighbours' cladding off a wall's outline.

    `finished` holds the finished face of every wall that is clad; `faces` all walls. Both are by id.
    """
    gaps, strips, widths = [], [], []
    mitres: dict[int, MitredEdge] = {}
    for index, edge in enumerate(face.wall.edges):
        width, reason = edge_gap(edge, settings.gaps)
        mitre = mitred_edge(face, edge, faces, finished, settings)
        if mitre is not None:
            mitres[index], width = mitre, 0.0
        more = _room_in_acute_corner(face, edge, faces, finished)
        strips.append(_edge_strip(face, index, width + more, settings.gaps))
        butted = _butts_against(face, edge, faces, finished, settings)
        if butted is not None:
            strips.append(neighbour_strip(face, edge, faces[butted], finished[butted], width, finished[face.wall.id]))
        gaps.append(Gap(index, settings.gaps.outside_corner if mitre else width + more, reason, butted))
        widths.append(width + more)
    strips += _corner_wedges(face, widths)
    region = face.outline.difference(shapely.union_all(shapely.make_valid(strips)))
    for index, mitre in mitres.items():
        region = with_mitre(region, face, face.wall.edges[index], mitre)
    sharp = polygon_list(region)
    room = shapely.union_all([face.outline, region]) if mitres else face.outline
    rounded = [rounded_polygon(part, settings.cutting.inside_radius, room)[0] for part in sharp]
    corners = np.concatenate([np.zeros((0, 2)), *(sharp_inside_corners(part) for part in sharp)])
    return Field(polygons_of(MultiPolygon(rounded)), tuple(gaps), corners, tuple(mitres.values()))


def edge_gap(edge: Edge, gaps: GapSettings) -> tuple[float, str]:
    """Return an edge's gap in millimetres and the kind of place that asks for it."""
    return {
        "floor": (gaps.floor, "floor"),
        "ceiling": (gaps.ceiling, "ceiling"),
        "inside_corner": (gaps.change_of_plane, "change_of_plane"),
        "outside_corner": (gaps.outside_corner, "outside_corner"),
        "end": (gaps.end, "end"),
    }[edge.kind]


def runs_through(face: WallFace, neighbour: WallFace, edge: Edge, settings: LayoutSettings) -> bool:
    """Tell whether a wall runs through the inside corner that it shares with a neighbour."""
    this, other = face.wall.id, neighbour.wall.id
    for corner in settings.corner:
        if set(corner.walls) == {this, other}:
            return corner.runs_through == this
    if settings.runs_through in ("left", "right"):
        # The wall left of a corner, seen from inside, meets the corner with its right end.
        points = face.edge_points(edge)
        middle = (face.wall.outline_mm[:, 0].min() + face.wall.outline_mm[:, 0].max()) / 2.0
        return bool(points[:, 0].mean() > middle) == (settings.runs_through == "left")
    if face.length_mm != neighbour.length_mm:
        return (face.length_mm > neighbour.length_mm) == (settings.runs_through == "longer")
    return this < other


def neighbour_strip(
    face: WallFace, edge: Edge, neighbour: WallFace, finished: FinishedFace, gap_mm: float, own: FinishedFace
) -> BaseGeometry:
    """Return the strip along an edge that a neighbour's cladding and the gap to its finished face take.

    Each point of the edge is moved along the wall until the panel there, from its back to its face, stands clear of the
    neighbour's finished face by the gap.
    """
    points = without_repeats(face.edge_points(edge))
    middle = (face.wall.outline_mm[:, 0].min() + face.wall.outline_mm[:, 0].max()) / 2.0
    into = 1.0 if points[:, 0].mean() < middle else -1.0
    depths = (own.offset_mm - own.thickness_mm, own.offset_mm)
    shift = np.max([_shift(face, points, into, depth, neighbour, finished, gap_mm) for depth in depths], axis=0)
    moved = points + np.stack([into * np.maximum(shift, 0.0), np.zeros(len(points))], axis=1)
    reach = 3.0 * float(np.abs(shift).max()) + 1.0
    return polygons_of(
        shapely.make_valid(Polygon(np.concatenate([_longer(points, reach), _longer(moved, reach)[::-1]])))
    )


def _shift(
    face: WallFace,
    points: Floats,
    into: float,
    depth_mm: float,
    neighbour: WallFace,
    finished: FinishedFace,
    gap_mm: float,
) -> Floats:
    """How far along u each point must move for `depth_mm` before the wall to clear the neighbour's finished face."""
    shift = np.zeros(len(points))
    for _ in range(4):
        clear = _clearance(face, points, into * shift, depth_mm, neighbour, finished) - gap_mm
        slope = _clearance(face, points, into * (shift + 1.0), depth_mm, neighbour, finished) - gap_mm - clear
        shift = shift - clear / np.where(slope > 0.1, slope, np.inf)
    return shift


def _clearance(
    face: WallFace, points: Floats, along: Floats, depth_mm: float, neighbour: WallFace, finished: FinishedFace
) -> Floats:
    place = np.stack([points[:, 0] + along, points[:, 1], np.full(len(points), depth_mm)], axis=1) / 1000.0
    u, v, h = 1000.0 * neighbour.frame.uvh_from_level(face.frame.level_from_uvh(place)).T
    clear: Floats = h - finished.height_mm(u, v)
    return clear


def _longer(points: Floats, reach: float) -> Floats:
    """Lengthen an upright polyline at both ends, so that it takes in the corners that it moves past."""
    sign = 1.0 if points[-1, 1] >= points[0, 1] else -1.0
    ends = np.array([points[0] - [0.0, sign * reach], points[-1] + [0.0, sign * reach]])
    longer: Floats = np.concatenate([ends[:1], points, ends[1:]])
    return longer


def _butts_against(
    face: WallFace,
    edge: Edge,
    faces: Mapping[str, WallFace],
    finished: Mapping[str, FinishedFace],
    settings: LayoutSettings,
) -> str | None:
    """The id of the clad neighbour that a clad wall butts against at an edge, if any."""
    name = edge.neighbour
    if (
        name is None
        or edge.kind != "inside_corner"
        or name not in finished
        or name not in faces
        or face.wall.id not in finished
    ):
        return None
    return None if runs_through(face, faces[name], edge, settings) else name


def _room_in_acute_corner(
    face: WallFace, edge: Edge, faces: Mapping[str, WallFace], finished: Mapping[str, FinishedFace]
) -> float:
    """What a panel's front needs more than its back in an acute corner, where the neighbour's wall leans over it."""
    neighbour = faces.get(edge.neighbour or "")
    if edge.kind != "inside_corner" or neighbour is None or face.wall.id not in finished:
        return 0.0
    point = face.edge_points(edge).mean(axis=0)[None, :]
    middle = (face.wall.outline_mm[:, 0].min() + face.wall.outline_mm[:, 0].max()) / 2.0
    into, bare = 1.0 if point[0, 0] < middle else -1.0, FinishedFace(0.0, 0.0, 0.0)
    step, none = np.array([10.0 * into]), np.zeros(1)
    here = _clearance(face, point, none, 0.0, neighbour, bare)
    along = float((_clearance(face, point, step, 0.0, neighbour, bare) - here)[0]) / 10.0
    inward = float((_clearance(face, point, none, 10.0, neighbour, bare) - here)[0]) / 10.0
    if along <= 0.0 or -inward / along < math.tan(math.radians(ACUTE_BY_DEG)):
        return 0.0
    return finished[face.wall.id].offset_mm * -inward / along


def _edge_strip(face: WallFace, index: int, width_mm: float, gaps: GapSettings) -> BaseGeometry:
    points = without_repeats(face.edge_points(face.wall.edges[index]))
    strip = parallel_strip(points, width_mm)
    if face.wall.edges[index].kind == "floor" and gaps.floor_edge == "level" and len(points) > 1:
        return shapely.union_all([strip, *_level_strips(face, index, points, width_mm)])
    return strip


def _level_strips(face: WallFace, index: int, points: Floats, width_mm: float) -> list[BaseGeometry]:
    """Strips from below the wall to the gap above the highest floor point outside the openings, one a tread.

    At a corner the strip reaches on, for the corner may bow outward; beside another tread it does not.
    """
    edges = face.wall.edges
    reach_left = 0.0 if edges[index - 1].kind == "floor" else BEYOND_CORNER_MM
    reach_right = 0.0 if edges[(index + 1) % len(edges)].kind == "floor" else BEYOND_CORNER_MM
    around_openings, low = face.all_openings.buffer(1.0), float(points[:, 1].min()) - BEYOND_CORNER_MM
    strips: list[BaseGeometry] = []
    treads = [tread for tread in _treads(points) if len(tread) > 1]
    for number, tread in enumerate(treads):
        free = tread[~shapely.intersects_xy(around_openings, tread[:, 0], tread[:, 1])]
        if len(free):
            left = float(tread[0, 0]) - (reach_left if number == 0 else 0.0)
            right = float(tread[-1, 0]) + (reach_right if number == len(treads) - 1 else 0.0)
            strips.append(box(left, low, right, float(free[:, 1].max()) + width_mm))
    return strips


def _treads(points: Floats) -> list[Floats]:
    """Cut a floor edge where it rises steeply by more than a step."""
    steep = np.abs(np.diff(points[:, 1])) > np.abs(np.diff(points[:, 0]))
    turns = np.flatnonzero(np.diff(np.r_[False, steep, False].astype(np.int8)))
    treads, start = [], 0
    for first, last in zip(turns[::2], turns[1::2], strict=True):
        if abs(points[last, 1] - points[first, 1]) > STEP_MM:
            treads.append(points[start : first + 1])
            start = last
    return [*treads, points[start:]]


def _corner_wedges(face: WallFace, widths: list[float]) -> list[BaseGeometry]:
    """What two edges' strips leave open where the outline turns round an inside corner of the field."""
    wedges: list[BaseGeometry] = []
    runs = [without_repeats(face.edge_points(edge)) for edge in face.wall.edges]
    for index, run in enumerate(runs):
        follower = (index + 1) % len(runs)
        if len(run) < 2 or len(runs[follower]) < 2 or np.hypot(*(run[-1] - runs[follower][0])) > 1e-6:
            continue
        before, after = left_normals(run)[-1], left_normals(runs[follower])[0]
        if before[0] * after[1] - before[1] * after[0] < 0.0:
            wedges.append(mitre_wedge(run[-1], before, after, widths[index], widths[follower]))
    return wedges
