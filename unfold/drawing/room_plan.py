"""The room seen from above: where each wall's face runs, its openings and the stations, in levelled coordinates.

Positions are millimetres in level coordinates (x, y), origin at the scan's local origin, so that a plan lies over the
scan after levelling. A wall is cut at its level datum.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.sizes import crossings
from unfold.elevation.result import Elevations, Opening, WallElevation
from unfold.quantity import Verdict
from unfold.room.frame import WallFrame
from unfold.scan.result import Station
from unfold.surface.result import Surfaces

ARC_STEP_MM = 50.0


@dataclass(frozen=True, slots=True)
class PlanOpening:
    """An opening where it cuts a wall's face."""

    opening: Opening
    face_mm: Floats  # (n, 2)
    back_mm: Floats | None  # (n, 2) the bottom of a niche, by its depth


@dataclass(frozen=True, slots=True)
class PlanWall:
    """One wall's face in plan, from its left to its right end seen from inside the room."""

    id: str
    face_mm: Floats  # (n, 2)
    inward: Floats  # (n, 2) unit, toward the room
    length_mm: float  # along the face
    verdict: Verdict | None
    openings: tuple[PlanOpening, ...]


@dataclass(frozen=True, slots=True)
class PlanStation:
    """Where the scanner stood."""

    name: str
    position_mm: Floats  # (2,)


@dataclass(frozen=True, slots=True)
class RoomPlan:
    """All of it."""

    walls: tuple[PlanWall, ...]
    stations: tuple[PlanStation, ...]
    unplaced_stations: int  # whose place no file told
    scan_axes: Floats  # (2, 2) the scan's x and y axes in plan; rows

    def corners_mm(self) -> tuple[Floats, Floats]:
        """Least and greatest x and y of walls and stations."""
        parts = [wall.face_mm for wall in self.walls] + [station.position_mm[None] for station in self.stations]
        points = np.concatenate(parts)
        return points.min(axis=0), points.max(axis=0)


def plan_room(elevations: Elevations, surfaces: Surfaces, stations: tuple[Station, ...]) -> RoomPlan:
    """Lay the unfolded walls and the stations into the plan."""
    verdicts: dict[str, Verdict] = {surface.wall: surface.verdict for surface in surfaces.walls}
    level_from_scan = elevations.scan_from_level[:3, :3].T
    known = [station for station in stations if station.position_m is not None]
    placed = tuple(PlanStation(station.name, _station_mm(station, level_from_scan)) for station in known)
    walls = tuple(_plan_wall(wall, elevations.scan_from_level, verdicts.get(wall.id)) for wall in elevations.walls)
    return RoomPlan(walls, placed, len(stations) - len(known), level_from_scan[:2, :2].T)


def frame_in_level(wall: WallElevation, scan_from_level: Floats) -> WallFrame:
    """A wall's frame turned from scan axes into level coordinates, metres."""
    turn, shift = scan_from_level[:3, :3].T, scan_from_level[:3, 3]
    radius_m = None if wall.radius_mm is None else wall.radius_mm / 1000.0
    return WallFrame(
        turn @ (wall.origin_scan_m - shift), turn @ wall.right, turn @ wall.up, turn @ wall.inward, radius_m
    )


def _station_mm(station: Station, level_from_scan: Floats) -> Floats:
    position = np.asarray(station.position_m, dtype=float)
    level: Floats = 1000.0 * (level_from_scan @ position)[:2]
    return level


def _plan_wall(wall: WallElevation, scan_from_level: Floats, verdict: Verdict | None) -> PlanWall:
    frame = frame_in_level(wall, scan_from_level)
    found, _ = crossings(wall.outline_mm, 1, wall.level_v_mm)
    if len(found) < 2:
        found = np.array([wall.outline_mm[:, 0].min(), wall.outline_mm[:, 0].max()])
    u = _stations_along(float(found[0]), float(found[-1]), wall)
    openings = tuple(_plan_opening(opening, frame, wall) for opening in wall.openings)
    face = _in_plan(frame, u, wall.level_v_mm, 0.0)
    inward = _in_plan(frame, u, wall.level_v_mm, 1.0) - face
    return PlanWall(wall.id, face, inward, float(found[-1] - found[0]), verdict, openings)


def _plan_opening(opening: Opening, frame: WallFrame, wall: WallElevation) -> PlanOpening:
    u = _stations_along(float(opening.ring_mm[:, 0].min()), float(opening.ring_mm[:, 0].max()), wall)
    back = None
    if opening.kind == "niche" and opening.depth_mm is not None:
        back = _in_plan(frame, u, wall.level_v_mm, -opening.depth_mm)
    return PlanOpening(opening, _in_plan(frame, u, wall.level_v_mm, 0.0), back)


def _stations_along(start_mm: float, stop_mm: float, wall: WallElevation) -> Floats:
    count = 2 if wall.radius_mm is None else max(2, round((stop_mm - start_mm) / ARC_STEP_MM) + 1)
    return np.linspace(start_mm, stop_mm, count)


def _in_plan(frame: WallFrame, u_mm: Floats, v_mm: float, h_mm: float) -> Floats:
    uvh = np.stack([u_mm, np.full_like(u_mm, v_mm), np.full_like(u_mm, h_mm)], axis=1)
    return 1000.0 * frame.level_from_uvh(uvh / 1000.0)[:, :2]
