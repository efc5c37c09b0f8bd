"""One wall: from what the rays left on its raster to its height map, figures and verdicts."""

from dataclasses import dataclass, replace

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.findings import Finding
from unfold.quantity import worst_verdict
from unfold.room.result import Wall
from unfold.surface.figures import block_map, flatness_mm, laid_on, low_order_figures, straightedge
from unfold.surface.height_map import map_heights
from unfold.surface.lumps import doubtful_lumps, smallest_lumps, told_lumps
from unfold.surface.noise import local_noise
from unfold.surface.rays import TILE_CELLS, WallSums
from unfold.surface.registration import Registration
from unfold.surface.result import Lump, RayCounts, Straightedge, WallSurface
from unfold.surface.shared_error import SharedErrors
from unfold.surface.tolerance import ToleranceSet
from unfold.surface.wall_cells import WallCells

_LEAST_CELLS = 50
_LITTLE_SEEN = 0.5
_SCATTERED = 4.0  # times the usual scatter
_LEAST_USUAL_MM = 0.5
_TOO_LITTLE_SEEN = 0.2


@dataclass(frozen=True, slots=True)
class WallData:
    """A wall, what the rays left on its raster, its own cells, and how the stations agree on it."""

    wall: Wall
    sums: WallSums
    cells: WallCells
    registration: Registration
    noise_mm: float | None  # from the scatter within cells; None when the points are too sparse
    assumed_noise_mm: float
    rounding_mm: float = 0.0  # standard uncertainty of a decimetre's mean height from rounded coordinates


def measure_wall(
    data: WallData, errors: SharedErrors, tolerance: ToleranceSet, usual_noise_mm: float
) -> tuple[WallSurface, list[Finding]]:
    """Measure one wall; the second result says what was noticed and assumed.

    `usual_noise_mm` is the scatter of points on the scan's other walls: where a wall's own is far beyond it, what was
    taken for one surface is not one, and nothing is decided on it.
    """
    sums, cells, wall = data.sums, data.cells, data.wall
    if cells.count.sum() < _LEAST_CELLS or cells.is_wall.sum() < _LEAST_CELLS:
        return _not_measured(data, tolerance)
    total = cells.height_sum - _moved(sums, data.registration, cells)
    patch = data.registration.correlated_mm or 0.0
    heights = map_heights(
        sums.grid, sums.coarse_mm, cells.is_wall, cells.count, total, _scatter(data), patch, cells.clear, cells.to_edges
    )
    is_wall = cells.is_wall & ~heights.suspect
    noise = data.noise_mm if data.noise_mm is not None else heights.posterior.unit_mm
    density = float(cells.count.sum()) / (float(cells.is_wall.sum()) * sums.grid.cell_mm**2)
    error, findings = errors.of_wall(wall.id, data.registration, noise, density, data.rounding_mm)
    share = field_share(wall, sums, is_wall)
    seen = (sums.hit > 0) & _extent(wall, sums)
    radius = None if wall.frame.radius_m is None else 1000.0 * abs(wall.frame.radius_m)
    laid = laid_on(sums.grid, heights, is_wall, seen, cells.apart, sums.coarse_mm + cells.doubtful_mm, radius)
    edges = [straightedge(rule, laid, error, share) for rule in tolerance.rules]
    scattered = noise > _SCATTERED * max(usual_noise_mm, _LEAST_USUAL_MM)
    if scattered:
        edges = [(replace(edge, verdict="cannot be decided"), parts) for edge, parts in edges]
    blocks = block_map(sums.grid, heights, is_wall, 50.0)
    low = low_order_figures(blocks, wall.frame, error, measured_extent_mm(sums, is_wall))
    flat = flatness_mm(sums.grid, heights.filled_mm, is_wall)
    usual = float(np.median(heights.standard_error_mm[is_wall]))
    told = told_lumps(heights.posterior.lumps, sums.grid, heights.filled_mm, is_wall, usual)
    doubtful = doubtful_lumps(sums.grid, cells.doubtful_mm, noise)
    standard = np.sqrt(heights.standard_error_mm**2 + error.height_mm**2 + error.patch_mm**2 + error.model_mm**2)
    surface = WallSurface(
        wall=wall.id,
        grid=sums.grid,
        height_mm=np.where(is_wall, heights.filled_mm, np.nan),
        standard_error_mm=np.where(is_wall, standard, np.nan),
        count=np.where(is_wall, cells.count, 0).astype(np.uint32),
        is_wall=is_wall,
        rays=ray_counts(sums),
        noise_mm=noise,
        registration_mm=error.height_mm,
        lean_mm_per_m=low.lean_mm_per_m if low else None,
        bow_horizontal_mm=low.bow_horizontal_mm if low else None,
        bow_vertical_mm=low.bow_vertical_mm if low else None,
        flatness_least_squares_mm=flat[0] if flat else None,
        flatness_minimum_zone_mm=flat[1] if flat else None,
        straightedges=tuple(edge for edge, _ in edges),
        verdict=worst_verdict(edge.verdict for edge, _ in edges),
        uncertainty_parts=edges[0][1] if edges else {},
        lumps=(*told, *doubtful),
        smallest_lumps=smallest_lumps(int(is_wall.sum()), noise, density, data.registration.correlated_mm or 0.0),
    )
    findings += _noticed(wall, cells, share) + _told(wall, told, doubtful)
    if scattered:
        text = f"{wall.id}: its points scatter by {noise:.0f} mm, others' by {usual_noise_mm:.1f} mm: not decided"
        findings.append(Finding("warning", "scattered", text, wall.id))
    return surface, findings


