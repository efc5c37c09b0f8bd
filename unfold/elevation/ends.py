"""Edges where the wall simply stops: placed by the rays beside them, once these are collected."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np

from unfold.elevation.absence import last_of_front
from unfold.elevation.collect import Zone, ZoneRays
from unfold.elevation.corner import UNMEASURED_MM
from unfold.elevation.edge_fit import EdgeFit, fit_edge
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.outline import Outline
from unfold.elevation.shapes import SLOPE_SD
from unfold.quantity import combine
from unfold.room.result import Wall
from unfold.surface.result import WallSurface

Side: TypeAlias = Literal["left", "right", "top", "bottom"]
FreeEnds: TypeAlias = dict[tuple[str, Side], EdgeFit]
"""The free sides of walls, by wall id and side; x of the fit runs out of the wall, t along the side."""

REACH_MM = 60.0
MODEL_MM = 0.4  # how straight a wall that ends freely was built
CLEAR_MM = 120.0  # corners of the outline are left out


def free_sides(outline: Outline) -> dict[Side, float]:
    """The sides of an outline that end freely, and the level or place where each roughly lies.

    An outside corner of which the other face was not seen is one: only the rays beside it say where it is.
    """
    low, high = outline.ring.min(axis=0), outline.ring.max(axis=0)
    found: dict[Side, float] = {}
    for edge in outline.edges:
        unmet = edge.kind == "outside_corner" and edge.standard_uncertainty_mm >= UNMEASURED_MM
        if edge.kind != "end" and not unmet:
            continue
        last = edge.last if edge.last > edge.first else len(outline.ring)
        run = np.vstack([outline.ring[edge.first : last], outline.ring[edge.last % len(outline.ring)]])
        middle, upright = run.mean(axis=0), np.ptp(run[:, 1]) > np.ptp(run[:, 0])
        if upright:
            found["right" if middle[0] > (low[0] + high[0]) / 2 else "left"] = float(np.median(run[:, 0]))
        else:
            found["top" if middle[1] > (low[1] + high[1]) / 2 else "bottom"] = float(np.median(run[:, 1]))
    return found


def end_zone(index: int, outline: Outline, surface: WallSurface, side: Side, rough: float) -> Zone:
    """The cells beside one free side whose rays place it."""
    grid = surface.grid
    u, v = np.meshgrid(
        grid.u0_mm + grid.cell_mm * np.arange(grid.columns), grid.v0_mm + grid.cell_mm * np.arange(grid.rows)
    )
    low, high = outline.ring.min(axis=0), outline.ring.max(axis=0)
    across, along, k = (u, v, 1) if side in ("left", "right") else (v, u, 0)
    near = (np.abs(across - rough) < REACH_MM) & (along > low[k] + CLEAR_MM) & (along < high[k] - CLEAR_MM)
    measured = near & surface.is_wall & np.isfinite(surface.height_mm)
    height = float(np.median(surface.height_mm[measured])) if measured.any() else 0.0
    return Zone(index, np.argwhere(near), height)


def place_end(rays: ZoneRays, zone: Zone, side: Side, rough: float, noise_mm: float) -> EdgeFit | None:
    """Place a free side between rays on the wall and rays past it, else just beyond the wall's last points."""
    sign = 1.0 if side in ("right", "top") else -1.0
    upright = side in ("left", "right")
    across, along, drift = (rays.u, rays.v, -rays.du) if upright else (rays.v, rays.u, -rays.dv)
    beside = EdgeRays(sign * across, along, sign * drift, zone.height_mm - rays.h)
    tolerance = max(3.0 * noise_mm, 5.0)
    fit = fit_edge(beside, sign * rough, tolerance, SLOPE_SD, REACH_MM - 15.0)
    return fit if fit is not None else last_of_front(beside, sign * rough, tolerance, REACH_MM - 15.0)


def place_ends(
    walls: Sequence[Wall],
    surfaces: Sequence[WallSurface],
    zones: Sequence[Zone],
    rays: Sequence[ZoneRays],
    sides: Sequence[tuple[Side, float]],
) -> FreeEnds:
    """Place every free side from its zone's rays."""
    found: FreeEnds = {}
    for zone, own, (side, rough) in zip(zones, rays, sides, strict=True):
        fit = place_end(own, zone, side, rough, surfaces[zone.wall].noise_mm)
        if fit is not None:
            parts = [fit.standard_uncertainty_mm, surfaces[zone.wall].registration_mm, MODEL_MM]
            found[walls[zone.wall].id, side] = replace(fit, standard_uncertainty_mm=combine(parts))
    return found
