"""A wall's own coordinates: u along the wall, v up it, h out of it toward the viewer.

Seen from inside the room, `right` points to the viewer's right and is horizontal, `inward` from the wall to the viewer,
and `up = inward x right` lies in the wall; right x up = inward. On an upright cylinder `right` and `inward` are those
at u = 0, u is arc length on the base cylinder, and h is along the local inward normal.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats


@dataclass(frozen=True, slots=True)
class WallFrame:
    """Origin and axes of one wall in level coordinates, metres.

    `radius_m` is None for a plane. On a cylinder it is positive when the axis lies on the inward side (concave as seen
    from inside the room) and negative when it lies behind the wall (convex: a round column). The axis is along `up`.
    """

    origin_m: Floats  # (3,) the point u = 0, v = 0, h = 0
    right: Floats  # (3,) unit
    up: Floats  # (3,) unit
    inward: Floats  # (3,) unit
    radius_m: float | None = None
    seam_m: float | None = None  # u where the unrolled cylinder begins, 0 or less; None: half a turn before u = 0

    @property
    def axes(self) -> Floats:
        """The rotation wall_from_level: rows right, up, inward; shape (3, 3)."""
        return np.stack([self.right, self.up, self.inward])

    def uvh_from_level(self, points_m: Floats) -> Floats:
        """Take points (n, 3) from level coordinates to (u, v, h), metres."""
        local = (np.asarray(points_m, dtype=float) - self.origin_m) @ self.axes.T
        if self.radius_m is None:
            return local
        across, v, out = local.T
        radius = self.radius_m
        to_axis = radius - out
        sign = np.sign(radius)
        u = radius * np.arctan2(sign * across, sign * to_axis)
        if self.seam_m is not None:
            u = self.seam_m + np.mod(u - self.seam_m, 2.0 * np.pi * abs(radius))
        h = radius - sign * np.hypot(across, to_axis)
        return np.stack([u, v, h], axis=1)

    def level_from_uvh(self, uvh_m: Floats) -> Floats:
        """Take (u, v, h) of shape (n, 3) to level coordinates, metres: the inverse of `uvh_from_level`."""
        uvh = np.asarray(uvh_m, dtype=float)
        if self.radius_m is None:
            return uvh @ self.axes + self.origin_m
        u, v, h = uvh.T
        angle = u / self.radius_m
        arm = self.radius_m - h
        local = np.stack([arm * np.sin(angle), v, self.radius_m - arm * np.cos(angle)], axis=1)
        return local @ self.axes + self.origin_m
