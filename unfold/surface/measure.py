"""The surface stage: from the stream and the room's walls to height maps, flatness and verdicts."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.findings import Finding
from unfold.progress import Progress, silent
from unfold.quantity import worst_verdict
from unfold.room.result import Room, Wall
from unfold.scan import Scan
from unfold.scan.result import Chunk
from unfold.settings.surface import SurfaceSettings
from unfold.surface.coarse import coarse_surface, grid_of
from unfold.surface.figures import SharedError, block_map, flatness_mm, low_order_figures, straightedge
from unfold.surface.height_map import HeightMap, map_heights
from unfold.surface.noise import point_noise
from unfold.surface.rays import TILE_CELLS, RayCaster, WallSums
from unfold.surface.registration import Registration, register
from unfold.surface.result import RayCounts, Surfaces, WallSurface
from unfold.surface.tolerance import ToleranceSet, load_tolerance
from unfold.surface.wall_cells import WallCells, own_cells

_BAND_SIGMAS = 4.5
_LEAST_BAND_MM, _MOST_BAND_MM = 4.0, 30.0
_PROBE_POINTS = 300_000
_MODEL_MM = 0.05
_MM_PER_M_PER_DEG = 1000.0 * np.pi / 180.0


def measure_surfaces(scan: Scan, room: Room, settings: SurfaceSettings, progress: Progress | None = None) -> Surfaces:
    """Measure every wall of a room.

    Raises SettingsError when the settings ask for a tolerance set that there is none of.
    """
    report = progress or silent
    tolerance = load_tolerance(settings)
    report("second pass over the points")
    caster = _cast(scan, room, settings)
    stated = any(station.position_m is not None for station in scan.stations)
    walls: list[WallSurface] = []
    findings: list[Finding] = []
    for w, wall in enumerate(room.walls):
        report(f"flatness of {wall.id}")
        surface, noticed = _measure_wall(wall, caster.finish(w), room, settings, tolerance, stated)
        walls.append(surface)
        findings.extend(noticed)
    return Surfaces(tolerance.name, tuple(walls), tuple(findings))


def _cast(scan: Scan, room: Room, settings: SurfaceSettings) -> RayCaster:
    grids = [grid_of(wall) for wall in room.walls]
    coarse = [coarse_surface(wall, grid, room.cells) for wall, grid in zip(room.walls, grids, strict=True)]
    places = [station.position_m for station in scan.stations]
    caster = RayCaster(room.walls, grids, coarse, room.level_from_local, places, settings.recess_reach)
    for chunk in _after_probe(scan.chunks(), caster, len(room.walls)):
        caster.add(chunk.points_m, chunk.escaped, chunk.station)
    return caster


def _after_probe(chunks: Iterable[Chunk], caster: RayCaster, walls: int) -> Iterator[Chunk]:
    """Find each wall's scatter on the first chunks and set its band by it; then give all chunks."""
    stream = iter(chunks)
    first = next(stream, None)
    if first is None:
        return
    step = max(1, len(first.points_m) // _PROBE_POINTS)
    caster.add(np.ascontiguousarray(first.points_m[::step]), first.escaped[:0], first.station)
    found = [caster.finish(w) for w in range(walls)]
    noise = [point_noise(sums.hit, sums.hit_sum, sums.hit_squares) for sums in found]
    known = [value for value in noise if value is not None]
    usual = float(np.median(known)) if known else _LEAST_BAND_MM
    for w in range(walls):
        own = noise[w]
        sigma = usual if own is None else max(own, 0.5 * usual)
        caster.set_band(w, float(np.clip(_BAND_SIGMAS * sigma, _LEAST_BAND_MM, _MOST_BAND_MM)))
    caster.clear()
    yield first
    yield from stream


@dataclass(frozen=True, slots=True)
class _Errors:
    shared: SharedError
    registration_mm: float
    findings: tuple[Finding, ...]


def _measure_wall(
    wall: Wall,
    sums: WallSums,
    room: Room,
    settings: SurfaceSettings,
    tolerance: ToleranceSet,
    stated: bool,
) -> tuple[WallSurface, list[Finding]]:
    """Measure one wall from what the rays left on its raster."""
    noise = point_noise(sums.hit, sums.hit_sum, sums.hit_squares)
    assumed = noise if noise is not None else 1000.0 * wall.noise_m
    cells = own_cells(sums, assumed, 1000.0 * wall.width_m, 1000.0 * wall.bottom_m, 1000.0 * wall.top_m)
    if cells.count.sum() < 50 or cells.is_wall.sum() < 50:
        return _not_measured(wall, sums, tolerance, assumed)
    registration = register(sums.tiles, TILE_CELLS * sums.grid.cell_mm, assumed)
    total = cells.height_sum - _moved(sums, registration, cells)
    heights = map_heights(sums.grid, sums.coarse_mm, cells.is_wall, cells.count, total, noise)
    scatter = noise if noise is not None else heights.unit_mm
    errors = _errors(wall, registration, settings, room, scatter, stated)
    return _wall_surface(wall, sums, cells, heights, errors, scatter, tolerance)


def _moved(sums: WallSums, registration: Registration, cells: WallCells) -> Floats:
    """What the stations' corrections take off the sums of each cell."""
    stations = len(sums.by_station)
    moved = np.zeros(cells.height_sum.shape)
    if stations != len(registration.corrections_mm) or not registration.corrections_mm.any():
        return moved
    tile_rows, tile_columns = -(-sums.grid.rows // TILE_CELLS), -(-sums.grid.columns // TILE_CELLS)
    y = (np.arange(sums.grid.rows) - (tile_rows * TILE_CELLS - 1) / 2) * sums.grid.cell_mm / 1000.0
    x = (np.arange(sums.grid.columns) - (tile_columns * TILE_CELLS - 1) / 2) * sums.grid.cell_mm / 1000.0
    for s in range(stations):
        c0, cx, cy = registration.corrections_mm[s]
        moved += sums.by_station[s] * (c0 + cx * x[None, :] + cy * y[:, None])
    # a cell of a lump counts more points than its hits: all of them are moved alike
    hits = np.maximum(sums.by_station.sum(axis=0, dtype=np.int64), 1)
    return np.where(cells.is_wall, moved * (cells.count / hits), 0.0)


def _errors(
    wall: Wall,
    registration: Registration,
    settings: SurfaceSettings,
    room: Room,
    noise_mm: float,
    stated: bool,
) -> _Errors:
    """What more points do not reduce: from the stations' disagreement, or from the settings, with a finding."""
    plumb = _MM_PER_M_PER_DEG * room.plumb.standard_uncertainty_deg
    findings: list[Finding] = []
    if not stated:
        drift = settings.drift if settings.drift is not None else noise_mm
        findings.append(
            Finding(
                "note",
                "drift-assumed",
                (
                    f"{wall.id}: the scan does not say where it was taken from, so its drift cannot be seen; "
                    f"{drift:.1f} mm is assumed (surface.drift)"
                ),
                wall.id,
            )
        )
        return _Errors(SharedError(drift, 0.0, _MODEL_MM, plumb), drift, tuple(findings))
    height, patch = registration.height_mm, registration.correlated_mm
    if height is None:
        findings.append(
            Finding(
                "note",
                "registration-assumed",
                (
                    f"{wall.id}: no two stations saw the same part of it, so their agreement cannot be seen; "
                    f"{settings.station_error:.1f} mm is assumed (surface.station_error)"
                ),
                wall.id,
            )
        )
        height = settings.station_error
    shape = 0.0 if registration.connected else settings.station_error
    return _Errors(SharedError(shape, patch or 0.0, _MODEL_MM, plumb), height, tuple(findings))


def _wall_surface(
    wall: Wall,
    sums: WallSums,
    cells: WallCells,
    heights: HeightMap,
    errors: _Errors,
    noise_mm: float,
    tolerance: ToleranceSet,
) -> tuple[WallSurface, list[Finding]]:
    grid, is_wall = sums.grid, cells.is_wall
    share = field_share(wall, sums, cells)
    curved = wall.frame.radius_m is not None
    edges = [straightedge(rule, grid, heights, is_wall, errors.shared, share, curved) for rule in tolerance.rules]
    low = low_order_figures(block_map(grid, heights, is_wall, 50.0), wall.frame, errors.shared)
    flat = flatness_mm(grid, heights.filled_mm, is_wall)
    error = np.sqrt(heights.standard_error_mm**2 + errors.registration_mm**2 + errors.shared.patch_mm**2)
    surface = WallSurface(
        wall.id,
        grid,
        np.where(is_wall, heights.filled_mm, np.nan),
        np.where(is_wall, error, np.nan),
        cells.count,
        is_wall,
        ray_counts(sums),
        noise_mm,
        errors.registration_mm,
        low.lean_mm_per_m if low else None,
        low.bow_horizontal_mm if low else None,
        low.bow_vertical_mm if low else None,
        flat and flat[0],
        flat and flat[1],
        tuple(edge for edge, _ in edges),
        worst_verdict(edge.verdict for edge, _ in edges),
        edges[0][1] if edges else {},
    )
    return surface, [*errors.findings, *_noticed(wall, cells, share, curved)]


def _noticed(wall: Wall, cells: WallCells, share: float, curved: bool) -> list[Finding]:
    found: list[Finding] = []
    if cells.things:
        found.append(
            Finding(
                "note",
                "things-on-wall",
                (
                    f"{wall.id}: {cells.things} areas that stand off the wall behind a sharp edge (plates, casings, "
                    "skirting) are left out of its flatness"
                ),
                wall.id,
            )
        )
    if share < 0.5:
        found.append(
            Finding(
                "warning",
                "little-seen",
                (f"{wall.id}: only {100 * share:.0f} % of it was seen, too little to say that it conforms"),
                wall.id,
            )
        )
    if curved:
        found.append(
            Finding(
                "note",
                "curved",
                (
                    f"{wall.id} is curved: the straightedge was laid along its axis only, which can find fault with it "
                    "but not clear it"
                ),
                wall.id,
            )
        )
    return found


def field_share(wall: Wall, sums: WallSums, cells: WallCells) -> float:
    """Share of the wall's field that was measured: of its rough extent less what rays went through or into."""
    grid = sums.grid
    u, v = grid.u_mm, grid.v_mm
    inside = ((v >= 1000 * wall.bottom_m) & (v <= 1000 * wall.top_m))[:, None] & (
        (u >= 0) & (u <= 1000 * wall.width_m)
    )[None, :]
    opening = (sums.through - sums.lost + sums.recess) > sums.hit
    field = inside & (cells.is_wall | ~opening)
    return float((cells.is_wall & field).sum() / max(int(field.sum()), 1))


def ray_counts(sums: WallSums) -> RayCounts:
    """Publish the counts of a wall's raster."""
    with np.errstate(invalid="ignore", divide="ignore"):
        depth = np.where(sums.recess > 0, sums.depth_sum / sums.recess, np.nan)
    return RayCounts(sums.hit, sums.recess, sums.through, sums.proud, sums.blocked, depth, sums.lost)


def _not_measured(
    wall: Wall, sums: WallSums, tolerance: ToleranceSet, noise_mm: float
) -> tuple[WallSurface, list[Finding]]:
    """A wall of which nearly nothing was seen: everything is unknown."""
    from unfold.surface.result import Straightedge

    nothing = np.full(sums.hit.shape, np.nan)
    edges = tuple(
        Straightedge(rule.id, rule.length_mm, rule.limit_mm, None, None, None, None, None, None, "cannot be decided")
        for rule in tolerance.rules
    )
    surface = WallSurface(
        wall.id,
        sums.grid,
        nothing,
        nothing.copy(),
        np.zeros(sums.hit.shape, np.uint32),
        np.zeros(sums.hit.shape, bool),
        ray_counts(sums),
        noise_mm,
        0.0,
        None,
        None,
        None,
        None,
        None,
        edges,
        "cannot be decided",
        {},
    )
    return surface, [
        Finding("warning", "not-measured", f"{wall.id}: nearly nothing of its own surface was seen", wall.id)
    ]
