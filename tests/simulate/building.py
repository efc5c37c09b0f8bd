"""From a room's description to sheets for the ray kernel and to the exact outline of every wall."""

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from tests.simulate.fittings import (
    box_sheets,
    mirror_sheet,
    opening_sheets,
    person_sheets,
    plant_sheets,
    pole_sheets,
    skirting_sheets,
)
from tests.simulate.heights import as_terms
from tests.simulate.outline import OpeningRing, Outline, opening_ring, wall_outline
from tests.simulate.room import CeilingPlan, Chain, RoomPlan, WallPlan
from tests.simulate.sheets import Sheet
from unfold.arrays import Floats
from unfold.room.frame import WallFrame

PLAN_STEP_M = 0.02
MARGIN_M = 0.08  # by which floor and ceiling reach under the walls
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class BuiltWall:
    """One wall of the scene: its unlimited surface, and where it truly ends."""

    chain: int
    plan: WallPlan
    surface: Sheet  # its domain reaches beyond the wall
    width_m: float
    outline: Outline
    openings: tuple[OpeningRing, ...]
    sheet: Sheet  # the wall itself, less its openings


@dataclass(frozen=True)
class Building:
    room: RoomPlan
    walls: tuple[BuiltWall, ...]
    floor: Sheet
    ceilings: tuple[Sheet, ...]
    sheets: tuple[Sheet, ...]  # everything that rays meet; the walls come first, in order


def build(room: RoomPlan) -> Building:
    """Work out every surface of a scene."""
    surfaces = [_surfaces(chain) for chain in room.chains]
    inside = _plan(room, surfaces)
    floor = Sheet(
        WallFrame(np.zeros(3), np.array([1.0, 0, 0]), np.array([0.0, 1, 0]), UP),
        inside.buffer(MARGIN_M, join_style="mitre"),
        as_terms(room.floor_terms),
        "floor",
    )
    ceilings = [_ceiling(piece, inside) for piece in room.ceilings] if room.wall_top is None else []
    walls = []
    for c, chain in enumerate(room.chains):
        for w in range(len(chain.walls)):
            walls.append(_wall(room, c, w, surfaces[c], floor, ceilings))
    others = [floor, *ceilings]
    for piece in room.ceilings if room.wall_top is None else ():
        others += _bulkhead_faces(piece, max(p.height for p in room.ceilings))
    for wall in walls:
        for ring in wall.openings:
            others += opening_sheets(wall.surface, ring)
        if wall.plan.skirting is not None:
            others += skirting_sheets(wall.surface, wall.outline.ring, wall.openings, *wall.plan.skirting)
    for piece_of_furniture in room.boxes:
        others += box_sheets(piece_of_furniture)
    for pole in room.poles:
        others += pole_sheets(pole)
    for plant in room.plants:
        others += plant_sheets(plant)
    first = np.concatenate([[0], np.cumsum([len(chain.walls) for chain in room.chains])])
    for mirror in room.mirrors:
        others += mirror_sheet(walls[first[mirror.chain] + mirror.wall].surface, mirror)
    for person in room.people:
        others += person_sheets(person)
    return Building(room, tuple(walls), floor, tuple(ceilings), (*(wall.sheet for wall in walls), *others))


def _surfaces(chain: Chain) -> list[tuple[Sheet, float]]:
    """The unlimited surface and the nominal width of each wall of a chain."""
    corners = [np.array([*corner, 0.0]) for corner in chain.corners]
    found = []
    for i, wall in enumerate(chain.walls):
        start, end = corners[i], corners[(i + 1) % len(corners)]
        frame, width = _round_column(start, wall) if len(corners) == 1 else _frame(start, end, wall.radius)
        found.append((Sheet(frame, box(-1.0, -1.0, width + 1.0, 30.0), as_terms(wall.terms), f"wall {i}"), width))
    return found


