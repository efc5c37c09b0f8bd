"""Every wall's outline, from the surfaces that meet at its edges."""

from collections.abc import Sequence

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.corner import SAMPLE_MM, SideLine, fit_end_strip, meet
from unfold.elevation.ends import FreeEnds
from unfold.elevation.evidence import WALL, Evidence
from unfold.elevation.outline import Outline, join_outline
from unfold.elevation.result import EdgeKind
from unfold.elevation.slab_edge import Run, trace_slab_edge
from unfold.elevation.slab_levels import WINDOW_MM, cells_beside
from unfold.quantity import combine
from unfold.room.result import Room, Wall
from unfold.side_by_side import shared_out
from unfold.surface.result import WallSurface

BEYOND_MM = 150.0  # sides and levels are traced this far beyond the rough wall


def trace_outlines(
    room: Room, surfaces: Sequence[WallSurface], evidence: Sequence[Evidence], ends: FreeEnds | None = None
) -> list[Outline]:
    """Trace the outline of each wall, in the order of the room's walls; `ends` places its free sides if known."""
    placed = ends or {}
    sides = _sides(room, surfaces, evidence, placed)

    def trace(wall: Wall, surface: WallSurface, seen: Evidence) -> Outline:
        return _trace(wall, room, surface, seen, (sides[wall.id, False], sides[wall.id, True]), placed)

    return shared_out(trace, room.walls, surfaces, evidence)


def _sides(
    room: Room, surfaces: Sequence[WallSurface], evidence: Sequence[Evidence], ends: FreeEnds
) -> dict[tuple[str, bool], SideLine]:
    """The upright sides of all walls: (wall, is it the right side)."""
    index = {wall.id: i for i, wall in enumerate(room.walls)}
    found: dict[tuple[str, bool], SideLine] = {}
    for i, wall in enumerate(room.walls):
        neighbour = wall.right.neighbour
        if neighbour is None or neighbour == wall.id or neighbour not in index:
            continue
        j = index[neighbour]
        v = _heights(wall)
        met = meet(fit_end_strip(wall, surfaces[i], True), fit_end_strip(room.walls[j], surfaces[j], False), v)
        if met is not None:
            found[wall.id, True] = _by_rays(wall, True, ends) or met[0]
            found[neighbour, False] = _by_rays(room.walls[j], False, ends) or met[1]
    for i, wall in enumerate(room.walls):
        for right in (False, True):
            if (wall.id, right) not in found:
                found[wall.id, right] = _open_end(wall, evidence[i], right, ends)
    return found


def _heights(wall: Wall) -> Floats:
    low, high = wall.bottom_m * 1000 - BEYOND_MM, wall.top_m * 1000 + BEYOND_MM
    return np.linspace(low, high, int((high - low) / SAMPLE_MM) + 2)


def _by_rays(wall: Wall, right: bool, ends: FreeEnds) -> SideLine | None:
    """A side that the rays beside it have placed."""
    fit = ends.get((wall.id, "right" if right else "left"))
    if fit is None:
        return None
    v = _heights(wall)
    line = (1.0 if right else -1.0) * (fit.offset_mm + fit.slope * v)
    return SideLine(v, line, np.full(v.size, fit.standard_uncertainty_mm))


def _open_end(wall: Wall, evidence: Evidence, right: bool, ends: FreeEnds) -> SideLine:
    """Where the measured wall stops: an upright line that nine rows in ten stay within, half a spacing beyond."""
    placed = _by_rays(wall, right, ends)
    if placed is not None:
        return placed
    v = _heights(wall)
    grid = evidence.grid
    rows = np.flatnonzero((evidence.seen == WALL).any(axis=1))
    rough = wall.width_m * 1000 if right else 0.0
    if rows.size < 5 or (wall.left.kind != "end" and wall.right.kind != "end"):
        return SideLine(v, np.full(v.size, rough), np.full(v.size, 10.0))
    seen = evidence.seen[rows] == WALL
    last = grid.columns - 1 - np.argmax(seen[:, ::-1], axis=1) if right else np.argmax(seen, axis=1)
    u = grid.u0_mm + grid.cell_mm * last
    end = float(np.quantile(u, 0.9 if right else 0.1))
    return SideLine(v, np.full(v.size, end), np.full(v.size, grid.cell_mm / 2))


