"""Compiled loops of the nesting: fill one sheet from the parts that remain. Lengths are whole micrometres.

`solids` (s, 4) holds boxes (left, low, right, top) that cover a part from the lower left corner of its bounding
rectangle, kerf added: those of part p in turn t are rows firsts[2 p + t] to firsts[2 p + t + 1]. Most parts have one, a
notched one has several. `areas` (n,) is what they cover.
"""

import numpy as np
from numba import njit

from unfold.arrays import Bools, Floats, Ints

SPLIT_RULES = 5
MOST_EMPTIED = 5
SHEET_WORK = 64  # what beginning a sheet costs, in places looked at
TRIES = 8  # random refillings of the same emptied sheets
WEIGHT_RANGE = (3.0, 1.0, 1.0, 0.3, 0.2, 0.2)
FAVOUR_SPREAD = 0.5
REPEATS = 3  # fillings of one sheet of which the fullest is kept, in every other refilling


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
def take_free(free: Ints, count: int, x: int, y: int, w: int, h: int) -> int:
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
    sizes: Ints, may_turn: Bools, solids: Ints, firsts: Ints, favour: Floats, pool: Ints, length: int, width: int,
    guillotine: bool, rule: int, weights: Floats, placed: Ints,
) -> tuple[int, int]:
    """Fill one sheet greedily: again and again the best-scored part, place and turn among all that fit.

    Parameters
    ----------
    sizes : (n, 2)
        Parts with the kerf added.
    may_turn : (n,)
    favour : (n,)
        Factor on each part's area share; 1 is neutral.
    pool : (m,)
        Parts that may be placed.
    length, width
        Of the sheet, trimmed, with one kerf added.
    rule
        How a free rectangle is split when the cuts run through.
    weights : (6,)
        Weights of the score's terms: area, longest side, shorter and longer rest, y and x of the place.
    placed : (m, 4)
        Filled with index into the pool, x, y, turned.

    Returns
    -------
    The number of parts placed, and the number of places looked at (the unit of work).
    """
    m = len(pool)
    free = np.empty((8 * (m + len(solids) - 2 * len(sizes)) + 16, 4), np.int64)
    free[0, 0], free[0, 1], free[0, 2], free[0, 3] = 0, 0, length, width
    free_count, done, work = 1, 0, SHEET_WORK
    used = np.zeros(m, np.bool_)
    while True:
        best, best_index, best_free, best_turn = -np.inf, -1, -1, 0
        for index in range(m):
            if used[index]:
                continue
            part = pool[index]
            for turn in range(2 if may_turn[part] else 1):
                w, h = sizes[part, turn], sizes[part, 1 - turn]
                own = favour[part] * weights[0] * (w / length) * (h / width) + weights[1] * max(w, h) / length
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
                        best, best_index, best_free, best_turn = score, index, at, turn
        if best_index < 0:
            return done, work
        part = pool[best_index]
        w, h = sizes[part, best_turn], sizes[part, 1 - best_turn]
        x, y = free[best_free, 0], free[best_free, 1]
        placed[done, 0], placed[done, 1], placed[done, 2], placed[done, 3] = best_index, x, y, best_turn
        done += 1
        used[best_index] = True
        if guillotine:
            free_count = _split_guillotine(free, free_count, best_free, w, h, rule)
        else:
            for row in range(firsts[2 * part + best_turn], firsts[2 * part + best_turn + 1]):
                left, low, right, top = solids[row]
                free_count = take_free(free, free_count, x + left, y + low, right - left, top - low)


@njit(cache=True, nogil=True)
def draw_weights(weights: Floats, generator: np.random.Generator) -> int:
    """Draw weights of the score's terms at random; return a rule of splitting."""
    for term in range(len(weights)):
        weights[term] = generator.random() * WEIGHT_RANGE[term]
    return int(generator.integers(0, SPLIT_RULES))


