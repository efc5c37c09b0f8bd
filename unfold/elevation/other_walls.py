"""Where no station is known: points behind a wall that lie on another wall's face, the next room's, are that wall's."""

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.elevation.collect import ZoneRays
from unfold.room.result import Wall
from unfold.surface.result import WallSurface

NOISES = 4.5  # standard deviations of a wall's noise about its surface that are its own points
LEAST_MM = 4.0
CARRIED_MM = 150.0  # how far a surface is carried on: what lies behind it spoils its cells beside another wall's box


def without_other_walls(
    rays: Sequence[ZoneRays], owners: Sequence[int], walls: Sequence[Wall], surfaces: Sequence[WallSurface]
) -> list[ZoneRays]:
    """The rays of zones, each on the wall `owners` says, less the points that another wall's own surface explains."""
    heights = [_carried_on(surface) for surface in surfaces]
    found = []
    for zone, index in zip(rays, owners, strict=True):
        behind = np.flatnonzero(zone.h < -_band(surfaces[index]))
        places = walls[index].frame.level_from_uvh(np.column_stack([zone.u, zone.v, zone.h])[behind] / 1000)
        foreign = np.zeros(zone.u.size, dtype=bool)
        for k, (wall, surface) in enumerate(zip(walls, surfaces, strict=True)):
            if k != index and behind.size:
                foreign[behind] |= _on_face(places, wall, surface, heights[k])
        found.append(zone.select(~foreign))
    return found


def _band(surface: WallSurface) -> float:
    return max(NOISES * surface.noise_mm, LEAST_MM)


def _carried_on(surface: WallSurface) -> Floats:
    """Heights (rows, columns) with those of the nearest measured cell within reach; NaN beyond."""
    unknown = ~np.isfinite(surface.height_mm)
    if unknown.all():
        return surface.height_mm
    distance, nearest = ndimage.distance_transform_edt(unknown, return_indices=True)
    near = distance * surface.grid.cell_mm < CARRIED_MM
    return np.where(near, surface.height_mm[nearest[0], nearest[1]], np.nan)


def _on_face(places_m: Floats, wall: Wall, surface: WallSurface, height_mm: Floats) -> Bools:
    """Whether places (n, 3), level metres, lie on a wall's own surface."""
    u, v, h = wall.frame.uvh_from_level(places_m).T * 1000
    grid = surface.grid
    column = np.round((u - grid.u0_mm) / grid.cell_mm).astype(int)
    row = np.round((v - grid.v0_mm) / grid.cell_mm).astype(int)
    within = (u > 0.0) & (u < wall.width_m * 1000) & (v > wall.bottom_m * 1000) & (v < wall.top_m * 1000)
    within &= (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    off = h - height_mm[np.where(within, row, 0), np.where(within, column, 0)]
    return np.asarray(within & (np.abs(np.nan_to_num(off, nan=np.inf)) < _band(surface)))