def _trace(
    wall: Wall,
    room: Room,
    surface: WallSurface,
    evidence: Evidence,
    sides: tuple[SideLine, SideLine],
    ends: FreeEnds,
) -> Outline:
    u = np.arange(-BEYOND_MM, wall.width_m * 1000 + BEYOND_MM + SAMPLE_MM, SAMPLE_MM)
    beside = cells_beside(wall, room)
    bottom = trace_slab_edge(
        wall, room, beside, "floor", _own_ends(wall, evidence, False), _heights_along(surface, u, False), u
    )
    top = trace_slab_edge(
        wall, room, beside, "ceiling", _own_ends(wall, evidence, True), _heights_along(surface, u, True), u
    )
    bottom_kind: EdgeKind = "floor" if bottom else "end"
    top_kind: EdgeKind = "ceiling" if top else "end"
    bottom = bottom or [_free_level(wall, evidence, u, False, ends)]
    top = top or [_free_level(wall, evidence, u, True, ends)]
    registration = surface.registration_mm
    bottom = [Run(r.u_mm, r.v_mm, np.hypot(r.uncertainty_mm, registration), r.measured) for r in bottom]
    top = [Run(r.u_mm, r.v_mm, np.hypot(r.uncertainty_mm, registration), r.measured) for r in top]
    step = combine([3.0, registration])
    return join_outline(bottom, top, *sides, (wall.left, wall.right), bottom_kind, top_kind, step)


def _own_ends(wall: Wall, evidence: Evidence, upper: bool) -> Floats:
    """Per 50 mm of the wall, v of its lowest or highest row with at least two cells of wall; NaN where none."""
    windows = max(int(np.ceil(wall.width_m * 1000 / WINDOW_MM)), 1)
    grid = evidence.grid
    u = grid.u0_mm + grid.cell_mm * np.arange(grid.columns)
    window = np.floor(u / WINDOW_MM).astype(int)
    ends = np.full(windows, np.nan)
    for k in range(windows):
        columns = np.flatnonzero(window == k)
        if columns.size == 0:
            continue
        rows = np.flatnonzero((evidence.seen[:, columns] == WALL).sum(axis=1) >= min(2, columns.size))
        if rows.size:
            ends[k] = grid.v0_mm + grid.cell_mm * (rows[-1] if upper else rows[0])
    known = np.isfinite(ends)
    if known.any():
        ends = np.interp(np.arange(windows), np.flatnonzero(known), ends[known])
    return ends


def _heights_along(surface: WallSurface, u: Floats, upper: bool) -> Floats:
    """The wall's height near its upper or lower edge over u: the mean of the outermost 120 mm that were measured."""
    grid = surface.grid
    good = surface.is_wall & np.isfinite(surface.height_mm)
    rows = max(int(120.0 / grid.cell_mm), 1)
    rank = np.cumsum(good[::-1], axis=0)[::-1] if upper else np.cumsum(good, axis=0)
    chosen = good & (rank <= rows)
    count = chosen.sum(axis=0)
    known = count > 0
    means = np.where(chosen, surface.height_mm, 0.0).sum(axis=0) / np.maximum(count, 1)
    if not known.any():
        return np.zeros(u.size)
    centres = grid.u0_mm + grid.cell_mm * np.arange(grid.columns)
    return np.asarray(np.interp(u, centres[known], means[known]))


def _free_level(wall: Wall, evidence: Evidence, u: Floats, upper: bool, ends: FreeEnds) -> Run:
    """The level where the measured wall stops when nothing meets it there: nine columns in ten stay within."""
    fit = ends.get((wall.id, "top" if upper else "bottom"))
    if fit is not None:
        line = (1.0 if upper else -1.0) * (fit.offset_mm + fit.slope * u)
        return Run(u, line, np.full(u.size, fit.standard_uncertainty_mm), True)
    grid = evidence.grid
    columns = np.flatnonzero((evidence.seen == WALL).any(axis=0))
    rough = wall.top_m * 1000 if upper else wall.bottom_m * 1000
    if columns.size < 5:
        return Run(u, np.full(u.size, rough), np.full(u.size, 20.0), False)
    seen = evidence.seen[:, columns] == WALL
    last = grid.rows - 1 - np.argmax(seen[::-1], axis=0) if upper else np.argmax(seen, axis=0)
    level = float(np.quantile(grid.v0_mm + grid.cell_mm * last, 0.9 if upper else 0.1))
    return Run(u, np.full(u.size, level), np.full(u.size, grid.cell_mm / 2), False)
