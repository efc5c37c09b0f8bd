"""A smooth surface fitted to a strip beside an edge and carried on to the edge, with its standard uncertainty.

The strip is y(t, d): t runs along the edge, d away from it. Where two surfaces meet, the points right in the corner are
the least trustworthy, so each surface is fitted to its clean strip and extrapolated to d = 0.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats

_DEGREE = 3
CURVATURES = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0)  # tried for how much the coefficients may bend, mm per knot
_SLOPE_STIFFNESS = 0.1  # the slope across the strip may change this much less along the edge than the height
_SLOPE_SD = 0.02  # a surface keeps within 20 mm/m of its own base plane beside an edge; holds only where data are few
_REWEIGHTINGS = 4
_TUKEY = 4.685  # 95 % efficiency for normal residuals (Huber and Ronchetti, Robust Statistics, from memory)


@dataclass(frozen=True, slots=True)
class StripFit:
    """A fitted strip: y(t, d) = a(t) + d * b(t), a and b cubic splines."""

    knots: Floats  # (k,) of a
    slope_knots: Floats  # (m,) of b
    coefficients: Floats  # (n,) of a, then of b
    covariance: Floats  # (n, n)
    depth_mm: float  # the scale of d

    def at(self, t: Floats, d: float | Floats) -> tuple[Floats, Floats]:
        """Value and standard uncertainty at positions t (n,) and distances d (scalar or (n,))."""
        design = _design(
            self.knots, self.slope_knots, np.asarray(t, float), np.broadcast_to(d, np.shape(t)) / self.depth_mm
        )
        variance = ((design @ self.covariance) * design).sum(axis=1)
        return design @ self.coefficients, np.sqrt(np.maximum(variance, 0.0))


def fit_strip(
    t: Floats,
    d: Floats,
    y: Floats,
    standard_error: Floats,
    knot_mm: float = 150.0,
    span: tuple[float, float] | None = None,
) -> StripFit | None:
    """Fit a strip by penalised splines whose stiffness is chosen by restricted maximum likelihood.

    Parameters
    ----------
    t, d, y : (n,)
        Position along the edge, distance from it and height, millimetres.
    standard_error : (n,)
        Standard error of each y.
    knot_mm : float
        Distance of the knots along the edge; the slope's are three times as far apart.
    span : (first, last), optional
        Range of t that the fit must cover; default that of the data. Beyond the data the penalty carries on straight.

    Returns
    -------
    StripFit or None
        None when there are fewer than 8 data.

    References
    ----------
    Eilers and Marx (1996), Flexible smoothing with B-splines and penalties, Statistical Science 11(2), 89-121.
    """
    if t.size < 8:
        return None
    low, high = span if span is not None else (float(t.min()), float(t.max()))
    depth = max(float(np.max(np.abs(d))), 1.0)
    knots = uniform_knots(min(low, float(t.min())), max(high, float(t.max())), knot_mm)
    slope_knots = uniform_knots(min(low, float(t.min())), max(high, float(t.max())), 3 * knot_mm)
    design = _design(knots, slope_knots, t, d / depth)
    heights = knots.size - _DEGREE - 1
    middle = float(np.median(y))
    y = y - middle
    robust = _starting_weights(y, standard_error)
    stiffness = CURVATURES[3]
    for step in range(_REWEIGHTINGS):
        weight = robust / standard_error**2
        gram, right_side = design.T @ (weight[:, None] * design), design.T @ (weight * y)
        if step in (1, 2):
            stiffness = _most_likely(
                gram, right_side, heights, depth, float(robust @ (y / standard_error) ** 2), t.size
            )
        penalty = _penalty(heights, gram.shape[0] - heights, stiffness, depth)
        coefficients = np.linalg.solve(gram + penalty, right_side)
        standardised = (y - design @ coefficients) / standard_error
        scale = max(1.4826 * float(np.median(np.abs(standardised))), 0.3)
        robust = np.clip(1 - (standardised / (_TUKEY * scale)) ** 2, 0.0, 1.0) ** 2
    inflation = max(_correlation_inflation(t, d, standardised, robust, knot_mm), 1.0) * max(scale, 1.0) ** 2
    weight = robust / standard_error**2 / inflation
    gram = design.T @ (weight[:, None] * design)
    covariance = np.linalg.inv(gram + penalty)
    coefficients[:heights] += middle  # the basis sums to one everywhere
    fitted: Floats = np.asarray(coefficients, dtype=float)
    spread: Floats = np.asarray(covariance, dtype=float)
    return StripFit(knots, slope_knots, fitted, spread, depth)


def uniform_knots(low: float, high: float, spacing: float) -> Floats:
    """Knots of cubic B-splines from `low` to `high`, about `spacing` apart, with three more at either end."""
    pieces = max(int(np.ceil((high - low) / spacing)), 1)
    inner = np.linspace(low, max(high, low + 1.0), pieces + 1)
    step = float(inner[1] - inner[0])
    beyond = step * np.arange(1.0, _DEGREE + 1)
    return np.asarray(np.concatenate([inner[0] - beyond[::-1], inner, inner[-1] + beyond]), dtype=float)


def _design(knots: Floats, slope_knots: Floats, t: Floats, depth_share: Floats) -> Floats:
    heights = basis(knots, t)
    slopes = basis(slope_knots, t) * depth_share[:, None]
    return np.hstack([heights, slopes])


def basis(knots: Floats, t: Floats) -> Floats:
    """Values (n, splines) of the cubic B-splines on `knots` at `t` (n,), which is held within the inner knots.

    The recursion of de Boor (1972), as scipy.interpolate has it, which takes 0.15 s to load.
    """
    inside = np.clip(t, knots[_DEGREE], knots[-_DEGREE - 1])
    first = np.clip(np.searchsorted(knots, inside, "right") - 1, _DEGREE, len(knots) - _DEGREE - 2)
    values = np.zeros((len(inside), _DEGREE + 1))
    values[:, 0] = 1.0
    for degree in range(1, _DEGREE + 1):
        before = values[:, :degree].copy()
        values[:, 0] = 0.0
        for n in range(degree):
            above, below = knots[first + n + 1], knots[first + n + 1 - degree]
            share = before[:, n] / (above - below)
            values[:, n] += share * (above - inside)
            values[:, n + 1] = share * (inside - below)
    table = np.zeros((len(inside), len(knots) - _DEGREE - 1))
    np.put_along_axis(table, first[:, None] + np.arange(-_DEGREE, 1), values, axis=1)
    return table


def _starting_weights(y: Floats, standard_error: Floats) -> Floats:
    """Weights that leave out what is far from the median by more than clutter: the spline must not start on it."""
    spread = max(1.4826 * float(np.median(np.abs(y))), float(np.median(standard_error)))
    return np.where(np.abs(y) < 6 * spread, 1.0, 0.0)


def _difference_gram(size: int) -> Floats:
    """Second differences squared, and nothing that fixes level or tilt; shape (size, size)."""
    differences = np.diff(np.eye(size), 2, axis=0)
    return differences.T @ differences


def _penalty(heights: int, slopes: int, stiffness: float, depth: float) -> Floats:
    penalty = np.zeros((heights + slopes, heights + slopes))
    penalty[:heights, :heights] = _difference_gram(heights) / stiffness**2
    slope_part = _difference_gram(slopes) / (stiffness * _SLOPE_STIFFNESS * 9) ** 2
    penalty[heights:, heights:] = slope_part + np.eye(slopes) / (_SLOPE_SD * depth) ** 2 / slopes
    return penalty


def _most_likely(gram: Floats, right_side: Floats, heights: int, depth: float, total: float, data: int) -> float:
    """The stiffness with the greatest restricted likelihood (Patterson and Thompson 1971), by trying each."""
    best, best_value = CURVATURES[0], -np.inf
    for stiffness in CURVATURES:
        penalty = _penalty(heights, gram.shape[0] - heights, stiffness, depth)
        factor = np.linalg.cholesky(gram + penalty)
        solved = np.linalg.solve(factor, right_side)
        misfit = max(total - float(solved @ solved), 0.0)
        scale = max(misfit / data, 1.0)
        rank = gram.shape[0] - 4  # level and tilt of the heights; two of the slopes are held by the weak prior alone
        log_penalty = -2.0 * rank * np.log(stiffness)
        value = (
            0.5 * log_penalty - float(np.log(np.diag(factor)).sum()) - 0.5 * misfit / scale - 0.5 * data * np.log(scale)
        )
        if value > best_value:
            best, best_value = stiffness, value
    return best


def _correlation_inflation(t: Floats, d: Floats, standardised: Floats, weight: Floats, block_mm: float) -> float:
    """How much more the block means of the residuals vary than independent errors would: a variance factor."""
    blocks = (t // block_mm).astype(np.int64) * 4096 + (d // (block_mm / 3)).astype(np.int64)
    _, block = np.unique(blocks, return_inverse=True)
    total = np.bincount(block, weight)
    mean = np.bincount(block, weight * standardised) / np.maximum(total, 1e-9)
    used = total > 3
    if used.sum() < 6:
        return 1.0
    spread = float(np.average(standardised**2, weights=weight + 1e-12))
    return float(np.median(mean[used] ** 2 * total[used]) / 0.4549 / max(spread, 1e-9))  # median of chi-squared, 1 dof
