"""Telling a mirror from an opening: what seems to lie behind it is the room itself, turned about the wall."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiPoint
from shapely.geometry.base import BaseGeometry

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.collect import ZoneRays
from unfold.room.result import Cells, Wall

VOXEL_M = 0.05
FAR_MM = 500.0  # only points well behind the wall tell a mirror image from a reveal
CLEAR_MM = 150.0  # floors and ceilings lie alike on both sides of a wall: they tell nothing
LEAST_POINTS = 40
MIRROR_SHARE = 0.7  # of the points behind whose mirror image is a measured place
LEAST_WITHIN = 0.1  # of all points behind whose images must be found within the room itself
SAMPLE = 1500


def occupied_voxels(cells: Cells) -> AnyArray:
    """Sorted keys of the voxels of 50 mm that hold points."""
    keys = np.sort(_keys(np.floor(cells.mean_m.astype(float) / VOXEL_M).astype(np.int64)))
    return np.asarray(keys[np.r_[True, keys[1:] != keys[:-1]]])  # as np.unique, which takes ten times as long


def plan_of(walls: Sequence[Wall]) -> BaseGeometry:
    """The convex hull of the walls in plan, level coordinates, metres."""
    ends = [wall.frame.level_from_uvh(np.array([[u, 0, 0] for u in np.linspace(0, wall.width_m, 9)])) for wall in walls]
    return MultiPoint(np.concatenate(ends)[:, :2]).convex_hull


def is_mirror(rays: ZoneRays, crossed_mm: float, wall: Wall, voxels: AnyArray, plan: BaseGeometry) -> bool:
    """Whether the points seen through an area are the room's own, mirrored in the wall's surface.

    Reflecting an end point about the wall must land where the scan has points, within a voxel, for most of them. A
    real space behind would have to be the room's twin to within 50 mm for that. What a mirror shows through doors
    and windows may have been measured from nowhere else: images outside of the room's plan never speak against it.
    """
    far = rays.h < -FAR_MM
    rise = rays.h - crossed_mm
    v = rays.v + rays.dv * rise
    far &= (v > wall.bottom_m * 1000 + CLEAR_MM) & (v < wall.top_m * 1000 - CLEAR_MM) & (rays.h > -1e5)
    if far.sum() < LEAST_POINTS:
        return False
    chosen = np.flatnonzero(far)[:: max(int(far.sum()) // SAMPLE, 1)]
    u = rays.u[chosen] + rays.du[chosen] * rise[chosen]
    image = np.column_stack([u, v[chosen], 2 * crossed_mm - rays.h[chosen]]) / 1000
    places = wall.frame.level_from_uvh(image)
    found = _near_occupied(places, voxels)
    within = np.asarray(shapely.contains_xy(plan, places[:, 0], places[:, 1]))
    against, own = ~found & within, found & within
    enough = own.sum() >= LEAST_POINTS and own.mean() > LEAST_WITHIN
    return bool(enough and found.sum() > MIRROR_SHARE * (found.sum() + against.sum()))


def _near_occupied(places: Floats, voxels: AnyArray) -> Bools:
    base = np.floor(places / VOXEL_M).astype(np.int64)
    found = np.zeros(len(places), dtype=bool)
    for step in np.ndindex(3, 3, 3):
        keys = _keys(base + np.array(step) - 1)
        at = np.minimum(np.searchsorted(voxels, keys), voxels.size - 1)
        found |= voxels[at] == keys
    return found


def _keys(index: AnyArray) -> AnyArray:
    shifted = index + (1 << 20)
    return np.asarray((shifted[:, 0] << 42) | (shifted[:, 1] << 21) | shifted[:, 2])
