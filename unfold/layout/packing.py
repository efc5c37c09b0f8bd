"""A packing job and its answer, in whole micrometres: parts as rectangles, and where they lie on which sheet."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True)
class Sheet:
    """A kind of sheet: usable size with one kerf added (micrometres), area paid for, and how many there are."""

    size: Ints  # (2,)
    cost: float
    count: int | None


@dataclass(frozen=True, slots=True)
class Job:
    """Parts (n, 2) with the kerf added, in micrometres, and the kinds of sheet.

    `solids` (s, 4) holds boxes (left, low, right, top) that cover a part, from the lower left corner of its bounding
    rectangle; rows firsts[2 p + t] to firsts[2 p + t + 1] are part p's, not turned (t = 0) and turned (t = 1).
    """

    sizes: Ints
    solids: Ints
    firsts: Ints  # (2 n + 1,)
    may_turn: Bools
    sheets: tuple[Sheet, ...]
    guillotine: bool

    @property
    def limits(self) -> Ints:
        """Usable sizes of the kinds of sheet, (k, 2)."""
        return np.array([sheet.size for sheet in self.sheets], np.int64).reshape(-1, 2)

    @property
    def costs(self) -> Floats:
        """Area paid for, by kind, (k,)."""
        return np.array([sheet.cost for sheet in self.sheets], np.float64)

    @property
    def stock(self) -> Ints:
        """How many sheets there are, by kind, (k,); -1 where there is no end of them."""
        return np.array([-1 if sheet.count is None else sheet.count for sheet in self.sheets], np.int64)

    @property
    def areas(self) -> Floats:
        """What each part covers, (n,), square micrometres."""
        covered = (self.solids[:, 2:] - self.solids[:, :2]).astype(np.float64).prod(axis=1)
        return np.asarray(np.add.reduceat(covered, self.firsts[:-1])[::2]) if len(self.sizes) else np.zeros(0)

    def pieces(self, kept: Bools) -> tuple[Ints, Bools]:
        """Sizes (k, 2) of the boxes that cover the parts that are `kept`, and whether each may be turned."""
        counts = np.where(kept, self.firsts[1::2] - self.firsts[:-1:2], 0)  # not turned
        rows = np.repeat(self.firsts[:-1:2] - np.cumsum(counts) + counts, counts) + np.arange(counts.sum())
        return self.solids[rows, 2:] - self.solids[rows, :2], np.repeat(self.may_turn, counts)

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
        """Area of its parts, square micrometres."""
        return float(job.areas[[part for part, *_ in self.places]].sum())
