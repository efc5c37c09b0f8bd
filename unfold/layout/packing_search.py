"""The search behind the nesting: many greedy fillings, then emptying and refilling some sheets.

Score-driven greedy filling with varied weights follows Crainic, Perboli and Tadei (2012), A greedy adaptive search
procedure for multi-dimensional multi-container packing problems; emptying and refilling, Pisinger and Ropke (2010),
Large neighborhood search.
"""

from dataclasses import dataclass, field

import numpy as np

from unfold.arrays import Bools, Floats, Ints
from unfold.layout import nesting_kernels as kernels

START_WEIGHTS = (
    (1.0, 0.0, 0.3, 0.05, 0.01, 0.01),
    (0.3, 1.0, 0.3, 0.05, 0.01, 0.01),
    (3.0, 0.0, 0.1, 0.0, 0.1, 0.1),
    (0.3, 0.3, 1.0, 0.1, 0.01, 0.0),
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A kind of sheet: usable size with one kerf added (micrometres), area paid for, and how many there are."""

    size: Ints  # (2,)
    cost: float
    count: int | None


@dataclass(frozen=True, slots=True)
class Job:
    """Parts (n, 2) with the kerf added, in micrometres, and the kinds of sheet."""

    sizes: Ints
    may_turn: Bools
    sheets: tuple[Sheet, ...]
    guillotine: bool

    def fits(self, kind: int) -> Bools:
        """Tell which parts fit on a sheet of this kind at all; shape (n,)."""
        limit = self.sheets[kind].size
        straight = (self.sizes <= limit).all(axis=1)
        turned = (self.sizes[:, ::-1] <= limit).all(axis=1) & self.may_turn
        return np.asarray(straight | turned)


@dataclass(frozen=True, slots=True)
class FilledSheet:
    """One sheet with its parts: (part, x, y, turned) each, micrometres from the trimmed corner."""

    kind: int
    places: tuple[tuple[int, int, int, int], ...]

    def area(self, job: Job) -> float:
        return float(sum(int(job.sizes[part].prod()) for part, *_ in self.places))


@dataclass(slots=True)
class Packing:
    sheets: list[FilledSheet] = field(default_factory=list)

    def rank(self, job: Job) -> tuple[int, float, float]:
        """Smaller is better: parts left over, area paid for, then the evenness that a large rest on one sheet ends."""
        left = len(job.sizes) - sum(len(sheet.places) for sheet in self.sheets)
        shares = [sheet.area(job) / float(job.sheets[sheet.kind].size.prod()) for sheet in self.sheets]
        return left, sum(job.sheets[sheet.kind].cost for sheet in self.sheets), -sum(share * share for share in shares)


def pack(job: Job) -> Packing:
    """Pack a job as well as the work limit allows."""
    best = Packing()
    if len(job.sizes) == 0 or not job.sheets:
        return best
    best_rank = best.rank(job)
    favour = np.ones(len(job.sizes))
    for weights in START_WEIGHTS:
        for rule in range(kernels.SPLIT_RULES if job.guillotine else 1):
            packing = fill_all(job, favour, np.array(weights), rule)
            if (rank := packing.rank(job)) < best_rank:
                best, best_rank = packing, rank
    return best


def fill_all(job: Job, favour: Floats, weights: Floats, rule: int) -> Packing:
    """Fill sheet after sheet until nothing more fits; of several kinds the one used best comes next."""
    remaining = np.ones(len(job.sizes), np.bool_)
    available = [sheet.count for sheet in job.sheets]
    packing = Packing()
    while remaining.any():
        fillings = [
            fill_one(job, kind, remaining, favour, weights, rule)
            for kind in range(len(job.sheets))
            if available[kind] != 0
        ]
        filled = max(
            (one for one in fillings if one.places),
            key=lambda one: one.area(job) / job.sheets[one.kind].cost,
            default=None,
        )
        if filled is None:
            break
        remaining[[place[0] for place in filled.places]] = False
        count = available[filled.kind]
        available[filled.kind] = None if count is None else count - 1
        packing.sheets.append(filled)
    return packing


def fill_one(job: Job, kind: int, remaining: Bools, favour: Floats, weights: Floats, rule: int) -> FilledSheet:
    placed = np.empty((len(job.sizes), 4), np.int64)
    count, _ = kernels.fill_sheet(
        job.sizes, job.may_turn, favour, remaining.copy(), job.sheets[kind].size, job.guillotine, rule, weights, placed
    )
    return FilledSheet(kind, tuple((int(p), int(x), int(y), int(t)) for p, x, y, t in placed[:count]))
