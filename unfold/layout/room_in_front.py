"""The room in front of a panel's place, from the unfolded walls: how high it is there, and how wide between side walls.

Only what meets a wall is known: a bulkhead that ends on a side wall shows in that wall's ceiling edge. What hangs or
stands free in the room is not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.layout.tip_in import LiftingFrame
from unfold.layout.wall_face import WallFace

DEPTH_STEP_MM = 50.0
ANGLES = 181
ALONG = 60  # places along the panel


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The ceiling over the strip before a panel: height over the floor at rising depths from the wall, (n,) each."""

    depth_mm: Floats
    height_mm: Floats

    def lets_tip_in(self, height_mm: float, thickness_mm: float, frame: LiftingFrame) -> bool:
        """Tell whether a panel can be stood up under it: in the open, with its foot at the wall, or its top first.

        In the open it is stood up where it likes, and pushed to the wall upright. Shapes are checked at places along
        them, angle by half a degree; the ceiling counts as low a step beside where it was found to be.
        """
        padded = np.concatenate([[np.inf], self.height_mm, [np.inf]])
        low = np.minimum(np.minimum(padded[:-2], padded[1:-1]), padded[2:])
        angle = np.linspace(0.0, np.pi / 2, ANGLES)[:, None]
        along = np.linspace(0.0, height_mm, ALONG)
        out = np.zeros(ALONG), np.full(ALONG, thickness_mm), np.full(ALONG, thickness_mm + frame.depth_mm)
        on_frame = along[along >= frame.above_foot_mm]
        r, c = np.concatenate([along, along, on_frame]), np.concatenate([*out[:2], out[2][: len(on_frame)]])
        sine, cosine = np.sin(angle), np.cos(angle)
        v = r * cosine - c * sine
        v = v - v.min(axis=1, keepdims=True)
        if v.max() <= low.min():
            return True
        foot_at_wall = r * sine + c * cosine
        top_at_wall = (height_mm - r) * sine + c * cosine
        return bool(
            np.all(v <= np.interp(foot_at_wall, self.depth_mm, low, right=np.inf))
            or np.all(r * cosine + c * sine <= np.interp(top_at_wall, self.depth_mm, low, right=np.inf))
        )


def ceiling_before(faces: Sequence[WallFace], face: WallFace, u_mm: float, reach_mm: float) -> Ceiling | None:
    """Return the ceiling over the strip before a place on a wall, as low as it is on the walls left and right of it.

    `reach_mm` is how deep the strip is. None where no wall beside the strip is known.
    """
    depth = np.arange(DEPTH_STEP_MM, reach_mm + DEPTH_STEP_MM, DEPTH_STEP_MM)
    at = face.wall.origin_scan_m + (u_mm * face.wall.right + depth[:, None] * face.wall.inward) / 1000.0
    height = np.fmin(_height_beside(faces, face, at, 1.0), _height_beside(faces, face, at, -1.0))
    known = np.isfinite(height)
    return Ceiling(depth[known], height[known]) if known.any() else None


def _height_beside(faces: Sequence[WallFace], face: WallFace, at_m: Floats, sign: float) -> Floats:
    """How high the first wall is that is met from each point (n, 3) along u, (n,); NaN where none is, or not known."""
    nearest, found = np.full(len(at_m), np.inf), np.full(len(at_m), np.nan)
    for other in faces:
        wall = other.wall
        step = sign * float(np.dot(face.wall.right, wall.inward))
        if wall.id == face.wall.id or wall.radius_mm is not None or abs(step) < 1e-6:
            continue
        distance = (wall.origin_scan_m - at_m) @ wall.inward / step
        points = at_m + sign * distance[:, None] * face.wall.right
        u = 1000.0 * ((points - wall.origin_scan_m) @ wall.right)
        left, right = wall.outline_mm[:, 0].min(), wall.outline_mm[:, 0].max()
        met = (distance > 0.0) & (distance < nearest) & (left <= u) & (u <= right)
        if met.any():
            height = _least_v(other, "ceiling", u[met], 1.0) + _least_v(other, "floor", u[met], -1.0)
            nearest[met], found[met] = distance[met], np.where(np.isfinite(height), height, np.nan)
    return found


def _least_v(face: WallFace, kind: str, u_mm: Floats, sign: float) -> Floats:
    """The least of sign x v of a kind of edge at places (n,); an upright part of it counts to its end."""
    least = np.full(len(u_mm), np.inf)
    for edge in face.wall.edges:
        if edge.kind == kind:
            points = face.edge_points(edge)
            u, v = points[np.argsort(points[:, 0], kind="stable")].T
            is_beside = np.abs(u - u_mm[:, None]) <= DEPTH_STEP_MM / 2.0
            beside = np.where(is_beside, sign * v, np.inf).min(axis=1)
            least = np.minimum(least, np.minimum(beside, np.interp(u_mm, u, sign * v, left=np.inf, right=np.inf)))
    return least


def least_play_beside_mm(face: WallFace, faces: Sequence[WallFace], ring_mm: Floats, floor_mm: float) -> float | None:
    """Return the least room beside a panel between its two side walls, while it is tipped with its foot at the wall.

    Side walls are taken as the planes of their bare faces; a panel may be shifted along the wall as it is tipped. None
    where there is no wall on either side: then it can be tipped beside its place.
    """
    by_id = {one.wall.id: one for one in faces}
    names = {edge.neighbour for edge in face.wall.edges if edge.kind == "inside_corner"}
    beside = [by_id[name] for name in sorted(name for name in names if name in by_id)]
    if face.wall.radius_mm is not None or any(one.wall.radius_mm is not None for one in beside):
        return None
    low, high = float(ring_mm[:, 1].min()), float(ring_mm[:, 1].max())
    v = low + (high - low) * (np.arange(ALONG) + 0.5) / ALONG
    (u1, v1), (u2, v2) = ring_mm.T, np.roll(ring_mm, -1, axis=0).T
    crosses = (v1 <= v[:, None]) != (v2 <= v[:, None])
    u = u1 + (v[:, None] - v1) / np.where(v2 == v1, 1.0, v2 - v1) * (u2 - u1)
    left, right = np.where(crosses, u, np.inf).min(axis=1), np.where(crosses, u, -np.inf).max(axis=1)
    angle = np.linspace(0.0, np.pi / 2, 46)[:, None]
    depth, height = (v - low) * np.sin(angle), floor_mm + (v - low) * np.cos(angle)
    ends: dict[float, Floats] = {}
    for one in beside:
        across = float(np.dot(face.wall.right, one.wall.inward))
        if abs(across) < 0.5:
            continue
        base = face.wall.origin_scan_m + np.stack([depth, height], axis=-1) / 1e3 @ face.frame.axes[[2, 1]]
        at = 1000.0 * ((one.wall.origin_scan_m - base) @ one.wall.inward) / across
        side = 1.0 if across < 0.0 else -1.0  # the wall on the right looks to the left
        ends[side] = np.minimum(side * at, ends.get(side, np.full_like(at, np.inf)))
    if len(ends) < 2:
        return None
    return float((ends[1.0] + ends[-1.0] - (right - left)).min())
