"""Boxes that stand side by side: a candidate is parted where rays met wall between them."""

from itertools import pairwise

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.local_rays import Box, LocalRays

LEAST_RAYS = 5
LEAST_SPAN = 0.6  # of the candidate's height that the rays on a web must cover
LEAST_SHARE = 0.5  # of the rays across a web that must have met it
WIDEST_MM = 80.0
CLEAR_MM = 15.0  # from the candidate's rough ends, where its own edges lie
STEP_MM = 2.0
LEAST_BOX_MM = 35.0


def part_at_webs(rays: LocalRays, box: Box, tolerance_mm: float) -> list[tuple[Box, LocalRays]]:
    """The boxes of a row along the longer side of a rough box, each with the rays up to the middle of its webs."""
    along_u = box[2] - box[0] >= box[3] - box[1]
    x, t = (rays.a, rays.b) if along_u else (rays.b, rays.a)
    first, last, low, high = (box[0], box[2], box[1], box[3]) if along_u else (box[1], box[3], box[0], box[2])
    if last - first < 2 * LEAST_BOX_MM:
        return [(box, rays)]
    margin = 0.15 * (high - low)
    inside = (x > first) & (x < last) & (t > low + margin) & (t < high - margin)
    middles = _webs(x[inside], t[inside], rays.depth[inside] < tolerance_mm, (first, last), high - low)
    if not middles:
        return [(box, rays)]
    bounds = [first, *middles, last]
    found = []
    for start, stop in pairwise(bounds):
        own = (x > (start if start != first else -np.inf)) & (x < (stop if stop != last else np.inf))
        part = (start, low, stop, high) if along_u else (low, start, high, stop)
        found.append((part, rays.select(own)))
    return found


def _webs(x: Floats, t: Floats, front: Bools, ends: tuple[float, float], height: float) -> list[float]:
    """Middles of the bands across which most rays met wall, all over the height."""
    steps = np.arange(ends[0] + CLEAR_MM, ends[1] - CLEAR_MM, STEP_MM)
    held = np.zeros(steps.size, dtype=bool)
    width = 3 * STEP_MM
    for i, step in enumerate(steps):
        band = np.abs(x - step) < width / 2
        held[i] = front[band].sum() >= 2 and front[band].mean() > LEAST_SHARE
    runs = np.flatnonzero(np.diff(np.r_[0, held.astype(np.int8), 0]))
    middles: list[float] = []
    before = ends[0]
    for start, stop in zip(runs[::2], runs[1::2], strict=True):
        low, high = steps[start] - width / 2, steps[stop - 1] + width / 2
        on_web = front & (x > low) & (x < high)
        if on_web.sum() < LEAST_RAYS or high - low > WIDEST_MM or np.ptp(t[on_web]) < LEAST_SPAN * 0.7 * height:
            continue
        middle = float(np.median(x[on_web]))
        if middle - before >= LEAST_BOX_MM and ends[1] - middle >= LEAST_BOX_MM:
            middles.append(middle)
            before = middle
    return middles
