"""A wall's lower and upper edge: the floor's or ceiling's height field beside the wall, carried on to its surface."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import ndimage

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.slab_levels import BIN_MM, STEP_MM, WINDOW_MM, Beside, bridge, drop_lone, plane_v, rough_levels
from unfold.elevation.strip_fit import fit_strip
from unfold.room.result import Room, Slab, Wall

SLAB_REACH_MM = 150.0
UNSEEN_SLAB_MM = 2.0  # how far a floor or ceiling strays from its plane where it was not seen
UNSEEN_RISE = 0.01  # and by how much more for each millimetre from where it was
MODEL_MM = 0.15
KINK = 0.03  # planes whose slopes along the wall differ by more meet in a kink


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of an edge without a step; arrays (n,), u rising, millimetres."""

    u_mm: Floats
    v_mm: Floats
    uncertainty_mm: Floats
    measured: bool  # False: the slab's plane stands in

    def v_at(self, u_mm: float | Floats) -> Floats:
        return np.asarray(np.interp(u_mm, self.u_mm, self.v_mm))


def trace_slab_edge(
    wall: Wall,
    room: Room,
    beside: Beside,
    kind: Literal["floor", "ceiling"],
    wall_ends_mm: Floats,
    surface_h_mm: Floats,
    u_mm: Floats,
) -> list[Run]:
    """Find the runs of a wall's lower or upper edge.

    Parameters
    ----------
    wall_ends_mm : (windows,)
        For each 50 mm of the wall from u = 0: v of its own lowest (floor) or highest (ceiling) measured point; NaN
        where none.
    surface_h_mm : (n,)
        The wall's height over its base surface along the edge at `u_mm`.
    u_mm : (n,)
        Where the edge is wanted, rising.

    Returns
    -------
    list of Run
        In order of u; empty when no floor or ceiling meets the wall.
    """
    slabs = [slab for slab in room.slabs if slab.kind == kind]
    rough, plane = rough_levels(wall, beside, slabs, kind, wall_ends_mm)
    drop_lone(wall, slabs, rough, plane)
    if not np.isfinite(rough).any():
        return _slab_alone(wall, slabs, kind, u_mm, surface_h_mm)
    unseen_mm = ndimage.distance_transform_edt(np.isnan(rough)) * WINDOW_MM
    rough = bridge(rough, plane)
    pieces = _pieces(rough, plane, wall, slabs)
    breaks = [_step_place(wall, beside, slabs, rough, plane, piece.start) for piece in pieces[1:]]
    bounds = [-np.inf, *np.maximum.accumulate(np.array(breaks)), np.inf]
    runs = []
    for i, piece in enumerate(pieces):
        inside = (u_mm >= bounds[i]) & (u_mm <= bounds[i + 1])
        own = np.concatenate(
            [
                [b for b in bounds[i : i + 1] if np.isfinite(b)],
                u_mm[inside],
                [b for b in bounds[i + 1 : i + 2] if np.isfinite(b)],
            ]
        )
        heights = np.interp(own, u_mm, surface_h_mm)
        slab = slabs[plane[piece.start]] if plane[piece.start] >= 0 else None
        runs.append(_fit_run(wall, beside, slab, rough, unseen_mm, piece, own, heights))
    return runs


def _slab_alone(wall: Wall, slabs: list[Slab], kind: str, u: Floats, h: Floats) -> list[Run]:
    """The slab's plane where no cell beside the wall shows it (a stub seen at a grazing angle); empty when none fits.

    A wall that the room stage found to end well away from every slab has a free end there.
    """
    rough = (wall.top_m if kind == "ceiling" else wall.bottom_m) * 1000
    middle = np.array([wall.width_m * 500])
    apart = [abs(float(plane_v(wall, slab, middle, np.zeros(1))[0]) - rough) for slab in slabs]
    if not apart or min(apart) > SLAB_REACH_MM:
        return []
    slab = slabs[int(np.argmin(apart))]
    uncertainty = float(np.hypot(UNSEEN_SLAB_MM, slab.rms_m * 1000))
    return [Run(u, plane_v(wall, slab, u, h), np.full(u.size, uncertainty), False)]