def _frame(start: Floats, end: Floats, radius: float | None) -> tuple[WallFrame, float]:
    chord = end - start
    length = float(np.hypot(chord[0], chord[1]))
    heading = math.atan2(chord[1], chord[0])
    width = length
    if radius is not None:
        turn = 2 * math.asin(length / (2 * abs(radius)))
        width = turn * abs(radius)
        heading += math.copysign(turn / 2, radius)
    return _upright(start, heading, radius), width


def _round_column(start: Floats, wall: WallPlan) -> tuple[WallFrame, float]:
    if wall.radius is None or wall.radius >= 0:
        raise ValueError("a chain of one corner is a round column and needs a negative radius")
    return _upright(start, 0.0, wall.radius), 2 * math.pi * -wall.radius


def _upright(start: Floats, heading: float, radius: float | None) -> WallFrame:
    right = np.array([math.cos(heading), math.sin(heading), 0.0])
    return WallFrame(start, right, UP.copy(), np.cross(right, UP), radius)


def _plan(room: RoomPlan, surfaces: list[list[tuple[Sheet, float]]]) -> Polygon:
    """The floor's extent in plan."""
    if room.floor_area is not None:
        return Polygon(room.floor_area)
    rings = []
    for chain, walls in zip(room.chains, surfaces, strict=True):
        if chain.closed:
            pieces = [
                surface.points(u := np.linspace(0, width, int(width / PLAN_STEP_M) + 2)[:-1], 0 * u)
                for surface, width in walls
                if width > 0
            ]
            ring = np.concatenate(pieces)[:, :2]
            rings.append(Polygon(ring if any(w.radius for w in chain.walls) else chain.corners))
    outer = [ring for ring in rings if not ring.exterior.is_ccw]
    return shapely.union_all(outer)  # a column's foot hides the floor under it


def _ceiling(piece: CeilingPlan, inside: Polygon) -> Sheet:
    """A ceiling piece as a sheet seen from below; its domain is the plan projected onto it."""
    area = Polygon(piece.area) if piece.area is not None else inside.buffer(MARGIN_M, join_style="mitre")
    normal = np.array([-piece.slope[0], -piece.slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    right = np.cross(np.array([0.0, 1.0, 0.0]), normal)
    right /= np.linalg.norm(right)
    frame = WallFrame(np.array([0, 0, piece.height]), right, np.cross(-normal, right), -normal)
    plan = np.asarray(shapely.get_coordinates(area.exterior))
    points = np.column_stack([plan, piece.height + plan @ np.array(piece.slope)])
    return Sheet(frame, Polygon(frame.uvh_from_level(points)[:, :2]), as_terms(piece.terms), "ceiling")


def _bulkhead_faces(piece: CeilingPlan, top: float) -> list[Sheet]:
    if not piece.faces or piece.area is None:
        return []
    sheets = []
    corners = [np.array([*corner, 0.0]) for corner in piece.area]
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        frame, width = _frame(start, end, None)
        sheets.append(Sheet(frame, box(0, piece.height, width, top + 0.05), label="bulkhead"))
    return sheets


def _wall(
    room: RoomPlan, c: int, w: int, walls: list[tuple[Sheet, float]], floor: Sheet, ceilings: list[Sheet]
) -> BuiltWall:
    chain = room.chains[c]
    surface, width = walls[w]
    left = walls[w - 1][0] if (chain.closed or w > 0) and len(walls) > 1 else None
    right = walls[(w + 1) % len(walls)][0] if (chain.closed or w < len(walls) - 1) and len(walls) > 1 else None
    areas = [None if piece.area is None else Polygon(piece.area) for piece in room.ceilings]
    outline = wall_outline(surface, width, left, right, floor, list(zip(ceilings, areas, strict=False)), room.wall_top)
    plan = chain.walls[w]
    rings = tuple(opening_ring(surface, opening, floor) for opening in plan.openings)
    domain = Polygon(outline.ring)
    for ring in rings:
        domain = domain.difference(Polygon(ring.cut))
    if domain.geom_type != "Polygon":
        domain = max(domain.geoms, key=lambda piece: piece.area)
    return BuiltWall(
        c, plan, surface, width, outline, rings, Sheet(surface.frame, domain, surface.terms, f"wall {c} {w}")
    )
