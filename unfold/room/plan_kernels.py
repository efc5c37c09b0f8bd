"""Compiled loops in plan: scoring lines and circles against upright strips."""

import math

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats, Ints


@njit(cache=True, nogil=True)
def score_lines(
    lines: Floats,
    strips: Floats,
    weight: Floats,
    open_strips: Bools,
    tolerance: float,
    cosine: float,
    bin_m: float,
    most_gap: int,
    bins: Floats,
    half: int,
) -> Floats:
    """Weight of the best unbroken run of strips along each line.

    `lines` is (m, 3): unit normal and offset; `strips` is (n, 4): x, y and the unit normal in plan. A strip counts when
    it is open, within `tolerance` and its normal within the angle of `cosine`, the more the closer in both (as MLESAC,
    Torr and Zisserman 2000). A run breaks after `most_gap` empty bins of `bin_m`. `bins` is scratch
    of 2 half + 1 places.
    """
    scores = np.zeros(len(lines))
    for row in range(len(lines)):
        a, b, offset = lines[row, 0], lines[row, 1], lines[row, 2]
        bins[:] = 0.0
        first, last = 2 * half, 0
        for index in range(len(strips)):
            if not open_strips[index]:
                continue
            x, y = strips[index, 0], strips[index, 1]
            off = (a * x + b * y - offset) / tolerance
            if abs(off) > 1.0:
                continue
            agreement = abs(a * strips[index, 2] + b * strips[index, 3])
            if agreement < cosine:
                continue
            place = half + math.floor((a * y - b * x) / bin_m)
            if 0 <= place <= 2 * half:
                bins[place] += weight[index] * (1.0 - off * off) * (agreement - cosine) / (1.0 - cosine)
                first, last = min(first, place), max(last, place)
        run, gap, best = 0.0, 0, 0.0
        for place in range(first, last + 1):
            if bins[place] > 0.0:
                run += bins[place]
                gap = 0
                best = max(best, run)
            else:
                gap += 1
                if gap > most_gap:
                    run = 0.0
        scores[row] = best
    return scores


@njit(cache=True, nogil=True)
def score_circles(
    circles: Floats, strips: Floats, weight: Floats, open_strips: Bools, tolerances: Floats, cosine: float
) -> Floats:
    """Weight of the strips on each circle (m, 3: centre and radius); normals must point along the radius."""
    scores = np.zeros(len(circles))
    for row in range(len(circles)):
        cx, cy, radius, tolerance = circles[row, 0], circles[row, 1], circles[row, 2], tolerances[row]
        total = 0.0
        for index in range(len(strips)):
            if not open_strips[index]:
                continue
            dx, dy = strips[index, 0] - cx, strips[index, 1] - cy
            if abs(dx) > radius + tolerance or abs(dy) > radius + tolerance:
                continue
            distance = max(math.sqrt(dx * dx + dy * dy), 1e-9)
            off = (distance - radius) / tolerance
            if abs(off) > 1.0:
                continue
            agreement = abs(dx * strips[index, 2] + dy * strips[index, 3]) / distance
            if agreement < cosine:
                continue
            total += weight[index] * (1.0 - off * off) * (agreement - cosine) / (1.0 - cosine)
        scores[row] = total
    return scores


@njit(cache=True, nogil=True)
def near_strips(seed: int, strips: Floats, open_strips: Bools, reach: float, cosine: float, found: Ints) -> int:
    """List the open strips within `reach` of a seed whose normals agree with its own; returns how many."""
    size = 0
    for index in range(len(strips)):
        if not open_strips[index]:
            continue
        dx, dy = strips[index, 0] - strips[seed, 0], strips[index, 1] - strips[seed, 1]
        if dx * dx + dy * dy > reach * reach:
            continue
        if abs(strips[index, 2] * strips[seed, 2] + strips[index, 3] * strips[seed, 3]) < cosine:
            continue
        found[size] = index
        size += 1
        if size == len(found):
            break
    return size
