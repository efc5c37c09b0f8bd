"""Compiled loops of the nesting: fill one sheet from the parts that remain. Lengths are whole micrometres."""

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats, Ints

SPLIT_RULES = 5


@njit(cache=True, nogil=True)
def _drop_covered(free: Ints, count: int) -> int:
    """Drop free rectangles (x, y, width, height) that lie within another one; return how many remain."""
    kept = 0
    for i in range(count):
        covered = False
        for j in range(count):
            if i == j:
                continue
            inside = (
                free[j, 0] <= free[i, 0]
                and free[j, 1] <= free[i, 1]
                and free[j, 0] + free[j, 2] >= free[i, 0] + free[i, 2]
                and free[j, 1] + free[j, 3] >= free[i, 1] + free[i, 3]
            )
            same = inside and free[j, 2] == free[i, 2] and free[j, 3] == free[i, 3]
            if inside and (not same or j < i) and free[j, 2] > 0:
                covered = True
                break
        if covered:
            free[i, 2] = 0  # marks it gone, for the comparisons that follow
    for i in range(count):
        if free[i, 2] > 0:
            free[kept] = free[i]
            kept += 1
    return kept


@njit(cache=True, nogil=True)
def _take_free(free: Ints, count: int, x: int, y: int, w: int, h: int) -> int:
    """Take a rectangle out of the maximal free rectangles; return how many there are then."""
    total = count
    for i in range(count):
        fx, fy, fw, fh = free[i, 0], free[i, 1], free[i, 2], free[i, 3]
        if x >= fx + fw or x + w <= fx or y >= fy + fh or y + h <= fy:
            continue
        pieces = (
            (fx, fy, x - fx, fh),
            (x + w, fy, fx + fw - x - w, fh),
            (fx, fy, fw, y - fy),
            (fx, y + h, fw, fy + fh - y - h),
        )
        for piece in pieces:
            if piece[2] > 0 and piece[3] > 0 and total < free.shape[0]:
                free[total, 0], free[total, 1], free[total, 2], free[total, 3] = piece
                total += 1
        free[i, 2] = 0
    kept = 0
    for i in range(total):
        if free[i, 2] > 0:
            free[kept] = free[i]
            kept += 1
    return _drop_covered(free, kept)


@njit(cache=True, nogil=True)
def _split_guillotine(free: Ints, count: int, at: int, w: int, h: int, rule: int) -> int:
    """Place w x h in the lower left of free rectangle `at` and cut the rest into two by one cut through.

    Rules: 0 the cut runs across, 1 it runs up, 2 along the shorter rest, 3 along the longer rest, 4 the larger rest
    stays whole.
    """
    x, y, fw, fh = free[at, 0], free[at, 1], free[at, 2], free[at, 3]
    rest_w, rest_h = fw - w, fh - h
    across = rule == 0
    if rule == 2:
        across = rest_w < rest_h
    elif rule == 3:
        across = rest_w >= rest_h
    elif rule == 4:
        across = max(fw * rest_h, rest_w * h) >= max(w * rest_h, rest_w * fh)
    free[at] = free[count - 1]
    total = count - 1
    right_h, above_w = (h, fw) if across else (fh, w)
    if rest_w > 0:
        free[total, 0], free[total, 1], free[total, 2], free[total, 3] = x + w, y, rest_w, right_h
        total += 1
    if rest_h > 0:
        free[total, 0], free[total, 1], free[total, 2], free[total, 3] = x, y + h, above_w, rest_h
        total += 1
    return total


@njit(cache=True, nogil=True)
def fill_sheet(
    sizes: Ints,
    may_turn: Bools,
    favour: Floats,
    remaining: Bools,
    sheet: Ints,
    guillotine: bool,
    split_rule: int,
    weights: Floats,
    placed: Ints,
) -> tuple[int, int]:
    """Fill one sheet greedily: again and again the best-scored part, place and turn among all that fit.

    Parameters
    ----------
    sizes : (n, 2)
        Parts with the kerf added.
    may_turn : (n,)
    favour : (n,)
        Factor on each part's area share; 1 is neutral.
    remaining : (n,)
        Parts that may be placed; the placed ones are cleared.
    sheet : (2,)
        Length and width, trimmed, with one kerf added.
    weights : (6,)
        Weights of the score's terms: area, longest side, shorter and longer rest, y and x of the place.
    placed : (n, 4)
        Filled with part, x, y, turned.

    Returns
    -------
    The number of parts placed, and the number of places looked at (the unit of work).
    """
    n = sizes.shape[0]
    free = np.empty((8 * n + 16, 4), np.int64)
    free[0, 0], free[0, 1], free[0, 2], free[0, 3] = 0, 0, sheet[0], sheet[1]
    free_count, done, work = 1, 0, 0
    length, width = float(sheet[0]), float(sheet[1])
    while True:
        best, best_part, best_free, best_turn = -np.inf, -1, -1, 0
        for part in range(n):
            if not remaining[part]:
                continue
            for turn in range(2 if may_turn[part] else 1):
                w, h = sizes[part, turn], sizes[part, 1 - turn]
                own = favour[part] * weights[0] * (w * h) / (length * width) + weights[1] * max(w, h) / length
                for at in range(free_count):
                    work += 1
                    rest_w, rest_h = free[at, 2] - w, free[at, 3] - h
                    if rest_w < 0 or rest_h < 0:
                        continue
                    score = (
                        own
                        - weights[2] * min(rest_w, rest_h) / width
                        - weights[3] * max(rest_w, rest_h) / length
                        - weights[4] * free[at, 1] / width
                        - weights[5] * free[at, 0] / length
                    )
                    if score > best:
                        best, best_part, best_free, best_turn = score, part, at, turn
        if best_part < 0:
            return done, work
        w, h = sizes[best_part, best_turn], sizes[best_part, 1 - best_turn]
        x, y = free[best_free, 0], free[best_free, 1]
        placed[done, 0], placed[done, 1], placed[done, 2], placed[done, 3] = best_part, x, y, best_turn
        done += 1
        remaining[best_part] = False
        if guillotine:
            free_count = _split_guillotine(free, free_count, best_free, w, h, split_rule)
        else:
            free_count = _take_free(free, free_count, x, y, w, h)
