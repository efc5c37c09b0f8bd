"""A zone's rays brought to the surface they cross there: the wall's own, or that of a board that stands on it."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.collect import ZoneRays
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.local_surface import LocalSurface
from unfold.elevation.point_gap import AROUND_MM

Box: TypeAlias = tuple[float, float, float, float]
FAR_MM = 1e4
SIDE_FACE_MM = 8.0  # about a rough box


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

    def select(self, keep: Bools) -> "LocalRays":
        """Those rays alone."""
        return LocalRays(self.a[keep], self.b[keep], self.da[keep], self.db[keep], self.depth[keep], self.station[keep])

    def side(self, which: str, low: float, high: float, front_outside: bool, box: Box | None = None) -> EdgeRays:
        """Rays beside one side of a box, between `low` and `high` along it, x running away from the front piece.

        `which` is "left", "right", "bottom" or "top"; the front piece (what has the edge) lies outside of the box, as
        the wall around an opening, or inside, as a cover plate.
        """
        upright = which in ("left", "right")
        across, along = (self.a, self.b) if upright else (self.b, self.a)
        drift = self.da if upright else self.db
        sign = 1.0 if (which in ("left", "bottom")) == front_outside else -1.0
        near = (along > low) & (along < high)
        passed = None if box is None or not front_outside else self._met_other_side(which, box)[near]
        return EdgeRays(sign * across[near], along[near], sign * drift[near], self.depth[near], passed)

    def past_ends(self, which: str, low: float, high: float, front_outside: bool) -> EdgeRays:
        """Rays before and after the ends `low` and `high` of one side of a box, as far across it as all; as `side`."""
        along = self.b if which in ("left", "right") else self.a
        near, far = AROUND_MM
        keep = ((along > low - far) & (along < low - near)) | ((along > high + near) & (along < high + far))
        return self.select(keep).side(which, -np.inf, np.inf, front_outside)

    def _met_other_side(self, which: str, box: Box) -> Bools:
        """Whether each ray ended at one of the other three sides of a box, about where their side faces stand."""
        depth = np.minimum(self.depth, FAR_MM)
        a, b = self.a + self.da * depth, self.b + self.db * depth
        beyond = {
            "left": a < box[0] + SIDE_FACE_MM,
            "bottom": b < box[1] + SIDE_FACE_MM,
            "right": a > box[2] - SIDE_FACE_MM,
            "top": b > box[3] - SIDE_FACE_MM,
        }
        others = np.stack([beyond[other] for other in beyond if other != which])
        return np.asarray(others.any(axis=0) & (self.depth > 0.0))


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
