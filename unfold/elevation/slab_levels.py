"""Levels of floor or ceiling beside a wall, window by window: which layer of points meets the wall, on which plane."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import AnyArray, Floats
from unfold.elevation.ring_kernels import cells_near_wall
from unfold.room.result import Room, Slab, Wall

NEAREST_MM, FARTHEST_MM = 30.0, 300.0  # the strip beside the wall: clear of skirting and mixed points, still local
NEAR_MM = 160.0  # a layer must begin this near to the wall to be the one that meets it
WINDOW_MM = 50.0
CLEAR_MM = 40.0
LEVEL_MM = 60.0  # thresholds and sagging slabs keep within this of the slab's plane
STEP_MM = 20.0  # a larger change between neighbouring windows is a step
HEADROOM_MM = 2000.0  # a layer that is no known ceiling is one only above this
BIN_MM = 25.0
LAYER_MM = 12.5
BEYOND_MM, BEYOND_BINS = 60.0, 3
OFF_PLANE = 0.3  # of two planes that show a layer, the one that it lies on is its own


@dataclass(frozen=True, slots=True)
class Beside:
    """Cells beside a wall in its own frame; arrays (n,), millimetres."""

    u: Floats
    v: Floats
    d: Floats
    count: Floats


def cells_beside(wall: Wall, room: Room) -> Beside:
    """Cells up to 300 mm in front of a wall, clear of its corners.

    Cells on a neighbour wall fill every level: only those clear of the corners tell of floor and ceiling.
    """
    frame = wall.frame
    packed = np.concatenate([frame.origin_m, frame.right, frame.up, frame.inward])
    nearest, farthest = NEAREST_MM / 1000, FARTHEST_MM / 1000
    chosen = cells_near_wall(room.cells.mean_m, packed, frame.radius_m or 0.0, wall.width_m, nearest, farthest)
    uvh = frame.uvh_from_level(room.cells.mean_m[chosen].astype(float)) * 1000
    clear = (uvh[:, 0] > CLEAR_MM) & (uvh[:, 0] < wall.width_m * 1000 - CLEAR_MM)
    u, v, d = uvh[clear].T
    return Beside(u, v, d, room.cells.count[chosen][clear].astype(float))


def rough_levels(
    wall: Wall, beside: Beside, slabs: list[Slab], kind: str, wall_ends_mm: Floats
) -> tuple[Floats, AnyArray]:
    """Per window the residual of the edge's layer over its plane, and which plane: index of a slab, -1 level."""
    windows = _windows(wall)
    rough, plane = np.full(windows, np.nan), np.full(windows, -1)
    best = np.full(windows, np.inf)
    centre: Floats = (np.arange(windows, dtype=float) + 0.5) * WINDOW_MM
    planes: list[tuple[int, Slab | None]] = [(i, slab) for i, slab in enumerate(slabs)]
    if kind == "ceiling" or not slabs:
        planes.append((-1, None))
    up = 1.0 if kind == "ceiling" else -1.0
    number = np.floor(beside.u / WINDOW_MM).astype(int)
    order = np.argsort(number, kind="stable")
    own = np.split(order, np.searchsorted(number[order], np.arange(1, windows)))
    for index, slab in planes:
        residual = beside.v - plane_v(wall, slab, beside.u, beside.d)
        base = plane_v(wall, slab, centre, np.zeros(windows))
        for window, layers in enumerate(_layers(beside, residual, windows, slab is not None, kind == "ceiling")):
            for layer in layers:
                v = base[window] + layer
                end = wall_ends_mm[window]
                if (
                    not np.isfinite(end)
                    or up * (v - end) < -35.0
                    or up * (v - end) > (250.0 if slab is None else np.inf)
                ):
                    continue
                if slab is None and kind == "ceiling" and v - wall.bottom_m * 1000 < HEADROOM_MM:
                    continue
                if _seen_beyond(beside.d[own[window]], up * (residual[own[window]] - layer)):
                    continue
                cost = up * (v - end) + (20.0 if slab is None else OFF_PLANE * abs(layer))
                if cost < best[window] - 1e-9:
                    best[window], rough[window], plane[window] = cost, layer, index
    return rough, plane


def _seen_beyond(d: Floats, beyond: Floats) -> bool:
    """Whether much was seen beyond a layer: it is the underside of a cupboard, or a step, no ceiling and no floor."""
    return np.unique(np.floor(d[beyond > BEYOND_MM] / BIN_MM)).size >= BEYOND_BINS


