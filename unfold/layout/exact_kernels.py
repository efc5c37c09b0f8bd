"""Compiled loops of the exact nesting of a few parts when every cut runs through. Lengths are whole micrometres.

A set of parts is a bit mask. Its envelopes are the rectangles that hold it and that no smaller one is within; each
comes from the last cut in reverse: two sets side by side, or one on the other.
"""

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats, Ints

MOST_ENVELOPES = 256
"""Of one set; a job with more is left to the search."""


@njit(cache=True, nogil=True)
def _insert(front: Ints, origin: Ints, first: int, count: int, envelope: Ints, source: Ints) -> int:
    """Insert an envelope into those of a set, unless one there is within it; drop those that it is within."""
    w, h = envelope[0], envelope[1]
    for index in range(first, first + count):
        if front[index, 0] <= w and front[index, 1] <= h:
            return count
    kept = 0
    for index in range(first, first + count):
        if front[index, 0] < w or front[index, 1] < h:
            front[first + kept], origin[first + kept] = front[index], origin[index]
            kept += 1
    if kept < MOST_ENVELOPES:
        front[first + kept], origin[first + kept] = envelope, source
    return kept + 1


@njit(cache=True, nogil=True)
def envelopes_of_sets(sizes: Ints, may_turn: Bools, length: int, width: int, front: Ints, origin: Ints, firsts: Ints,
                      counts: Ints) -> bool:
    """Find the envelopes of every set of parts that fits a sheet of this length and width.

    `front` (capacity, 2) is filled with widths and heights, set after set; those of a set begin at `firsts` and are
    `counts` many. `origin` (capacity, 4) tells where each comes from: for one part (-1, turned, 0, 0), for more the
    half set, the numbers of the two halves' envelopes, and 0 side by side or 1 on each other. Returns False when there
    are too many.
    """
    n, total = len(sizes), 0
    envelope, source = np.empty(2, np.int64), np.empty(4, np.int64)
    area = np.zeros(1 << n, np.float64)
    room = float(length) * float(width)
    for chosen in range(1, 1 << n):
        firsts[chosen], count = total, 0
        low = chosen & -chosen
        part = 0
        while 1 << part != low:
            part += 1
        area[chosen] = area[chosen - low] + float(sizes[part, 0]) * float(sizes[part, 1])
        counts[chosen] = 0
        if area[chosen] > room:
            continue
        if total + MOST_ENVELOPES > len(front):
            return False
        if chosen == low:
            for turn in range(2 if may_turn[part] else 1):
                envelope[0], envelope[1] = sizes[part, turn], sizes[part, 1 - turn]
                source[0], source[1], source[2], source[3] = -1, turn, 0, 0
                if envelope[0] <= length and envelope[1] <= width:
                    count = _insert(front, origin, total, count, envelope, source)
        half = (chosen - 1) & chosen
        while half > chosen - half:
            other = chosen - half
            for a in range(firsts[half], firsts[half] + counts[half]):
                for b in range(firsts[other], firsts[other] + counts[other]):
                    source[0], source[1], source[2] = half, a, b
                    for stacked in range(2):
                        source[3] = stacked
                        if stacked == 0:
                            envelope[0] = front[a, 0] + front[b, 0]
                            envelope[1] = max(front[a, 1], front[b, 1])
                        else:
                            envelope[0] = max(front[a, 0], front[b, 0])
                            envelope[1] = front[a, 1] + front[b, 1]
                        if envelope[0] <= length and envelope[1] <= width:
                            count = _insert(front, origin, total, count, envelope, source)
                            if count > MOST_ENVELOPES:
                                return False
            half = (half - 1) & chosen
        counts[chosen] = count
        total += count
    return True


@njit(cache=True, nogil=True)
def least_cost_partition(costs: Floats, best: Floats, choice: Ints) -> None:
    """Share out all parts to sheets at least cost.

    `costs` (2^n,) are of one sheet that holds a set, infinite when none does. Fills the least cost of every set, `best`
    (2^n,), and the set on one of its sheets, `choice` (2^n,).
    """
    best[0] = 0.0
    for chosen in range(1, len(costs)):
        low = chosen & -chosen
        best[chosen], choice[chosen] = np.inf, 0
        sub = chosen
        while sub > 0:
            if sub & low and costs[sub] + best[chosen - sub] < best[chosen]:
                best[chosen], choice[chosen] = costs[sub] + best[chosen - sub], sub
            sub = (sub - 1) & chosen
