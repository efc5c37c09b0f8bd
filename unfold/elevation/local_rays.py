"""A zone's rays brought to the surface they cross there: the wall's own local plane, or a board that stands on it."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.elevation.collect import ZoneRays
from unfold.elevation.edge_fit import EdgeRays


@dataclass(frozen=True, slots=True)
class LocalRays:
    """Rays at the surface they cross; arrays (n,), millimetres. a and b are u and v turned by `turn_deg`."""

    a: Floats
    b: Floats
    da: Floats  # change of a and b per mm of depth behind the surface
    db: Floats
    depth: Floats  # where the ray ended behind the surface; negative in front
    station: AnyArray

    def side(self, which: str, low: float, high: float, front_outside: bool) -> EdgeRays:
        """Rays beside one side of a box, between `low` and `high` along it, x running away from the front piece.

        `which` is "left", "right", "bottom" or "top"; the front piece (what has the edge) lies outside of the box, as
        the wall around an opening, or inside, as a cover plate.
        """
        upright = which in ("left", "right")
        across, along = (self.a, self.b) if upright else (self.b, self.a)
        drift = self.da if upright else self.db
        sign = 1.0 if (which in ("left", "bottom")) == front_outside else -1.0
        near = (along > low) & (along < high)
        return EdgeRays(sign * across[near], along[near], sign * drift[near], self.depth[near])


def fit_plane(u: Floats, v: Floats, h: Floats, start: float, reach: float) -> Floats:
    """Robust plane h = p0 + p1 u + p2 v through the rays that end within `reach` of `start`, as (p0, p1, p2).

    The slopes are held near zero by a weak prior (10 mm/m), so that a few rays on one side give no steep plane.
    """
    near = np.abs(h - start) < reach
    if near.sum() < 3:
        return np.array([start, 0.0, 0.0])
    centre = np.array([u[near].mean(), v[near].mean()])
    design = np.column_stack([np.ones(near.sum()), u[near] - centre[0], v[near] - centre[1]])
    target, spread = h[near], max(reach / 3, 0.3)
    solution = np.array([float(np.median(target)), 0.0, 0.0])
    for _ in range(4):
        residual = target - design @ solution
        spread = float(np.clip(1.4826 * np.median(np.abs(residual)), 0.2, reach))
        weight = np.clip(1 - (residual / (4.685 * spread)) ** 2, 0, 1) ** 2 / spread**2
        gram = design.T @ (weight[:, None] * design) + np.diag([1e-9, 1e4, 1e4])
        solution = np.linalg.solve(gram, design.T @ (weight * target))
    return np.array([solution[0] - solution[1:] @ centre, solution[1], solution[2]])


def to_surface(rays: ZoneRays, crossed_mm: float, plane: Floats, turn_deg: float) -> LocalRays:
    """Move rays that were crossed at height `crossed_mm` to a plane (p0, p1, p2) over (u, v)."""
    rise = plane[0] + plane[1] * rays.u + plane[2] * rays.v - crossed_mm
    u, v = rays.u + rays.du * rise, rays.v + rays.dv * rise
    depth = plane[0] + plane[1] * u + plane[2] * v - rays.h
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return LocalRays(
        c * u + s * v, -s * u + c * v, -(c * rays.du + s * rays.dv), -(-s * rays.du + c * rays.dv), depth, rays.station
    )


def select(rays: ZoneRays, keep: AnyArray) -> ZoneRays:
    """Some of a zone's rays, by mask or index."""
    return ZoneRays(
        rays.u[keep], rays.v[keep], rays.du[keep], rays.dv[keep], rays.h[keep], rays.station[keep], rays.share
    )


def join(first: ZoneRays, second: ZoneRays) -> ZoneRays:
    """Both zones' rays together."""
    return ZoneRays(
        np.concatenate([first.u, second.u]),
        np.concatenate([first.v, second.v]),
        np.concatenate([first.du, second.du]),
        np.concatenate([first.dv, second.dv]),
        np.concatenate([first.h, second.h]),
        np.concatenate([first.station, second.station]),
        min(first.share, second.share),
    )
