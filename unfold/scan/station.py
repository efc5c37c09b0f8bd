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
TREE_POINTS, QUERIES, NEIGHBOURS = 40_000, 6_000, 12
COARSE_POINTS, COARSE_QUERIES = 16_000, 2_000
CLOSE_RAD, LEAST_CLOSE = 0.03, 6  # neighbours in direction that tell anything, and how many a query needs
FRONT_SHARE, FRONT_M = 0.1, 0.1  # so much nearer is in front: more than slopes and noise make
SHARP, LEAST_HIDDEN = 0.5, 20  # at the scanner at most half as many are hidden as beside it; of so many at least
REGULAR, REGULAR_GAIN, STEP_TOLERANCE = 0.6, 0.05, 0.05
CONTRADICTED = 0.10  # so large a share of hidden points no scanner sees


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
    beside = [position_m + ASIDE_M * step for step in np.vstack((np.eye(3), -np.eye(3)))]
    here, there = regular_share(points_m, position_m), [regular_share(points_m, place) for place in beside]
    if here >= REGULAR and here >= max(there) + REGULAR_GAIN:
        return True
    hidden, others = hidden_points(points_m, position_m), [hidden_points(points_m, place) for place in beside]
    typical = float(np.median([other.share for other in others]))
    enough = min(other.count for other in others) >= LEAST_HIDDEN
    return enough and hidden.share <= SHARP * typical


def is_contradicted(points_m: Floats, position_m: Floats) -> bool:
    """Tell whether so many points would be hidden from `position_m` that they cannot have been seen from there."""
    few = np.linspace(0, len(points_m) - 1, min(COARSE_POINTS, len(points_m))).astype(np.int64)
    return hidden_points(points_m[few], position_m, COARSE_QUERIES).share > CONTRADICTED


def regular_share(points_m: Floats, position_m: Floats) -> float:
    """Return the share of points after which the direction moves on by the same angle as before, within 5 %."""
    rays, _ = _rays(points_m, position_m)
    if len(rays) < 3:
        return 0.0
    steps = np.linalg.norm(np.diff(rays, axis=0), axis=1)
    return float(np.mean(np.abs(steps[1:] - steps[:-1]) < STEP_TOLERANCE * steps[:-1]))


def hidden_points(points_m: Floats, position_m: Floats, queries: int = QUERIES) -> Hidden:
    """Count the points with nearer ones on all four sides of their ray; at an edge there are some on one side only."""
    rays, reach = _rays(points_m, position_m)
    if len(rays) <= NEIGHBOURS:
        return Hidden(0, 0)
    kept = np.linspace(0, len(rays) - 1, min(TREE_POINTS, len(rays))).astype(np.int64)
    rays, reach = rays[kept], reach[kept]
    asked = np.linspace(0, len(rays) - 1, min(queries, len(rays))).astype(np.int64)
    found = cKDTree(rays).query(rays[asked], NEIGHBOURS + 1)
    apart, neighbour = np.asarray(found[0]), np.asarray(found[1])
    close = apart[:, 1:] < CLOSE_RAD
    front = close & (reach[neighbour[:, 1:]] < reach[asked, None] * (1 - FRONT_SHARE) - FRONT_M)
    quarter = _quarters(rays[neighbour[:, 1:]] - rays[asked, None], rays[asked])
    surrounded = np.all([(front & (quarter == number)).any(axis=1) for number in range(4)], axis=0)
    tested: Bools = close.sum(axis=1) >= LEAST_CLOSE
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
