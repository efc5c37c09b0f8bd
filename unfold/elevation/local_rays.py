"""A zone's rays brought to the surface they cross there: the wall's own, or that of a board that stands on it."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.elevation.collect import ZoneRays
from unfold.elevation.edge_fit import EdgeRays
from unfold.elevation.local_surface import LocalSurface


@dataclass(frozen=True, slots=True)
class LocalRays:
    """Rays at the surface they cross; arrays (n,), millimetres. a and b are u and v turned by `turn_deg`."""

    a: Floats
    b: Floats
    da: Floats  # change of a and b per mm of depth behind the surface
    db: Floats
    depth: Floats  # where the ray ended behind the surface; negative in front
    station: AnyArray

    def turned(self, turn_deg: float) -> "LocalRays":
        """The same rays along axes turned further by an angle, counter-clockwise."""
        a, b = _turn(self.a, self.b, turn_deg)
        da, db = _turn(self.da, self.db, turn_deg)
        return LocalRays(a, b, da, db, self.depth, self.station)

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


def _turn(a: Floats, b: Floats, turn_deg: float) -> tuple[Floats, Floats]:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return c * a + s * b, -s * a + c * b


def to_surface(rays: ZoneRays, crossed_mm: float, surface: LocalSurface, turn_deg: float) -> LocalRays:
    """Move rays that were crossed at height `crossed_mm` to where they cross a surface."""
    rise = surface.at(rays.u, rays.v) - crossed_mm
    u, v = rays.u + rays.du * rise, rays.v + rays.dv * rise
    depth = surface.at(u, v) - rays.h
    return LocalRays(u, v, -rays.du, -rays.dv, depth, rays.station).turned(turn_deg)


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