def _pieces(rough: Floats, plane: AnyArray, wall: Wall, slabs: list[Slab]) -> list[slice]:
    """Stretches of windows without a step; a stretch of a single window is clutter or half a step, no level."""
    windows = rough.size

    def v(window: int, place: float) -> float:
        return _level(wall, slabs, rough, plane, window, place)

    starts = _starts(v, plane)
    for start, stop in zip(starts, [*starts[1:], windows], strict=True):
        if stop - start == 1 and len(starts) > 1:
            neighbour = start - 1 if start > 0 else stop
            rough[start], plane[start] = rough[neighbour], plane[neighbour]
    starts = _starts(v, plane)
    for start, stop in zip(starts, [*starts[1:], windows], strict=True):
        _settle_plane(rough, plane, slice(start, stop), v, slabs, wall)
    return [slice(a, b) for a, b in zip(starts, [*starts[1:], windows], strict=True)]


def _level(wall: Wall, slabs: list[Slab], rough: Floats, plane: AnyArray, window: int, place: float) -> float:
    """v of a window's layer, carried on along its plane to u = `place`."""
    slab = slabs[plane[window]] if plane[window] >= 0 else None
    return float(rough[window] + plane_v(wall, slab, np.array([place]), np.zeros(1))[0])


def _starts(v: Callable[[int, float], float], plane: AnyArray) -> list[int]:
    """The first windows of the stretches without a step or a kink."""
    starts = [0]
    for i in range(1, plane.size):
        edge = i * WINDOW_MM
        before, after = ((v(k, edge), v(k, edge + WINDOW_MM)) for k in (i - 1, i))
        kinked = plane[i] != plane[i - 1] and abs((after[1] - after[0]) - (before[1] - before[0])) > KINK * WINDOW_MM
        if kinked or abs(after[0] - before[0]) >= STEP_MM:
            starts.append(i)
    return starts


def _kink_place(wall: Wall, slabs: list[Slab], rough: Floats, plane: AnyArray, start: int) -> float | None:
    """u where the planes on both sides of a window's beginning meet, if they do close by."""
    if plane[start] == plane[start - 1]:
        return None
    place = start * WINDOW_MM
    usual = rough.copy()  # the windows beside a kink take in some of both planes
    usual[start - 1], usual[start] = np.median(rough[max(start - 4, 0) : start]), np.median(rough[start : start + 4])
    before, after = (
        [_level(wall, slabs, usual, plane, k, at) for at in (place, place + WINDOW_MM)] for k in (start - 1, start)
    )
    turn = ((after[1] - after[0]) - (before[1] - before[0])) / WINDOW_MM
    if abs(turn) < KINK or abs(after[0] - before[0]) > 2 * WINDOW_MM * abs(turn):
        return None
    return float(place - (after[0] - before[0]) / turn)


def _settle_plane(
    rough: Floats, plane: AnyArray, piece: slice, v: Callable[[int, float], float], slabs: list[Slab], wall: Wall
) -> None:
    """Express a piece's levels over the one plane that most of its windows are on, in place."""
    values, counts = np.unique(plane[piece], return_counts=True)
    chosen = int(values[np.argmax(counts)])
    for i in range(piece.start, piece.stop):
        if plane[i] != chosen:
            centre = (i + 0.5) * WINDOW_MM
            base = plane_v(wall, slabs[chosen] if chosen >= 0 else None, np.array([centre]), np.zeros(1))[0]
            rough[i], plane[i] = v(i, centre) - base, chosen


