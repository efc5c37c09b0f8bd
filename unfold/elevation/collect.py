"""The third pass over the points: rays that cross a wall near the edge of a candidate opening."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.kernels import FACE, RAY_FIELDS, collect_points, collect_rays, mark_directions
from unfold.room.frame import WallFrame
from unfold.room.result import Room
from unfold.scan import Scan
from unfold.scan.result import Station
from unfold.surface.result import Grid

SAMPLE_RAYS = 12_000  # kept per zone; memory follows the number of zones, never the number of points
SAMPLES_IN_ALL = 1_500_000
FRONT_M = 0.08  # a ray that ends farther before the wall says nothing of it
BEHIND_M = 0.4  # how far behind the wall points of unknown station are looked at
ESCAPED_M = 1000.0  # rays that met nothing are taken to end this far


@dataclass(frozen=True, slots=True)
class Zone:
    """Cells of one wall whose rays are wanted."""

    wall: int
    cells: AnyArray  # (n, 2) row, column in the wall's grid
    height_mm: float  # height of the surface at which rays are crossed


@dataclass(frozen=True, slots=True)
class ZoneRays:
    """A sample of the rays through a zone; arrays (n,), millimetres."""

    u: Floats  # where the ray crosses the zone's height
    v: Floats
    du: Floats  # change of u and v per mm toward the room along the ray
    dv: Floats
    h: Floats  # where the ray ended, above the wall's base surface
    station: AnyArray
    share: float  # the part of the zone's rays that was kept

    def select(self, keep: Bools) -> "ZoneRays":
        """Those rays alone."""
        u, v, du, dv, h = (part[keep] for part in (self.u, self.v, self.du, self.dv, self.h))
        return ZoneRays(u, v, du, dv, h, self.station[keep], self.share)


def collect_zone_rays(scan: Scan, room: Room, grids: Sequence[Grid], zones: Sequence[Zone]) -> list[ZoneRays]:
    """Stream all points once and return a sample of rays per zone; the same whatever the order of the points."""
    if not zones:
        return []
    asked, (zones, members) = zones, _parts(zones, grids)
    room_for = max(min(SAMPLE_RAYS, SAMPLES_IN_ALL // max(len(zones), 1)), 500)
    walls, shapes, raster = _pack(room, grids, zones)
    heights = np.array([zone.height_mm / 1000 for zone in zones])
    kept = np.zeros((len(zones), room_for, RAY_FIELDS), np.float32)
    counts = np.zeros(len(zones), np.int64)
    limits = np.zeros((len(zones), room_for + 1), np.int64)
    limits[:, 0] = 2**31
    tables = [_table(station, room, grids, zones, walls) for station in scan.stations]
    for chunk in scan.chunks():
        table, station = tables[chunk.station], scan.stations[chunk.station].position_m
        if table is None or station is None:
            collect_points(
                chunk.points_m, chunk.station, walls, shapes, raster, kept, counts, limits, FRONT_M, BEHIND_M
            )
            continue
        start = np.asarray(station, float)
        far = start + np.asarray(chunk.escaped, float) * ESCAPED_M
        for points in (chunk.points_m, far):
            collect_rays(
                points, start, table, chunk.station, walls, shapes, raster, heights, kept, counts, limits, FRONT_M
            )
    parts = [_zone_rays(kept[i, : counts[i]], float(limits[i, 0]) / 2**31) for i in range(len(zones))]
    return [
        _joined([_crossed(parts[i], zone.height_mm - zones[i].height_mm) for i in own])
        for zone, own in zip(asked, members, strict=True)
    ]


def _parts(zones: Sequence[Zone], grids: Sequence[Grid]) -> tuple[list[Zone], list[list[int]]]:
    """Zones that share no cell, and for each zone asked for the list of those that make it up.

    Boxes in a row stand closer than the zones around them reach: each needs the rays that its neighbour needs too.
    """
    owners: list[tuple[int, ...]] = [()]
    labels = [np.zeros(grid.rows * grid.columns, np.int64) for grid in grids]
    for index, zone in enumerate(zones):
        label, cells = labels[zone.wall], zone.cells[:, 0] * grids[zone.wall].columns + zone.cells[:, 1]
        old, which = np.unique(label[cells], return_inverse=True)
        label[cells] = len(owners) + which
        owners += [(*owners[before], index) for before in old]
    parts: list[Zone] = []
    members: list[list[int]] = [[] for _ in zones]
    for wall, (grid, label) in enumerate(zip(grids, labels, strict=True)):
        order = np.argsort(label, kind="stable")
        found, first = np.unique(label[order], return_index=True)
        for one, cells in zip(found, np.split(order, first[1:]), strict=True):
            if one == 0:
                continue
            for owner in owners[one]:
                members[owner].append(len(parts))
            place = np.column_stack([cells // grid.columns, cells % grid.columns])
            parts.append(Zone(wall, place, zones[owners[one][0]].height_mm))
    return parts, members


def _crossed(rays: ZoneRays, rise_mm: float) -> ZoneRays:
    """The same rays where they cross a surface that stands farther into the room."""
    return replace(rays, u=rays.u + rays.du * rise_mm, v=rays.v + rays.dv * rise_mm)


def _joined(parts: Sequence[ZoneRays]) -> ZoneRays:
    """All parts' rays together, thinned to the least share that was kept of any: their density is to tell something."""
    if not parts:
        none = np.zeros(0)
        return ZoneRays(none, none, none, none, none, np.zeros(0, np.int64), 1.0)
    share = min(part.share for part in parts)
    lucky = [np.random.default_rng(0).random(part.u.size) * part.share < share for part in parts]

    def all_of(name: str) -> AnyArray:
        return np.concatenate([getattr(part, name)[keep] for part, keep in zip(parts, lucky, strict=True)])

    return ZoneRays(all_of("u"), all_of("v"), all_of("du"), all_of("dv"), all_of("h"), all_of("station"), share)


