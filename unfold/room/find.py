"""The room stage from end to end: cells, plumb, storey, upright surfaces, inside and outside, walls."""

import math
from collections.abc import Callable, Iterable
from typing import Protocol

import numpy as np

from unfold.arrays import Floats
from unfold.errors import UnfoldError
from unfold.findings import Finding
from unfold.room.arrangement import find_rooms
from unfold.room.cells import CellGrid, CellMoments, LevelCells, fit_local_planes, point_spacing_m
from unfold.room.chains import walk_chains
from unfold.room.evidence import Columns, gather_columns, own_cells, stands_out, without_furniture
from unfold.room.jogs import find_jogs
from unfold.room.plumb import find_plumb, rotation_to_up
from unfold.room.result import Cells, Plumb, Room, Wall
from unfold.room.slabs import find_slabs
from unfold.room.space import FreeSpace, carve_free_space
from unfold.room.storey import Storey, find_storeys, map_storey, next_floor_m, other_storeys
from unfold.room.uprights import find_traces, gather_strips
from unfold.room.walls import build_walls
from unfold.scan.result import Chunk, Station
from unfold.settings.room import RoomSettings

UPRIGHT_SINE = math.sin(math.radians(15.0))
CLEAR_FLATNESS = 0.25
TOLERANCE_M = (0.03, 0.06)  # bounds of three times the usual roughness
LEAST_WALL_M = 0.6  # less wall than this in all is a chance alignment
LEAST_AREA_M2 = 0.08
DOME_RADIUS_M = 8.0  # a wall 2.4 m high that bowed so would stand 90 mm off its chord: none does
DOME_REACH_M = 0.15
Progress = Callable[[str], None]


class Scan(Protocol):
    """What this stage needs of an open scan."""

    @property
    def stations(self) -> tuple[Station, ...]:
        """Stations, complete after the first pass."""
        ...

    def chunks(self) -> Iterable[Chunk]:
        """Pass over the points."""
        ...


def find_room(scan: Scan, settings: RoomSettings, progress: Progress | None = None) -> Room:
    """Find plumb, floor, ceiling and walls in one pass over the points.

    Raises
    ------
    UnfoldError
        There is no wall in the scan; the text says what was found instead.
    """
    return room_of(fold_cells(scan, progress), scan, settings)


def room_of(moments: CellMoments, scan: Scan, settings: RoomSettings) -> Room:
    """Find what `find_room` does, from the cells of a scan that was passed over."""
    cells, plumb, rotation, findings = _level(moments, tuple(scan.stations), settings)
    spans = find_storeys(cells)
    storey = map_storey(cells, spans[0], next_floor_m(spans))
    findings += other_storeys(spans) + _partial(storey)
    within = cells.within(storey.bottom_m - 0.3, storey.top_m + 0.3)
    space = _carve(cells, storey)
    columns = _walls_columns(within, storey, space)
    stood = np.array([place[:2] for place in cells.stations_m.values()]).reshape(-1, 2)
    jogs = find_jogs(columns, within, storey)
    columns += jogs.walls
    rooms = find_rooms(columns, jogs.unseen, storey, space, stood)
    walls, rings, area, more = build_walls(walk_chains(rooms, columns, storey.raster), columns, within, storey, rooms)
    if sum(wall.width_m for wall in walls if not _is_domed(wall, within)) < LEAST_WALL_M:
        raise UnfoldError(*_why_not(cells, storey, columns))
    return Room(
        rotation, plumb, walls, tuple(find_slabs(within, storey)), rings, area,
        Cells(moments.edge_m, cells.level_m.astype(np.float32), moments.count.astype(np.uint32)),
        tuple(findings + more),
    )  # fmt: skip


def fold_cells(scan: Scan, progress: Progress | None = None) -> CellMoments:
    """Fold the points into cells in one pass. Raises UnfoldError when they lie in a few spots."""
    if progress is not None:
        progress("finding walls")
    grid = CellGrid()
    for chunk in scan.chunks():
        grid.fold(chunk)
    moments = grid.moments()
    if len(moments.keys) < 50:
        raise UnfoldError(
            f"all {int(moments.count.sum())} points lie in {len(moments.keys)} spots of {moments.edge_m * 1e3:.0f} mm",
            "check the scan and its length unit (`--unit`)",
        )
    return moments


