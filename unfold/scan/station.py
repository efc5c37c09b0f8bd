"""Whether points were seen from one place: does a file's origin, or the pose that it states, hold for its points?

Seen from where the scanner stood, hardly any point is hidden behind a surface, and in a file that keeps the order of
measurement neighbouring rays follow each other in equal steps of angle. From a place 0.15 m beside it both are worse.
Such a sharp optimum is taken as proof; a flat one (an empty convex room, a merged cloud) proves nothing.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from unfold.arrays import Bools, Floats

NEAR_M = 0.2  # nearer to a scanner are only its own parts; no scanner for rooms measures that close
ASIDE_M = 0.15
FRONT_SHARE, FRONT_M = 0.1, 0.1  # so much nearer is in front: more than slopes and noise make
SHARP, LEAST_HIDDEN = 4, 10  # hidden points in all at the two places beside on an axis, per one here; and at least
EVEN = 0.25  # at the scanner the steps vary at most so much as at any place beside it
CONTRADICTED, REMOTE_M = 0.15, 10.0  # no scanner sees so large a share of hidden points, or stands so far outside
LEAST_CLOSE = 0.5  # of the neighbours have to be close for a query to tell anything


@dataclass(frozen=True, slots=True)
class Look:
    """How closely the points are looked at: some of the points are asked about their neighbours in direction."""

    points: int
    queries: int
    neighbours: int
    close_rad: float  # neighbours further away tell nothing


FINE, COARSE = Look(40_000, 8_000, 12, 0.03), Look(16_000, 2_000, 40, 0.06)


@dataclass(frozen=True, slots=True)
class Hidden:
    """How many of the tested points are hidden behind others."""

    count: int
    tested: int

    @property
    def share(self) -> float:
        return self.count / self.tested if self.tested else 0.0


def is_station(points_m: Floats, position_m: Floats) -> bool:
    """Tell whether points (n, 3), in the file's order, were very likely all seen from `position_m`."""
    beside = [(position_m + ASIDE_M * step, position_m - ASIDE_M * step) for step in np.eye(3)]
    here = unevenness(points_m, position_m)
    if here <= EVEN * min(unevenness(points_m, place) for pair in beside for place in pair):
        return True
    hidden = hidden_points(points_m, position_m).count
    others = [sum(hidden_points(points_m, place).count for place in pair) for pair in beside]
    return all(count >= max(SHARP * hidden, LEAST_HIDDEN) for count in others)


def is_contradicted(points_m: Floats, position_m: Floats) -> bool:
    """Tell whether points (n, 3) cannot have been seen from a place: too many are hidden, or it is far from all."""
    if len(points_m) == 0:
        return False
    outside = np.maximum(points_m.min(axis=0) - position_m, position_m - points_m.max(axis=0))
    if float(outside.max()) > REMOTE_M:
        return True
    few = np.linspace(0, len(points_m) - 1, min(COARSE.points, len(points_m))).astype(np.int64)
    return hidden_points(points_m[few], position_m, COARSE).share > CONTRADICTED


def unevenness(points_m: Floats, position_m: Floats) -> float:
    """Return the median change of the angle from one point to the next, as a share of it; infinite without points."""
    rays, _ = _rays(points_m, position_m)
    steps = np.linalg.norm(np.diff(rays, axis=0), axis=1)
    before, after = steps[:-1], steps[1:]
    moving = before > 0
    if not moving.any():
        return float("inf")
    return float(np.median(np.abs(after - before)[moving] / before[moving]))


def hidden_points(points_m: Floats, position_m: Floats, look: Look = FINE) -> Hidden:
    """Count the points with nearer ones on all four sides of their ray; at an edge there are some on one side only."""
    rays, reach = _rays(points_m, position_m)
    if len(rays) <= look.neighbours:
        return Hidden(0, 0)
    kept = np.linspace(0, len(rays) - 1, min(look.points, len(rays))).astype(np.int64)
    rays, reach = rays[kept], reach[kept]
    asked = np.linspace(0, len(rays) - 1, min(look.queries, len(rays))).astype(np.int64)
    found = cKDTree(rays).query(rays[asked], look.neighbours + 1)
    apart, neighbour = np.asarray(found[0]), np.asarray(found[1])
    close = apart[:, 1:] < look.close_rad
    front = close & (reach[neighbour[:, 1:]] < reach[asked, None] * (1 - FRONT_SHARE) - FRONT_M)
    quarter = _quarters(rays[neighbour[:, 1:]] - rays[asked, None], rays[asked])
    surrounded = np.all([(front & (quarter == number)).any(axis=1) for number in range(4)], axis=0)
    tested: Bools = close.mean(axis=1) >= LEAST_CLOSE
    return Hidden(int((surrounded & tested).sum()), int(tested.sum()))


def _rays(points_m: Floats, position_m: Floats) -> tuple[Floats, Floats]:
    """Return unit directions and ranges from a place, without what is too near to be measured from it."""
    offsets = points_m - position_m
    reach = np.linalg.norm(offsets, axis=1)
    far = reach > NEAR_M
    return offsets[far] / reach[far, None], reach[far]


def _quarters(steps: Floats, rays: Floats) -> Floats:
    """Return in which quarter about its ray (n, 3) each step (n, k, 3) lies: 0 to 3."""
    upright = np.abs(rays[:, 2:]) > 0.9
    across = np.cross(np.where(upright, [[1.0, 0, 0]], [[0, 0, 1.0]]), rays)
    along = np.cross(rays, across)
    right = np.einsum("nkj,nj->nk", steps, across) > 0
    above = np.einsum("nkj,nj->nk", steps, along) > 0
    quarter: Floats = right + 2.0 * above
    return quarter
