"""The surface stage: from the stream and the room's walls to height maps, flatness and verdicts."""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from itertools import chain

import numpy as np

from unfold.arrays import Floats, Floats32
from unfold.progress import Progress, silent
from unfold.room.result import Room, Wall
from unfold.scan import Scan
from unfold.scan.result import Chunk, Station
from unfold.settings.surface import SurfaceSettings
from unfold.side_by_side import in_threads
from unfold.surface.blocks import block_sums
from unfold.surface.coarse import coarse_surface, grid_of
from unfold.surface.noise import cell_spread, point_noise
from unfold.surface.rays import TILE_CELLS, RayCaster, WallSums
from unfold.surface.registration import register
from unfold.surface.result import Surfaces
from unfold.surface.rims import Extent, field
from unfold.surface.shared_error import rounded_point_mm, rounding_error_mm, shared_errors
from unfold.surface.slots import Slots
from unfold.surface.tolerance import load_tolerance
from unfold.surface.wall import WallData, measure_wall
from unfold.surface.wall_cells import own_cells

_BAND_SIGMAS = 4.5
_SIDE_MM, _SIDE_SHARE = 40.0, 0.2
_BAND_SPREADS = 2.5  # of the cells' means, where noise hangs together over more than a cell
_LEAST_BAND_MM, _MOST_BAND_MM = 4.0, 30.0
_PROBED_FROM = 5_000_000  # points
_PROBE_POINTS = 300_000
_MOST_UNLIKE = 3.0  # times the usual scatter: a probe's few points in a small wall's corners show more than there is
_LEAST_SHOWN = 0.2  # of what the probe shows of the wall best seen
_OWN_SHARE = 0.7  # of a tile's cells, for it to say how the stations agree on the wall


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
    report(f"flatness of {len(data)} walls")
    measured = in_threads(lambda wall: measure_wall(wall, errors, tolerance, usual), data)
    findings = [finding for _, noticed in measured for finding in noticed]
    return Surfaces(tolerance.name, tuple(surface for surface, _ in measured), tuple(findings))


def _gather(scan: Scan, room: Room, settings: SurfaceSettings, slots: Slots) -> list[WallData]:
    """Stream the points over the walls, and take from each wall's raster what is its own."""
    if not room.walls:
        return []
    caster = _cast(scan, room, settings, slots)
    step_mm = _rounding_mm(scan.stations)

    def taken(w: int) -> WallData:
        normal = room.level_from_local.T @ room.walls[w].frame.inward
        return _wall_data(room.walls[w], caster.finish(w), step_mm, normal)

    return in_threads(taken, range(len(room.walls)))


def _rounding_mm(stations: Sequence[Station]) -> Floats:
    """What the points' coordinates are rounded to, (3,), mm: the coarsest of all stations."""
    steps = [station.rounding_m for station in stations if station.rounding_m is not None]
    coarsest: Floats = 1000.0 * np.max([np.zeros(3), *steps], axis=0)
    return coarsest


def _wall_data(wall: Wall, sums: WallSums, step_mm: Floats, normal: Floats) -> WallData:
    noise = _noise_of(wall, sums)
    if noise is not None:  # rounded to one step, points show no scatter at all
        noise = max(noise, rounded_point_mm(step_mm, normal))
    assumed = noise if noise is not None else 1000.0 * wall.noise_m
    cells = own_cells(sums, assumed, 1000.0 * wall.width_m, 1000.0 * wall.bottom_m, 1000.0 * wall.top_m)
    # tiles at edges hold points of what is beside the wall
    share = block_sums(cells.is_wall, TILE_CELLS) / TILE_CELLS**2
    tiles = np.where((share >= _OWN_SHARE)[None, :, :, None], sums.tiles, 0.0)
    registration = register(tiles, TILE_CELLS * sums.grid.cell_mm, assumed)
    return WallData(wall, sums, cells, registration, noise, assumed, rounding_error_mm(step_mm, normal, assumed))