def _level(
    moments: CellMoments, stations: tuple[Station, ...], settings: RoomSettings
) -> tuple[LevelCells, Plumb, Floats, list[Finding]]:
    spacing = point_spacing_m(moments)
    planes = fit_local_planes(moments, spacing)
    clear = planes.flatness < CLEAR_FLATNESS
    if clear.sum() < 50:
        raise UnfoldError(
            f"only {int(clear.sum())} of {len(clear)} spots lie on anything flat",
            "check that this is a scan of a room, and its length unit (`--unit`)",
        )
    sharp = clear & (planes.flatness < 0.1)
    chosen = np.flatnonzero(sharp if sharp.sum() > 500 else clear)
    chosen = chosen[:: max(1, len(chosen) // 60_000)]
    plumb, findings = find_plumb(stations, planes.normals[chosen].astype(float), moments.mean_m[chosen], settings)
    rotation = rotation_to_up(plumb.up_local)
    level = moments.mean_m @ rotation.T
    normals = planes.normals.astype(float) @ rotation.T
    places = {k: rotation @ np.asarray(s.position_m, float) for k, s in enumerate(stations) if s.position_m is not None}
    tolerance = float(np.clip(3.0 * np.median(planes.roughness_m[clear]), *TOLERANCE_M))
    cells = LevelCells(moments.edge_m, spacing, level, normals, clear, moments.stations, places, tolerance)
    return cells, plumb, rotation, findings


def _partial(storey: Storey) -> list[Finding]:
    """Say so when no floor was seen: what the walls stand on, and often which way is up, is then a guess."""
    if storey.floor_m is not None:
        return []
    text = "No floor was seen: the scan is partial; where the walls end below, and perhaps which way is up, is a guess."
    return [Finding("warning", "no-floor", text)]


def _carve(cells: LevelCells, storey: Storey) -> FreeSpace:
    raster = storey.raster
    high = raster.low + np.array(raster.shape) * raster.edge
    box = (np.r_[raster.low, storey.bottom_m - 0.2], np.r_[high, storey.top_m + 0.2])
    return carve_free_space(cells, box)


def _walls_columns(cells: LevelCells, storey: Storey, space: FreeSpace) -> list[Columns]:
    """Find upright surfaces, and keep those that are wall somewhere."""
    upright = cells.clear & (np.abs(cells.normals[:, 2]) < UPRIGHT_SINE)
    if upright.sum() < 20:
        return []
    flat = cells.normals[upright, :2] / np.hypot(*cells.normals[upright, :2].T)[:, None]
    strips = gather_strips(cells.level_m[upright, :2], flat)
    traces = find_traces(strips, cells.tolerance_m, max(LEAST_AREA_M2 / cells.area_m2, 15.0))
    own = own_cells(traces, cells)
    columns = [gather_columns(trace, own[k], cells, storey, space) for k, trace in enumerate(traces)]
    walls = [one for one in columns if one is not None and one.is_wall and stands_out(one, cells)]
    return [one for one in (without_furniture(one, storey) for one in walls) if one.is_wall]


def _is_domed(wall: Wall, cells: LevelCells) -> bool:
    """Whether a wall bends up its height as a ball does: the middle of a dome passes for a round wall, and is none."""
    u, v, h = wall.frame.uvh_from_level(cells.level_m).T
    near = (np.abs(h) < DOME_REACH_M) & (u > 0.0) & (u < wall.width_m) & (v > wall.bottom_m) & (v < wall.top_m)
    if near.sum() < 50 or np.ptp(v[near]) < 0.3:
        return False
    (bend, _, _), covariance = np.polyfit(v[near], h[near], 2, cov=True)
    return bool(abs(bend) > 4.0 * math.sqrt(covariance[0, 0]) and abs(bend) > 0.5 / DOME_RADIUS_M)


def _why_not(cells: LevelCells, storey: Storey, columns: list[Columns]) -> tuple[str, str]:
    """What the scan shows in place of walls, and what to do."""
    upright = cells.clear & (np.abs(cells.normals[:, 2]) < UPRIGHT_SINE)
    area = float(upright.sum()) * cells.area_m2
    what = f"no wall found: {area:.1f} m2 of upright surface"
    if storey.floor_m is None and storey.ceiling_m is None:
        what += ", and neither floor nor ceiling"
    elif storey.ceiling_m is None:
        what += ", and one level surface"
    if columns:
        what += f"; {len(columns)} surfaces look like walls, but bound no space"
    return what, "scan the whole wall with a strip of the floor before it, from inside the room"