@njit(cache=True, nogil=True)
def fill_all(
    sizes: Ints, may_turn: Bools, solids: Ints, firsts: Ints, areas: Floats, favour: Floats, pool: Ints, limits: Ints,
    costs: Floats, stock: Ints, guillotine: bool, rule: int, weights: Floats, repeats: int,
    generator: np.random.Generator, most_cost: float, places: Ints, kinds: Ints,
) -> tuple[int, int, float, float, int]:
    """Fill sheet after sheet until nothing more fits; of several kinds the one used best comes next.

    Each sheet is filled `repeats` times, with weights drawn anew after the first, and the fullest filling is kept.

    `limits` (k, 2), `costs` (k,) and `stock` (k,) describe the kinds of sheet; a negative stock is endless. `places`
    (m, 4) is filled with sheet, x, y, turned for each part of the pool, sheet -1 where it is left over; `kinds` with
    the kind of each sheet. It gives up once the sheets cost more than `most_cost`.

    Returns
    -------
    Number of sheets, parts left over, cost, sum of the squared shares of the sheets in use, and work.
    """
    m = len(pool)
    rest, back = pool.copy(), np.arange(m)
    count, sheets, work = m, 0, 0
    cost, squares = 0.0, 0.0
    available = stock.copy()
    places[:m, 0] = -1
    placed, best_placed = np.empty((m, 4), np.int64), np.empty((m, 4), np.int64)
    while count > 0:
        best_kind, best_worth, best_done, best_area = -1, 0.0, 0, 0.0
        for kind in range(len(costs)):
            if available[kind] == 0:
                continue
            length, width = limits[kind, 0], limits[kind, 1]
            for attempt in range(repeats):
                if attempt > 0:
                    rule = draw_weights(weights, generator)
                done, looked = fill_sheet(
                    sizes, may_turn, solids, firsts, favour, rest[:count], length, width, guillotine, rule, weights,
                    placed,
                )
                work += looked
                area = 0.0
                for number in range(done):
                    area += areas[rest[placed[number, 0]]]
                if area / costs[kind] > best_worth:
                    best_kind, best_worth, best_done, best_area = kind, area / costs[kind], done, area
                    best_placed[:done] = placed[:done]
        if best_kind < 0:
            break
        available[best_kind] -= 1
        cost += costs[best_kind]
        share = best_area / (float(limits[best_kind, 0]) * float(limits[best_kind, 1]))
        squares += share * share
        kinds[sheets] = best_kind
        for number in range(best_done):
            index = best_placed[number, 0]
            places[back[index], 0] = sheets
            places[back[index], 1:] = best_placed[number, 1:]
            rest[index] = -1
        sheets += 1
        kept = 0
        for index in range(count):
            if rest[index] >= 0:
                rest[kept], back[kept] = rest[index], back[index]
                kept += 1
        count = kept
        if cost > most_cost:
            break
    return sheets, count, cost, squares, work


