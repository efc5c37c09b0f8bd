"""In which gap of a scanner's pattern an edge lies, where no station is known.

Points strewn by chance end one mean gap before an edge. But a scanner's points stand in columns and rows, and an edge
falls anywhere in one of the gaps between them. Which gap it is shows on the front piece before and after the edge,
where the same columns go on: the edge lies beyond the last column that left points beside it, and before the first that
left none.
"""

import numpy as np

from unfold.arrays import Floats

LEAST_POINTS = 12
IN_COLUMNS = 1.5  # mean gaps: points strewn by chance do not leave so much before an edge
AROUND_MM = (8.0, 40.0)  # before and after the ends of an edge, where the front piece goes on across it
SAME_COLUMN_MM = 1.5  # points this near in line are of one column
LEFT_SHARE = 0.3  # of the points that a column would leave beside the edge, from which on it did
STEEPEST = 0.3  # columns of a scanner that is not upright lean
BIN_MM, CLEARLY = 1.0, 1.1  # points in line are counted in bins; by so much more they must be
NEAR_MM = 15.0
DISPERSED = 2.0
STRIPS = 12  # along the edge
STEP_MM = 0.25
WIDEST_MM = 40.0
LEAST_MISSING = 3.0  # points that must be missing before the front piece is known not to go on


def beyond_the_last(
    beside: tuple[Floats, Floats],
    around: tuple[Floats, Floats],
    ends: tuple[float, float],
    offset: float,
    slope: float,
) -> tuple[float, float]:
    """How much farther than chance explains an edge lies beyond the last points before it, and how uncertain that is.

    Parameters
    ----------
    beside, around : x (n,) and t (n,) each
        Points on the front piece between the edge's ends, and before and after them; x across, t along.
    ends : (2,)
        t of the edge's two ends.
    offset, slope : float
        The edge x = offset + slope * t as the points beside it end.

    Notes
    -----
    Each point around stands for as many as its column, carried on, would leave beside the edge. That none of the n
    expected between the last points and x came has the chance exp(-n) (Poisson).
    """
    x, t = beside[0] - slope * beside[1], beside[1]
    before = np.sort(x[x < offset])
    if before.size <= LEAST_POINTS:
        return 0.0, 0.0
    sides = [around[1] < ends[0], around[1] > ends[1]]
    span = (AROUND_MM[1] - AROUND_MM[0]) * sum(bool(side.any()) for side in sides)
    if span == 0.0 or around[0].size < LEAST_POINTS:
        return _any_gap(before)
    go_on, share = around[0] - slope * around[1], (ends[1] - ends[0]) / span
    both = np.concatenate([x, go_on]), np.concatenate([t, around[1]])
    near = np.abs(both[0] - offset) < NEAR_MM  # columns of other stations lean otherwise
    lean = _lean(both[0][near], both[1][near])
    left, column = x - lean * t, go_on - lean * around[1]
    seen = _close_to(left, column) > LEFT_SHARE * share * _close_to(column, column)
    # what lies beyond the edge as told by density belongs to the piece where a column goes on there
    last = float(np.sort(x[(x < offset) | (_close_to(column[seen], left) > 0)])[-2])  # but for a stray
    reached = column[:, None] + lean * np.linspace(*ends, STRIPS) - last
    # a column that left points ends before the edge, or crosses it: what strays from it is not missing
    strays = seen | _in_columns(both[0][near] - lean * both[1][near])
    reached = np.sort(reached[reached > np.where(strays, SAME_COLUMN_MM, 0.0)[:, None]])
    places = np.arange(STEP_MM / 2, WIDEST_MM, STEP_MM)
    missing = share / STRIPS * np.searchsorted(reached, places)
    if missing[-1] < LEAST_MISSING:
        return _any_gap(before)
    weight = np.exp(-missing) / np.exp(-missing).sum()
    ahead = float(weight @ places)
    if ahead < IN_COLUMNS * float(np.diff(before).mean()) and last < offset:
        return 0.0, 0.0
    return last + ahead - offset, float(np.sqrt(weight @ (places - ahead) ** 2))


def _close_to(points: Floats, places: Floats) -> Floats:
    """How many of the points (n,) lie within a column's width of each place (m,)."""
    points = np.sort(points)
    first, last = (np.searchsorted(points, places + side * SAME_COLUMN_MM) for side in (-1, 1))
    return np.asarray(last - first, float)


def _in_columns(x: Floats) -> bool:
    """Whether points stand in columns across x (n,) rather than strewn: their index of dispersion is then over one."""
    if x.size == 0:
        return False
    counts, _ = np.histogram(x, np.arange(x.min(), x.max() + 2 * SAME_COLUMN_MM, SAME_COLUMN_MM))
    return bool(np.var(counts) > DISPERSED * np.mean(counts))


def _lean(x: Floats, t: Floats) -> float:
    """The lean of columns, mm per mm, under which most points fall in line; 0 for a scanner that stands upright."""
    if x.size == 0:
        return 0.0
    reach = max(float(np.ptp(t)) / 2, 1.0)
    steps = np.arange(0.0, STEEPEST, BIN_MM / 2 / reach)
    leans = np.concatenate([steps, -steps[1:]])
    counts = [np.bincount(((x - lean * t - x.min() + STEEPEST * 2 * reach) / BIN_MM).astype(int)) for lean in leans]
    in_line = np.array([float((count.astype(float) ** 2).sum()) for count in counts])
    best = int(np.argmax(in_line))
    return float(leans[best]) if in_line[best] > CLEARLY * in_line[0] else 0.0


def _any_gap(x: Floats) -> tuple[float, float]:
    """The same by the gaps g between the points x (n,) before the edge, in order, alone: it may lie in any of them.

    It lies E(g^2) / 2 E(g) beyond the last point on average (the forward recurrence time of renewal theory; Feller
    1971, XI.4, from memory).
    """
    gaps = np.diff(x)
    mean = float(gaps.mean())
    if gaps.sum() <= 0.0 or (ahead := float((gaps**2).sum() / (2 * gaps.sum()))) < IN_COLUMNS * mean:
        return 0.0, 0.0
    square = float((gaps**3).sum() / (3 * gaps.sum()))
    return ahead - mean, float(np.sqrt(max(square - ahead**2, 0.0)))
