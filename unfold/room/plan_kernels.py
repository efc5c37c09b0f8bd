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
def draw_lines(
    seeds: Ints, strips: Floats, weight: Floats, open_strips: Bools, reach: float, band: float, cosine: float
) -> Floats:
    """Lines (m, 3: unit normal and offset) through each seed and the open strips around it whose normals agree.

    The strips lie within `reach`, and within `band` of the line that the seed's own normal gives: not on the other face
    of a slender column.
    Orthogonal least squares (Pearson 1901). A seed with too few neighbours gives the line by its own normal.
    """
    lines = np.zeros((len(seeds), 3))
    for row in range(len(seeds)):
        x0, y0, a0, b0 = strips[seeds[row]]
        total, sx, sy, sxx, syy, sxy, number = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0
        for index in range(len(strips)):
            dx, dy = strips[index, 0] - x0, strips[index, 1] - y0
            if not open_strips[index] or dx * dx + dy * dy > reach * reach:
                continue
            if abs(strips[index, 2] * a0 + strips[index, 3] * b0) < cosine or abs(dx * a0 + dy * b0) > band:
                continue
            w = weight[index]
            total, sx, sy, number = total + w, sx + w * dx, sy + w * dy, number + 1
            sxx, syy, sxy = sxx + w * dx * dx, syy + w * dy * dy, sxy + w * dx * dy
        a, b, mx, my = a0, b0, 0.0, 0.0
        if number >= 3:
            mx, my = sx / total, sy / total
            angle = 0.5 * math.atan2(2.0 * (sxy - total * mx * my), (sxx - total * mx * mx) - (syy - total * my * my))
            fit_a, fit_b = -math.sin(angle), math.cos(angle)
            if abs(fit_a * a0 + fit_b * b0) > cosine:
                a, b = fit_a, fit_b
        lines[row, 0], lines[row, 1], lines[row, 2] = a, b, a * (x0 + mx) + b * (y0 + my)
    return lines


@njit(cache=True, nogil=True)
def draw_circles(
    seeds: Ints, chances: Floats, strips: Floats, open_strips: Bools, reach: float, tolerance: float, least: float,
    most: float,
) -> Floats:  # fmt: skip
    """Circles (m, 3: centre and radius) on which a seed and a partner within `reach` lie with their normals.

    The partner is drawn by `chances` (n,) in [0, 1). Radius 0 where the two do not agree on a circle.
    """
    circles = np.zeros((len(seeds), 3))
    near = np.empty(len(strips), np.int64)
    for row in range(len(seeds)):
        x0, y0, a0, b0 = strips[seeds[row]]
        size = 0
        for index in range(len(strips)):
            if open_strips[index] and abs(strips[index, 0] - x0) < reach and abs(strips[index, 1] - y0) < reach:
                near[size] = index
                size += 1
        if size < 3:
            continue
        x1, y1, a1, b1 = strips[near[int(chances[row] * size)]]
        across = a0 * b1 - b0 * a1
        if abs(across) < 0.05:
            continue
        s0 = ((x1 - x0) * b1 - (y1 - y0) * a1) / across
        s1 = ((x1 - x0) * b0 - (y1 - y0) * a0) / across
        radius = 0.5 * (abs(s0) + abs(s1))
        if abs(abs(s0) - abs(s1)) < max(tolerance, 0.1 * radius) and least < radius < most:
            circles[row, 0], circles[row, 1], circles[row, 2] = x0 + s0 * a0, y0 + s0 * b0, radius
    return circles
