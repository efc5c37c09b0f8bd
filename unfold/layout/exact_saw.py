"""The best nesting of a few parts when every cut runs through, proven by looking at every set of parts.

Dynamic programming over sets, after Gilmore and Gomory (1965), Multistage cutting stock problems of two and more
dimensions, Oper. Res. 13, 94-120, with envelopes in place of a fixed sheet.
"""

import numpy as np

from unfold.arrays import Ints
from unfold.layout import exact_kernels as kernels
from unfold.layout.packing import FilledSheet, Job

MOST_PARTS = 10
CAPACITY = 40_000


def pack_exactly(job: Job) -> list[FilledSheet] | None:
    """Pack a small job at the least cost; None when it is too large, or when sheets or room run out."""
    n = len(job.sizes)
    if not 0 < n <= MOST_PARTS:
        return None
    firsts, counts = np.zeros(1 << n, np.int64), np.zeros(1 << n, np.int64)
    front, origin = np.empty((CAPACITY, 2), np.int64), np.empty((CAPACITY, 4), np.int64)
    length, width = (int(value) for value in job.limits.max(axis=0))
    if not kernels.envelopes_of_sets(job.sizes, job.may_turn, length, width, front, origin, firsts, counts):
        return None
    costs, kinds, envelopes = _cheapest(job, front, firsts, counts)
    best, choice = np.empty(1 << n), np.zeros(1 << n, np.int64)
    kernels.least_cost_partition(costs, best, choice)
    if not np.isfinite(best[-1]):
        return None
    filled, rest = [], (1 << n) - 1
    while rest:
        chosen = int(choice[rest])
        filled.append(FilledSheet(int(kinds[chosen]), tuple(_places(int(envelopes[chosen]), chosen, front, origin))))
        rest -= chosen
    used = np.bincount([sheet.kind for sheet in filled], minlength=len(job.sheets))
    return filled if bool(np.all((job.stock < 0) | (used <= job.stock))) else None


def _cheapest(job: Job, front: Ints, firsts: Ints, counts: Ints) -> tuple[np.ndarray, Ints, Ints]:  # type: ignore[type-arg]
    """Give each set's least cost on one sheet, the kind of that sheet and the envelope that fits it."""
    costs, kinds, envelopes = np.full(len(firsts), np.inf), np.zeros(len(firsts), int), np.zeros(len(firsts), int)
    order = np.argsort(job.costs, kind="stable")
    for chosen in np.flatnonzero(counts):
        own = front[firsts[chosen] : firsts[chosen] + counts[chosen]]
        for kind in order:
            fits = np.flatnonzero((own <= job.limits[kind]).all(axis=1))
            if len(fits):
                costs[chosen], kinds[chosen], envelopes[chosen] = job.costs[kind], kind, firsts[chosen] + fits[0]
                break
    return costs, kinds, envelopes


def _places(envelope: int, chosen: int, front: Ints, origin: Ints) -> list[tuple[int, int, int, int]]:
    """Take an envelope apart, cut by cut, down to its parts: (part, x, y, turned) each."""
    places = []
    pending = [(chosen, envelope, 0, 0)]
    while pending:
        parts, index, x, y = pending.pop()
        half, a, b, stacked = (int(value) for value in origin[index])
        if half < 0:
            places.append((parts.bit_length() - 1, x, y, a))
            continue
        pending.append((half, a, x, y))
        width, height = (int(value) for value in front[a])
        pending.append((parts - half, b, x, y + height) if stacked else (parts - half, b, x + width, y))
    return sorted(places)
