"""Whether points were seen from one place: does a file's origin, or the pose that it states, hold for its points?

Seen from where the scanner stood, hardly any point is hidden behind a surface, and in a file that keeps the order of
measurement neighbouring rays follow each other in equal steps of angle. From a place 0.15 m beside it both are worse.
Such a sharp optimum is taken as proof; a flat one (an empty convex room, a merged cloud) proves nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from unfold.arrays import Bools, Floats, Ints

NEAR_M = 0.2  # nearer to a scanner are only its own parts; no scanner for rooms measures that close
ASIDE_M = 0.15
FRONT_SHARE, FRONT_M = 0.1, 0.1  # so much nearer is in front: more than slopes and noise make
SHARP, LEAST_HIDDEN = 4, 10  # hidden points in all at the two places beside on an axis, per one here; and at least
EVEN = 0.35  # at the scanner the steps vary at most so much as at any place beside it
MERGED_PERCENT = 70  # of the steps have to be even: of a cloud merged from two set-ups about half are
PIECES, EVEN_PIECES = 12, 0.9
ORDERED = 0.5  # where the steps vary more than this from near the middle, the order of measurement is lost
FIRST_STEP_M, FOUND_M, SEARCH_RUNS, SEARCH_RUN = 0.5, 0.001, 6, 2000
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
    if _is_evenly_seen(points_m, position_m):
        return True
    hidden = hidden_points(points_m, position_m).count
    others = (sum(hidden_points(points_m, place).count for place in pair) for pair in _beside(position_m))
    return all(count >= max(SHARP * hidden, LEAST_HIDDEN) for count in others)  # mostly the first axis decides


def find_station(points_m: Floats) -> Floats | None:
    """Search the place from which points (n, 3), in the file's order, follow each other in even steps of angle.

    Returns None when the order says nothing (shuffled or merged points), or when no place is sharply better than those
    around it.
    """
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    some = points_m[_runs(len(points_m))]
    if len(some) < 3:
        return None
    start = np.zeros(3) if np.all(some.min(axis=0) <= 0) and np.all(some.max(axis=0) >= 0) else np.median(some, axis=0)
    if unevenness(some, start) > ORDERED:
        return None
    options = {
        "initial_simplex": start + FIRST_STEP_M * np.vstack((np.zeros(3), np.eye(3))),
        "xatol": FOUND_M,
        "fatol": 1e-3,
        "maxfev": 250,
    }
    # in a sharp and deep pit the logarithm shows the way
    found = minimize(  # type: ignore[call-overload]
        lambda place: math.log(unevenness(some, place) + 1e-9), start, method="Nelder-Mead", options=options
    )
    place: Floats = np.asarray(found.x)
    sound = _is_evenly_seen(points_m, place) and not is_contradicted(points_m, place)
    return place if sound else None


def _is_evenly_seen(points_m: Floats, position_m: Floats) -> bool:
    """Tell whether the steps are evenest here, over all points and in nearly every piece: merged ones fail in some."""
    beside = [place for pair in _beside(position_m) for place in pair]
    if not unevenness(points_m, position_m) <= EVEN * min(unevenness(points_m, place) for place in beside):
        return False
    even = [
        unevenness(piece, position_m) <= EVEN * max(unevenness(piece, place) for place in beside)
        for piece in np.array_split(points_m, PIECES)
    ]
    return float(np.mean(even)) >= EVEN_PIECES


def _beside(position_m: Floats) -> list[tuple[Floats, Floats]]:
    return [(position_m + ASIDE_M * step, position_m - ASIDE_M * step) for step in np.eye(3)]


def _runs(count: int) -> Ints:
    """Return the indices of some runs of points in their order, spread over all."""
    if count <= SEARCH_RUNS * SEARCH_RUN:
        return np.arange(count)
    starts = np.linspace(0, count - SEARCH_RUN, SEARCH_RUNS).astype(np.int64)
    return (starts[:, None] + np.arange(SEARCH_RUN)).ravel()


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
    """Return how much the angle from one point to the next changes, as a share of it: what 70 % of the steps keep."""
    rays, _ = _rays(points_m, position_m)
    steps = np.linalg.norm(np.diff(rays, axis=0), axis=1)
    before, after = steps[:-1], steps[1:]
    moving = before > 0
    if not moving.any():
        return float("inf")
    return float(np.percentile(np.abs(after - before)[moving] / before[moving], MERGED_PERCENT))


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
