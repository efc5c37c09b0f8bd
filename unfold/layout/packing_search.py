"""The search behind the nesting: some greedy fillings, then emptying and refilling a few sheets again and again.

Greedy filling by a score with varied weights follows Crainic, Perboli and Tadei (2012), A greedy adaptive search
procedure for multi-dimensional multi-container packing problems; emptying and refilling, Pisinger and Ropke (2010),
Large neighborhood search, in Handbook of metaheuristics.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats, Ints
from unfold.layout import nesting_kernels as kernels
from unfold.layout.exact_saw import pack_exactly
from unfold.layout.packing import FilledSheet, Job
from unfold.layout.sheet_bounds import fewest_sheets

SEED = 1
QUICK, THOROUGH = 50_000, 1_000_000
"""Places looked at for each part, about 3 ns each. A limit in time would make the result depend on the machine."""
START_WEIGHTS = (
    (1.0, 0.0, 0.3, 0.05, 0.01, 0.01),
    (0.3, 1.0, 0.3, 0.05, 0.01, 0.01),
    (3.0, 0.0, 0.1, 0.0, 0.1, 0.1),
    (0.3, 0.3, 1.0, 0.1, 0.01, 0.0),
)


def pack(job: Job, work_per_part: int = THOROUGH) -> list[FilledSheet]:
    """Pack a job as well as the work limit allows: as many parts as can be, on as little paid sheet area as can be."""
    if len(job.sizes) == 0 or not job.sheets:
        return []
    start = _best_start(job)
    # With one kind of sheet the bound tells when no packing can be better; with several, cost is not their number.
    enough = fewest_sheets(job) if len(job.sheets) == 1 else 0
    if start.left == 0 and start.sheets <= enough:
        return start.filled()
    exact = pack_exactly(job)
    if exact is not None and job.guillotine:
        return exact
    if exact is not None and start.is_dearer_than(exact, job):
        start = _State.of(exact, len(job.sizes))
    sheets, _ = kernels.refill_sheets(
        job.sizes, job.may_turn, job.solids, job.firsts, job.areas, job.limits, job.costs, job.stock, job.guillotine,
        start.places, start.kinds, start.sheets, enough, np.random.default_rng(SEED), work_per_part * len(job.sizes),
    )  # fmt: skip
    return _State(start.places, start.kinds, sheets).filled()


@dataclass(frozen=True, slots=True)
class _State:
    """A packing as compiled loops hold it: sheet, x, y, turned of each part (n, 4), and each sheet's kind (n,)."""

    places: Ints
    kinds: Ints
    sheets: int

    @classmethod
    def of(cls, filled: list[FilledSheet], parts: int) -> "_State":
        places, kinds = np.full((parts, 4), -1, np.int64), np.zeros(parts, np.int64)
        for number, sheet in enumerate(filled):
            kinds[number] = sheet.kind
            for part, x, y, turned in sheet.places:
                places[part] = number, x, y, turned
        return cls(places, kinds, len(filled))

    @property
    def left(self) -> int:
        """Parts that lie on no sheet."""
        return int(np.count_nonzero(self.places[:, 0] < 0))

    def filled(self) -> list[FilledSheet]:
        found = []
        for sheet in range(self.sheets):
            parts = np.flatnonzero(self.places[:, 0] == sheet).tolist()
            rows = self.places[parts, 1:].tolist()
            places = tuple((part, x, y, turned) for part, (x, y, turned) in zip(parts, rows, strict=True))
            found.append(FilledSheet(int(self.kinds[sheet]), places))
        return found

    def is_dearer_than(self, other: list[FilledSheet], job: Job) -> bool:
        own = float(job.costs[self.kinds[: self.sheets]].sum())
        return self.left > 0 or own > sum(float(job.costs[sheet.kind]) for sheet in other)


def _best_start(job: Job) -> _State:
    """Fill greedily with every start weight and split rule; return the best."""
    n = len(job.sizes)
    pool, favour = np.arange(n), np.ones(n)
    found: list[tuple[tuple[int, float, float], int, _State]] = []
    for weights in START_WEIGHTS:
        for rule in range(kernels.SPLIT_RULES if job.guillotine else 1):
            places, kinds = np.empty((n, 4), np.int64), np.zeros(n, np.int64)
            sheets, left, cost, squares, _ = _fill(job, pool, favour, np.array(weights), rule, places, kinds)
            found.append(((left, cost, -squares), len(found), _State(places, kinds, sheets)))
    return min(found)[2]


def _fill(
    job: Job, pool: Ints, favour: Floats, weights: Floats, rule: int, places: Ints, kinds: Ints
) -> tuple[int, int, float, float, int]:
    result: tuple[int, int, float, float, int] = kernels.fill_all(
        job.sizes, job.may_turn, job.solids, job.firsts, job.areas, favour, pool, job.limits, job.costs, job.stock,
        job.guillotine, rule, weights, 1, np.random.default_rng(SEED), np.inf, places, kinds,
    )  # fmt: skip
    return result