def _scatter(data: WallData) -> Floats | None:
    if data.noise_mm is None:
        return None
    sums = data.sums
    return local_noise(sums.hit, sums.hit_sum, sums.hit_squares, data.cells.is_wall, data.noise_mm)


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
        if c0 or cx or cy:
            moved += sums.by_station[s] * (c0 + cx * x[None, :] + cy * y[:, None])
    # a cell of a lump counts more points than its hits: all of them are moved alike
    hits = np.maximum(sums.by_station.sum(axis=0, dtype=np.int64), 1)
    return np.where(cells.is_wall, moved * (cells.count / hits), 0.0)


def measured_extent_mm(sums: WallSums, is_wall: Bools) -> tuple[float, float]:
    """Width and height over which a wall was measured: its own cells, and at their sides what is left out as a rim."""
    seen = is_wall | (sums.hit > 0)
    extent = []
    for axis in (0, 1):
        filled = seen.sum(axis=axis)
        lines = np.nonzero(filled >= 0.3 * np.median(filled[is_wall.any(axis=axis)]))[0]
        extent.append(float(lines[-1] - lines[0] + 1) * sums.grid.cell_mm)
    return extent[0], extent[1]


def field_share(wall: Wall, sums: WallSums, is_wall: Bools) -> float:
    """Share of the wall's field that was measured: of its rough extent less what rays went through or into."""
    inside = _extent(wall, sums)
    opening = (sums.through - sums.lost + sums.recess) > sums.hit
    field = inside & (is_wall | ~opening)
    return float((is_wall & field).sum() / max(int(field.sum()), 1))


def _extent(wall: Wall, sums: WallSums) -> Bools:
    """Cells within the wall's rough extent."""
    u, v = sums.grid.u_mm / 1000.0, sums.grid.v_mm / 1000.0
    return ((v >= wall.bottom_m) & (v <= wall.top_m))[:, None] & ((u >= 0.0) & (u <= wall.width_m))[None, :]


def _noticed(wall: Wall, cells: WallCells, share: float) -> list[Finding]:
    found: list[Finding] = []
    if cells.things:
        text = (
            f"{wall.id}: {cells.things} areas that stand off it behind a sharp edge (plates, skirting) are not measured"
        )
        found.append(Finding("note", "things-on-wall", text, wall.id))
    if share < _LITTLE_SEEN:
        so = "too little to say that it conforms" if share < _TOO_LITTLE_SEEN else "its figures hold for that part only"
        text = f"{wall.id}: only {100 * share:.0f} % of it was seen; {so}"
        found.append(Finding("warning", "little-seen", text, wall.id))
    if wall.frame.radius_m is not None:
        text = (
            f"{wall.id} is curved: straightedges are laid along its axis, and templates of its own radius "
            f"({1000.0 * abs(wall.frame.radius_m):.0f} mm) around it, up to 45 degrees"
        )
        found.append(Finding("note", "curved", text, wall.id))
    return found


def _told(wall: Wall, lumps: list[Lump], doubtful: tuple[Lump, ...]) -> list[Finding]:
    """What to say of lumps: the highest of those told from flat, and every one that may be a thing."""
    found: list[Finding] = []
    if lumps:
        most = max(lumps, key=lambda lump: abs(lump.height_mm))
        text = f"{wall.id}: {len(lumps)} lumps or hollows told from flat; the highest {_place(most)}"
        found.append(Finding("note", "lumps", text, wall.id))
    for lump in doubtful:
        text = f"{wall.id}: something {_place(lump)}: a lump of the wall or a thing on it, which the scan does not tell"
        found.append(Finding("warning", "doubtful-lump", text, wall.id))
    return found


def _place(lump: Lump) -> str:
    return (
        f"{lump.height_mm:+.1f} mm and {lump.across_mm:.0f} mm across, at {lump.u_mm:.0f} along and {lump.v_mm:.0f} up"
    )


def ray_counts(sums: WallSums) -> RayCounts:
    """Publish the counts of a wall's raster."""
    with np.errstate(invalid="ignore", divide="ignore"):
        depth = np.where(sums.recess > 0, sums.depth_sum / sums.recess, np.nan)
    return RayCounts(sums.hit, sums.recess, sums.through, sums.proud, sums.blocked, depth, sums.lost)


def _not_measured(data: WallData, tolerance: ToleranceSet) -> tuple[WallSurface, list[Finding]]:
    """A wall of which nearly nothing was seen: everything is unknown."""
    wall, shape = data.wall, data.sums.hit.shape
    edges = tuple(
        Straightedge(rule.id, rule.length_mm, rule.limit_mm, None, None, None, None, None, None, "cannot be decided")
        for rule in tolerance.rules
    )
    surface = WallSurface(
        wall=wall.id,
        grid=data.sums.grid,
        height_mm=np.full(shape, np.nan),
        standard_error_mm=np.full(shape, np.nan),
        count=np.zeros(shape, np.uint32),
        is_wall=np.zeros(shape, bool),
        rays=ray_counts(data.sums),
        noise_mm=data.assumed_noise_mm,
        registration_mm=0.0,
        lean_mm_per_m=None,
        bow_horizontal_mm=None,
        bow_vertical_mm=None,
        flatness_least_squares_mm=None,
        flatness_minimum_zone_mm=None,
        straightedges=edges,
        verdict="cannot be decided",
        uncertainty_parts={},
    )
    return surface, [
        Finding("warning", "not-measured", f"{wall.id}: nearly nothing of its own surface was seen", wall.id)
    ]