def _noise_of(wall: Wall, sums: WallSums) -> float | None:
    """The scatter of points away from the wall's sides: of a return much of what lies there may be its neighbour's."""
    extent = Extent(1000.0 * wall.width_m, 1000.0 * wall.bottom_m, 1000.0 * wall.top_m)
    inside = field(sums.grid, extent, -min(_SIDE_MM, _SIDE_SHARE * extent.width_mm))
    return point_noise(*(np.where(inside, table, 0) for table in (sums.hit, sums.hit_sum, sums.hit_squares)))


def _cast(scan: Scan, room: Room, settings: SurfaceSettings, slots: Slots) -> RayCaster:
    grids = [grid_of(wall) for wall in room.walls]
    coarse = [coarse_surface(wall, grid, room.cells) for wall, grid in zip(room.walls, grids, strict=True)]
    caster = RayCaster(room.walls, grids, coarse, room.level_from_local, slots.places_m, settings.recess_reach)
    chunks = _after_probe(scan.chunks(), caster, room.walls)
    _add_side_by_side(caster, ((points, c.escaped, slot) for c in chunks for slot, points in slots.parts(c)))
    return caster


def _add_side_by_side(caster: RayCaster, parts: Iterator[tuple[Floats32, Floats32, int]]) -> None:
    """Add parts to the caster's lanes in turn, each lane in a thread of its own and never far behind the reading."""
    with ExitStack() as stack:
        first = next(parts, None)  # the probe clears the caster: lanes are counted after it
        lanes = [stack.enter_context(ThreadPoolExecutor(1)) for _ in range(caster.lanes)]
        waiting: deque[Future[None]] = deque()
        for number, part in enumerate(chain([] if first is None else [first], parts)):
            lane = number % len(lanes)
            waiting.append(lanes[lane].submit(caster.add, *part, lane))
            if len(waiting) > 2 * len(lanes):
                waiting.popleft().result()
        for work in waiting:
            work.result()
    caster.join_lanes()


def _after_probe(chunks: Iterable[Chunk], caster: RayCaster, walls: tuple[Wall, ...]) -> Iterator[Chunk]:
    """Find each wall's scatter on the first chunks and set its band by it; then give all chunks.

    A chunk may hold a part of one turn of the scanner, and little of some walls: those take the others' scatter.
    """
    stream = iter(chunks)
    first: list[Chunk] = []
    for chunk in stream:
        first.append(chunk)
        if sum(len(one.points_m) for one in first) >= _PROBED_FROM:
            break
    if not first:
        return
    step = max(1, sum(len(one.points_m) for one in first) // _PROBE_POINTS)
    for chunk in first:
        caster.add(np.ascontiguousarray(chunk.points_m[::step]), chunk.escaped[:0], chunk.station)
    found = [caster.finish(w) for w in range(len(walls))]
    noise = [_noise_of(wall, sums) for wall, sums in zip(walls, found, strict=True)]
    shown = [float((sums.hit > 0).mean()) for sums in found]
    most = max(shown)
    told = [w for w in range(len(walls)) if shown[w] >= _LEAST_SHOWN * most]
    known = [value for w in told if (value := noise[w]) is not None]
    usual = float(np.median(known)) if known else _LEAST_BAND_MM
    # that of the scan, not of a wall that has much on it
    spread = float(np.median([cell_spread(found[w].hit, found[w].hit_sum) for w in told]))
    for w, own in enumerate(noise):
        sigma = usual if own is None or w not in told else float(np.clip(own, 0.5 * usual, _MOST_UNLIKE * usual))
        band = max(_BAND_SIGMAS * sigma, _BAND_SPREADS * spread)
        caster.set_band(w, float(np.clip(band, _LEAST_BAND_MM, _MOST_BAND_MM)))
    caster.clear()
    yield from first
    yield from stream
