"""The surface stage: from the stream and the room's walls to height maps, flatness and verdicts."""

from collections.abc import Iterable, Iterator

import numpy as np

from unfold.findings import Finding
from unfold.progress import Progress, silent
from unfold.room.result import Room
from unfold.scan import Scan
from unfold.scan.result import Chunk
from unfold.settings.surface import SurfaceSettings
from unfold.surface.coarse import coarse_surface, grid_of
from unfold.surface.noise import point_noise
from unfold.surface.rays import TILE_CELLS, RayCaster
from unfold.surface.registration import register
from unfold.surface.result import Surfaces, WallSurface
from unfold.surface.shared_error import shared_errors
from unfold.surface.slots import Slots
from unfold.surface.tolerance import load_tolerance
from unfold.surface.wall import WallData, measure_wall
from unfold.surface.wall_cells import own_cells

_BAND_SIGMAS = 4.5
_LEAST_BAND_MM, _MOST_BAND_MM = 4.0, 30.0
_PROBE_POINTS = 300_000


def measure_surfaces(scan: Scan, room: Room, settings: SurfaceSettings, progress: Progress | None = None) -> Surfaces:
    """Measure every wall of a room.

    Raises SettingsError when the settings ask for a tolerance set that there is none of.
    """
    report = progress or silent
    tolerance = load_tolerance(settings)
    report("second pass over the points")
    slots = Slots(scan.stations)
    data = _gather(scan, room, settings, slots)
    errors = shared_errors(
        [wall.registration for wall in data], settings, room.plumb.standard_uncertainty_deg, slots.stated
    )
    usual = float(np.median([wall.assumed_noise_mm for wall in data])) if data else 0.0
    walls: list[WallSurface] = []
    findings: list[Finding] = []
    for wall in data:
        report(f"flatness of {wall.wall.id}")
        surface, noticed = measure_wall(wall, errors, tolerance, usual)
        walls.append(surface)
        findings.extend(noticed)
    return Surfaces(tolerance.name, tuple(walls), tuple(findings))


def _gather(scan: Scan, room: Room, settings: SurfaceSettings, slots: Slots) -> list[WallData]:
    """Stream the points over the walls, and take from each wall's raster what is its own."""
    if not room.walls:
        return []
    caster = _cast(scan, room, settings, slots)
    data = []
    for w, wall in enumerate(room.walls):
        sums = caster.finish(w)
        noise = point_noise(sums.hit, sums.hit_sum, sums.hit_squares)
        assumed = noise if noise is not None else 1000.0 * wall.noise_m
        cells = own_cells(sums, assumed, 1000.0 * wall.width_m, 1000.0 * wall.bottom_m, 1000.0 * wall.top_m)
        registration = register(sums.tiles, TILE_CELLS * sums.grid.cell_mm, assumed)
        data.append(WallData(wall, sums, cells, registration, noise, assumed))
    return data


def _cast(scan: Scan, room: Room, settings: SurfaceSettings, slots: Slots) -> RayCaster:
    grids = [grid_of(wall) for wall in room.walls]
    coarse = [coarse_surface(wall, grid, room.cells) for wall, grid in zip(room.walls, grids, strict=True)]
    caster = RayCaster(room.walls, grids, coarse, room.level_from_local, slots.places_m, settings.recess_reach)
    for chunk in _after_probe(scan.chunks(), caster, len(room.walls)):
        for slot, points in slots.parts(chunk):
            caster.add(points, chunk.escaped, slot)
    return caster


def _after_probe(chunks: Iterable[Chunk], caster: RayCaster, walls: int) -> Iterator[Chunk]:
    """Find each wall's scatter on the first chunk and set its band by it; then give all chunks."""
    stream = iter(chunks)
    first = next(stream, None)
    if first is None:
        return
    step = max(1, len(first.points_m) // _PROBE_POINTS)
    thinned = np.ascontiguousarray(first.points_m[::step])
    caster.add(thinned, first.escaped[:0], first.station)
    found = [caster.finish(w) for w in range(walls)]
    noise = [point_noise(sums.hit, sums.hit_sum, sums.hit_squares) for sums in found]
    known = [value for value in noise if value is not None]
    usual = float(np.median(known)) if known else _LEAST_BAND_MM
    for w, own in enumerate(noise):
        sigma = usual if own is None else max(own, 0.5 * usual)
        caster.set_band(w, float(np.clip(_BAND_SIGMAS * sigma, _LEAST_BAND_MM, _MOST_BAND_MM)))
    caster.clear()
    yield first
    yield from stream