def _zone_rays(kept: AnyArray, share: float) -> ZoneRays:
    order = np.lexsort(kept.T)
    u, v, du, dv, h, station = kept[order].T.astype(float)
    return ZoneRays(u * 1000, v * 1000, du, dv, h * 1000, station.astype(np.int64), share)


def _pack(room: Room, grids: Sequence[Grid], zones: Sequence[Zone]) -> tuple[Floats, AnyArray, AnyArray]:
    """Walls as numbers in the points' own axes, and every wall's zone raster one after the other."""
    walls = np.zeros((len(grids), 16))
    shapes = np.zeros((len(grids), 3), np.int64)
    rasters: list[AnyArray] = []
    start = 0
    for i, (wall, grid) in enumerate(zip(room.walls, grids, strict=True)):
        frame = frame_in_scan_axes(wall.frame, room)
        walls[i, :12] = np.concatenate([frame.origin_m, frame.right, frame.up, frame.inward])
        walls[i, 12] = frame.radius_m or 0.0
        walls[i, 13:] = (
            (grid.u0_mm - grid.cell_mm / 2) / 1000,
            (grid.v0_mm - grid.cell_mm / 2) / 1000,
            grid.cell_mm / 1000,
        )
        shapes[i] = start, grid.rows, grid.columns
        rasters.append(np.full(grid.rows * grid.columns, -1, np.int16))
        start += grid.rows * grid.columns
    for index, zone in enumerate(zones):
        rasters[zone.wall][zone.cells[:, 0] * grids[zone.wall].columns + zone.cells[:, 1]] = index
    return walls, shapes, np.concatenate(rasters)


def frame_in_scan_axes(frame: WallFrame, room: Room) -> WallFrame:
    """A wall's frame turned from level to local coordinates: those of the points, metres."""
    turn = room.level_from_local.T
    return WallFrame(turn @ frame.origin_m, turn @ frame.right, turn @ frame.up, turn @ frame.inward, frame.radius_m)


def _table(
    station: Station, room: Room, grids: Sequence[Grid], zones: Sequence[Zone], walls: Floats
) -> AnyArray | None:
    """Directions from a station in which zones lie, a bit per wall; None when its place is not known."""
    if station.position_m is None:
        return None
    table = np.zeros(6 * FACE * FACE, np.uint64)
    for zone in zones:
        frame = frame_in_scan_axes(room.walls[zone.wall].frame, room)
        grid = grids[zone.wall]
        centre = np.zeros((len(zone.cells), 3))
        centre[:, 0] = (grid.u0_mm + grid.cell_mm * zone.cells[:, 1]) / 1000
        centre[:, 1] = (grid.v0_mm + grid.cell_mm * zone.cells[:, 0]) / 1000
        directions = frame.level_from_uvh(centre) - np.asarray(station.position_m, float)
        distance = np.linalg.norm(directions, axis=1)
        near = distance > 1e-6
        reach = 1.5 * grid.cell_mm / 1000 / distance[near]
        mark_directions(directions[near] / distance[near, None], reach, zone.wall % 64, table)
    return table