def _step_place(wall: Wall, beside: Beside, slabs: list[Slab], rough: Floats, plane: AnyArray, start: int) -> float:
    """u of a kink, or of the upright face of a step where it meets the wall, from the cells on that face; else between
    windows.
    """
    kink = _kink_place(wall, slabs, rough, plane, start)
    if kink is not None:
        return kink
    middle = start * WINDOW_MM
    levels = [_level(wall, slabs, rough, plane, window, middle) for window in (start - 1, start)]
    low, high = min(levels), max(levels)
    margin = min(35.0, 0.3 * (high - low))
    on_face = (beside.v > low + margin) & (beside.v < high - margin) & (np.abs(beside.u - middle) < 2.2 * WINDOW_MM)
    u, d, weight = beside.u[on_face], beside.d[on_face], beside.count[on_face].copy()
    if u.size < 8 or np.ptp(d) < 60.0:
        return float(middle)
    design = np.column_stack([np.ones(u.size), d])
    for _ in range(5):
        solution = np.linalg.lstsq(np.sqrt(weight)[:, None] * design, np.sqrt(weight) * u, rcond=None)[0]
        misfit = u - design @ solution
        spread = max(1.4826 * float(np.median(np.abs(misfit))), 1.0)
        weight = beside.count[on_face] * np.clip(1 - (misfit / (4.685 * spread)) ** 2, 0, 1) ** 2
    return float(np.clip(solution[0], middle - 2 * WINDOW_MM, middle + 2 * WINDOW_MM))


def _fit_run(
    wall: Wall, beside: Beside, slab: Slab | None, rough: Floats, unseen_mm: Floats, piece: slice, u: Floats, h: Floats
) -> Run:
    """Fit the strip of one run and evaluate it where the wall's surface is.

    `unseen_mm` says for each window how far the next one is where the layer was seen: there it is held near its plane.
    """
    residual = beside.v - plane_v(wall, slab, beside.u, beside.d)
    window = np.clip(np.floor(beside.u / WINDOW_MM).astype(int), 0, rough.size - 1)
    mine = (window >= piece.start) & (window < piece.stop) & (np.abs(residual - rough[window]) < 20.0)
    base = plane_v(wall, slab, u, h)
    t, d, y, error = _bins(beside, residual, mine)
    span = (piece.start * WINDOW_MM - 60.0, piece.stop * WINDOW_MM + 60.0)
    if t.size < 12:
        return Run(u, base + float(np.median(rough[piece])), np.full(u.size, 5.0), False)
    hidden = np.arange(piece.start, piece.stop)[unseen_mm[piece] > 0]
    if hidden.size:
        # windows that hide together stray together: all of them count as one
        stretch = np.cumsum(np.r_[0, np.diff(hidden) > 1])
        stray = np.hypot(UNSEEN_SLAB_MM, UNSEEN_RISE * unseen_mm[hidden]) * np.sqrt(np.bincount(stretch)[stretch])
        t, d = np.r_[t, (hidden + 0.5) * WINDOW_MM], np.r_[d, np.zeros(hidden.size)]
        y, error = np.r_[y, rough[hidden]], np.r_[error, stray]
    fit = fit_strip(t, d, y, error, knot_mm=max(200.0, (span[1] - span[0]) / 60), span=span)
    assert fit is not None
    value, uncertainty = fit.at(u, h)
    stray = UNSEEN_RISE * np.interp(u, (np.arange(rough.size) + 0.5) * WINDOW_MM, unseen_mm)
    return Run(u, base + value, np.hypot(np.maximum(uncertainty, stray), MODEL_MM), True)


def _bins(beside: Beside, residual: Floats, mine: Bools) -> tuple[Floats, Floats, Floats, Floats]:
    """Join cells that lie on top of each other: a flat surface may be split between two cells of a column."""
    u, d, r, count = beside.u[mine], beside.d[mine], residual[mine], beside.count[mine]
    key = np.floor(u / BIN_MM).astype(np.int64) * 1000 + np.floor(d / BIN_MM).astype(np.int64)
    _, bin_of = np.unique(key, return_inverse=True)
    total = np.bincount(bin_of, count)
    if total.size == 0:
        return np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0)
    mean_u, mean_d, mean_r = (np.bincount(bin_of, count * values) / total for values in (u, d, r))
    return mean_u, mean_d, mean_r, np.sqrt(1.0 / np.maximum(total, 1.0) * 1.5**2 + 0.15**2)