@njit(cache=True, nogil=True)
def refill_sheets(
    sizes: Ints, may_turn: Bools, solids: Ints, firsts: Ints, areas: Floats, limits: Ints, costs: Floats, stock: Ints,
    guillotine: bool, places: Ints, kinds: Ints, sheets: int, enough: int, generator: np.random.Generator,
    work_limit: int,
) -> tuple[int, int]:
    """Improve a packing: empty a few sheets, poorly used ones rather, fill them anew at random, keep what is no worse.

    Better is: fewer parts left over, less cost, then a larger sum of squared shares, which drains the emptiest sheet.
    `places` (n, 4) holds sheet, x, y, turned of every part, `kinds` (n,) the kind of each of the `sheets`; both are
    changed. It ends at the work limit, or when `enough` sheets hold everything.

    Returns the number of sheets and the work done.
    """
    n = len(sizes)
    work, left = 0, 0
    shares = np.zeros(n)
    for part in range(n):
        if places[part, 0] < 0:
            left += 1
        else:
            shares[places[part, 0]] += areas[part]
    for sheet in range(sheets):
        shares[sheet] /= float(limits[kinds[sheet], 0]) * float(limits[kinds[sheet], 1])
    pool, new_places, new_kinds = np.empty(n, np.int64), np.empty((n, 4), np.int64), np.empty(n, np.int64)
    favour, weights, keys = np.ones(n), np.empty(6), np.empty(n)
    while work < work_limit and (left > 0 or sheets > enough):
        emptied = min(sheets, int(generator.integers(2, MOST_EMPTIED + 1)))
        for sheet in range(sheets):
            keys[sheet] = -(1.02 - shares[sheet]) * np.sqrt(generator.random())
        chosen = np.argsort(keys[:sheets])[:emptied]
        is_emptied = np.zeros(sheets + 1, np.bool_)
        is_emptied[chosen] = True
        is_emptied[sheets] = True  # parts that are left over: sheet -1
        m, old_cost, old_squares = 0, 0.0, 0.0
        for part in range(n):
            if is_emptied[places[part, 0]]:
                pool[m] = part
                m += 1
        available = stock.copy()
        for sheet in range(sheets):
            if is_emptied[sheet]:
                old_cost += costs[kinds[sheet]]
                old_squares += shares[sheet] * shares[sheet]
            else:
                available[kinds[sheet]] -= 1
        for kind in range(len(costs)):
            if stock[kind] < 0:
                available[kind] = -1
        for _ in range(TRIES):
            rule = draw_weights(weights, generator)
            spread = FAVOUR_SPREAD * generator.random()
            for index in range(m):
                favour[pool[index]] = np.exp(generator.normal(0.0, spread))
            repeats = REPEATS if generator.random() < 0.5 else 1
            count, new_left, cost, squares, looked = fill_all(
                sizes, may_turn, solids, firsts, areas, favour, pool[:m], limits, costs, available, guillotine, rule,
                weights, repeats, generator, old_cost + 0.5, new_places, new_kinds,
            )
            work += looked + m
            better = new_left < left or (
                new_left == left and (cost < old_cost - 0.5 or (cost < old_cost + 0.5 and squares >= old_squares))
            )
            if not better:
                continue
            old_cost, old_squares, left = cost, squares, new_left
            sheets = _replace_sheets(places, kinds, shares, sheets, is_emptied, pool[:m], new_places, new_kinds, count)
            for part in range(sheets, n):
                shares[part] = 0.0
            for sheet in range(sheets - count, sheets):
                shares[sheet] = 0.0
            for index in range(m):
                part = pool[index]
                if places[part, 0] >= 0:
                    shares[places[part, 0]] += areas[part]
            for sheet in range(sheets - count, sheets):
                shares[sheet] /= float(limits[kinds[sheet], 0]) * float(limits[kinds[sheet], 1])
            is_emptied = np.zeros(sheets + 1, np.bool_)
            is_emptied[sheets - count : sheets + 1] = True
    return sheets, work


@njit(cache=True, nogil=True)
def _replace_sheets(
    places: Ints, kinds: Ints, shares: Floats, sheets: int, is_emptied: Bools, pool: Ints, new_places: Ints,
    new_kinds: Ints, count: int,
) -> int:
    """Put new sheets in the place of the emptied ones, after those that were kept; return how many there are then."""
    number = np.full(sheets, -1, np.int64)
    kept = 0
    for sheet in range(sheets):
        if not is_emptied[sheet]:
            number[sheet] = kept
            kinds[kept], shares[kept] = kinds[sheet], shares[sheet]
            kept += 1
    for part in range(len(places)):
        if places[part, 0] >= 0:
            places[part, 0] = number[places[part, 0]]
    for index in range(len(pool)):
        part = pool[index]
        places[part] = new_places[index]
        if new_places[index, 0] >= 0:
            places[part, 0] += kept
    for sheet in range(count):
        kinds[kept + sheet] = new_kinds[sheet]
    return kept + count