def _layers(beside: Beside, residual: Floats, windows: int, near_plane: bool, upper: bool) -> list[list[float]]:
    """Per window the residual heights at which cells fill most of the strip next to the wall."""
    near = beside.d < NEAR_MM
    if near_plane:
        near &= np.abs(residual) < LEVEL_MM + 4 * LAYER_MM  # room to see that nothing lies beyond
    window = np.floor(beside.u[near] / WINDOW_MM).astype(int)
    d_bin = np.floor((beside.d[near] - NEAREST_MM) / BIN_MM).astype(int)
    r, count = residual[near], beside.count[near]
    inside = (window >= 0) & (window < windows)
    window, d_bin, r, count = window[inside], d_bin[inside], r[inside], count[inside]
    result: list[list[float]] = [[] for _ in range(windows)]
    if r.size == 0:
        return result
    base = float(r.min()) - BIN_MM
    level = np.floor((r - base) / LAYER_MM).astype(int)
    shape = (windows, int(level.max()) + 3, int(d_bin.max()) + 1)
    filled = np.zeros(shape, dtype=bool)
    filled[window, level, d_bin] = True
    filled |= np.roll(filled, 1, axis=1)  # a layer may lie on two levels
    share = filled.mean(axis=2)
    beyond = np.roll(np.pad(share, ((0, 0), (3, 3))), -3 if upper else 3, axis=1)[:, 3:-3]
    # nothing is seen beyond floor or ceiling; an upright face across the strip fills every level
    peaks = (share >= 0.6) & (share == ndimage.maximum_filter(share, (1, 5))) & (beyond < 0.3)
    order = np.argsort(window, kind="stable")
    starts = np.searchsorted(window[order], np.arange(windows + 1))
    for w, top in zip(*np.nonzero(peaks), strict=True):
        low, high = base + (top - 1) * LAYER_MM - 6.0, base + (top + 1) * LAYER_MM + 6.0
        own = order[starts[w] : starts[w + 1]]
        own = own[(r[own] >= low) & (r[own] <= high)]
        level_here = float(np.average(r[own], weights=count[own])) if own.size else np.inf
        if not near_plane or abs(level_here) < LEVEL_MM:
            result[w].append(level_here)
    return result


def drop_lone(wall: Wall, slabs: list[Slab], rough: Floats, plane: AnyArray) -> None:
    """Forget a level that only one window shows, unlike the known ones on both sides: clutter, in place."""
    known = np.flatnonzero(np.isfinite(rough))
    v = np.empty(known.size)
    for k, i in enumerate(known):
        slab = slabs[plane[i]] if plane[i] >= 0 else None
        v[k] = rough[i] + plane_v(wall, slab, np.array([(i + 0.5) * WINDOW_MM]), np.zeros(1))[0]
    rise = np.abs(np.diff(v)) - 0.6 * WINDOW_MM * np.minimum(np.diff(known), 2)  # roofs rise by up to 30 degrees
    apart = np.where(np.diff(plane[known]) == 0, np.abs(np.diff(rough[known])), rise) > STEP_MM
    lone = np.r_[True, apart] & np.r_[apart, True] if known.size > 1 else np.zeros(known.size, dtype=bool)
    rough[known[lone]] = np.nan


def bridge(rough: Floats, plane: AnyArray) -> Floats:
    """Carry levels over windows where none was seen, from the nearest that was; `plane` is filled in place."""
    known = np.isfinite(rough)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)[0]
    plane[:] = plane[nearest]
    return np.asarray(rough[nearest])


def plane_v(wall: Wall, slab: Slab | None, u: Floats, d: Floats) -> Floats:
    """v at which a slab's plane is met over (u, d) of a wall, or of the level plane through v = 0 without a slab."""
    foot = wall.frame.level_from_uvh(np.column_stack([u, np.zeros(u.size), d]) / 1000)
    height = slab.z_at(foot[:, 0], foot[:, 1]) if slab is not None else np.zeros(u.size)
    return np.asarray((height - foot[:, 2]) / wall.frame.up[2] * 1000)


def _windows(wall: Wall) -> int:
    return max(int(np.ceil(wall.width_m * 1000 / WINDOW_MM)), 1)
