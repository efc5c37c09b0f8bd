"""A straight edge placed by maximum likelihood between rays that met its front piece and rays that went past it.

The front piece is what has the edge: the wall around an opening, or a cover plate on the wall. x runs across the edge
from the front piece outward, t along it. Along a straight jamb hundreds of rays each say which side they were on, so
the edge is known far finer than the rays are spaced. Where the rays pin nothing down, because the nearest ones on
either side leave a gap, the posterior is flat across the gap and the uncertainty says so.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.edge_kernels import edge_log_likelihood, edge_score
from unfold.elevation.edge_rays import SQUARE, EdgeRays, back_depth
from unfold.elevation.side_face import MANY_SIDE_POINTS, SideFace, from_depths, side_face

_BLURS_MM = (
    0.3,
    0.5,
    0.8,
    1.2,
    1.8,
    2.7,
    4.0,
)  # logistic scales tried; 1.8 x this is 1 sigma
_LEAST_OUTLIERS, _MOST_OUTLIERS = 0.003, 0.15
_MINGLED_MM = 15.0  # farther than this from the edge nothing is blurred any more: what contradicts there is an outlier
_NEAR_BACK_MM = 400.0  # up to here what ended between front and back is taken for a mixed point
_LEAST_ON_SURFACE, _SHARE_ON_SURFACE = 3, 0.05  # rays at one depth that show a second surface behind
_WIDE, _CLEARLY = 20.0, 6.0  # how much wider, and by how much the log-likelihood must gain
_BOARD_MM, _PROUDEST_MM, _ON_ONE_BOARD = 2.5, 40.0, 0.6  # rays before the front piece that a board explains
_OFFSETS, _SLOPES = 41, 7  # grid of the posterior
_SPOT_MM, _SPOT_SD = 0.9, 0.6  # blur of a spot 6 mm wide, and the deviation of its logarithm
_LIKELY, _PLACES = 4.0, 81  # blurs less likely by this log-likelihood are left out; places at which the others are held


@dataclass(frozen=True, slots=True)
class EdgeFit:
    """The edge x = offset + slope * t."""

    offset_mm: float  # at t = 0
    slope: float
    middle_mm: float  # t where offset and slope are independent
    standard_uncertainty_mm: float  # across, at the middle
    slope_uncertainty: float
    blur_mm: float
    rays: int  # rays within 15 mm of the edge
    side_face: bool  # the side face was seen and helped
    stretch: float = 1.0  # how much farther a shift of the stations against each other moves the edge than itself

    def across(self, t: float) -> float:
        return self.offset_mm + self.slope * t


def fit_edge(
    rays: EdgeRays, start_mm: float, tolerance_mm: float, slope_sd: float, reach_mm: float = 40.0
) -> EdgeFit | None:
    """Fit a straight edge.

    Parameters
    ----------
    rays : EdgeRays
        Rays near the edge.
    start_mm : float
        Where the edge is roughly, within `reach_mm`.
    tolerance_mm : float
        Rays that end within this depth lie on the front piece.
    slope_sd : float
        Standard deviation of the slope against the axis t, before any ray is looked at; one twenty times as wide is
        taken where the rays say clearly that the edge is turned.

    Returns
    -------
    EdgeFit or None
        None when one of the two sides holds no ray at all.
    """
    near = np.abs(rays.x - start_mm) < reach_mm
    rays = _on_the_piece(rays.select(near), tolerance_mm)
    if rays.x.size < 4:
        return None
    middle = float(np.median(rays.t))
    rays = replace(rays, t=rays.t - middle)
    back = back_depth(rays, start_mm, tolerance_mm)
    sides = _labels(rays, back, start_mm, tolerance_mm)
    offset, slope = _coarse(sides, start_mm, slope_sd)
    side = side_face(rays, back, offset, slope, tolerance_mm, MANY_SIDE_POINTS)
    if side is None:
        side = from_depths(rays, back, (start_mm - reach_mm, start_mm + reach_mm), tolerance_mm)
    if side is None:
        side = side_face(rays, back, offset, slope, tolerance_mm)
    if side is not None:  # without those at the arris, which may lie on either face
        offset, slope = side.offset, side.slope
        at_arris = sides.toward & (np.abs(sides.x - offset - slope * sides.t) < tolerance_mm)
        sides = sides.select(~at_arris)
    if not np.any(sides.front > 0.5) or (side is None and not np.any(sides.front < 0.5)):
        return None
    return _posterior(sides, (offset, slope), _believed_sd(sides, (offset, slope), slope_sd, side), side, middle)


def _on_the_piece(rays: EdgeRays, tolerance_mm: float) -> EdgeRays:
    """The rays without those that ended before the front piece, unless most of these did so at one depth, on a board.

    What stands before an edge, as a door's leaf ajar, hides it: such rays say nothing of it.
    """
    before = rays.depth < -tolerance_mm
    if not before.any():
        return rays
    middle = float(np.median(rays.depth[before]))
    board = np.abs(rays.depth - middle) < max(tolerance_mm, _BOARD_MM)
    if middle > -_PROUDEST_MM and np.mean(board[before]) > _ON_ONE_BOARD:
        return rays.select(~before | board)
    return rays.select(~before)


@dataclass(frozen=True, slots=True)
class _Sides:
    """What each ray says of the edge; arrays (n,)."""

    x: Floats  # where it counts
    t: Floats
    front: Floats  # share of its beam that met the front piece, 0 to 1
    stretch: Floats  # how much its footprint is drawn out across the edge
    toward: Bools  # it runs toward the edge as it goes deeper

    def select(self, keep: Bools) -> "_Sides":
        return _Sides(self.x[keep], self.t[keep], self.front[keep], self.stretch[keep], self.toward[keep])


def _labels(rays: EdgeRays, back: Floats, start_mm: float, tolerance_mm: float) -> _Sides:
    """Tell on which side of the edge each ray was.

    A ray on the front piece counts where it ended, any other where it crossed the front's surface. A mixed point,
    part front and part back, lies between the two by the share of the beam; only a ray that drifts away from the edge
    can be told to be one, for a ray that drifts toward it may have met the side face, which has its own fit; nor is one
    what ended on another side face of the opening, or on a second surface behind it, as a pane before what shows
    through it, that rays far from the edge met too. Where the back is far, what ended between may as well be a thing
    behind: such rays say nothing.
    """
    on_front = rays.depth < np.minimum(tolerance_mm, 0.3 * back)
    away = rays.drift >= SQUARE
    between = away & ~on_front & (rays.depth < back - tolerance_mm)
    if rays.passed is not None:
        between &= ~rays.passed
    between &= ~_met_elsewhere(rays.depth, between & (rays.x > start_mm + _MINGLED_MM), tolerance_mm)
    front = np.where(on_front, 1.0, np.where(between, np.clip(1.0 - rays.depth / back, 0.0, 1.0), 0.0))
    x = np.where(on_front, rays.x + rays.drift * rays.depth, rays.x)
    unclear = between & (back > _NEAR_BACK_MM) & (rays.depth > 0.1 * _NEAR_BACK_MM) & (rays.depth < 0.7 * back)
    unclear &= np.abs(rays.x - start_mm) < _MINGLED_MM
    front = np.where(unclear | (back <= _NEAR_BACK_MM), front, np.round(front))
    found = _Sides(x, rays.t, front, np.hypot(1.0, rays.drift), ~away)
    return found.select(~unclear)


def _met_elsewhere(depth: Floats, unmixed: Bools, tolerance_mm: float) -> Bools:
    """Whether rays ended about as deep as several of those so far from the edge that none of them is a mixed point."""
    known = np.sort(depth[unmixed])
    first, last = (np.searchsorted(known, depth + side * tolerance_mm) for side in (-1, 1))
    return np.asarray(last - first >= max(_LEAST_ON_SURFACE, _SHARE_ON_SURFACE * known.size))


@dataclass(frozen=True, slots=True)
class _Prior:
    """What is known of an edge before its rays: independent normal offset and slope."""

    offset: float
    offset_sd: float  # infinite when nothing is known
    slope_sd: float  # about 0

    def log(self, offset: float | Floats, slope: float | Floats) -> Any:
        return -0.5 * ((offset - self.offset) / self.offset_sd) ** 2 - 0.5 * (slope / self.slope_sd) ** 2


def _coarse(sides: _Sides, start_mm: float, slope_sd: float) -> tuple[float, float]:
    """Newton steps while the blur is narrowed from wide to the finest: finds the edge from a rough start."""
    offset, slope = start_mm, 0.0
    prior = _Prior(start_mm, np.inf, slope_sd)
    for blur in (8.0, 4.0, 2.0, 1.0):
        offset, slope = _newton(sides, offset, slope, blur, 0.02, prior)
    return offset, slope


def _newton(
    sides: _Sides, offset: float, slope: float, blur: float, outliers: float, prior: _Prior
) -> tuple[float, float]:
    """Fisher scoring with halved steps; returns the best offset and slope for one blur."""
    value = -np.inf
    step = np.zeros(2)
    for _ in range(12):
        packed = edge_score(
            sides.x, sides.t, sides.front, blur * sides.stretch, offset + step[0], slope + step[1], outliers
        )
        found = packed[0] + prior.log(offset + step[0], slope + step[1])
        if found < value - 1e-9:
            step = step / 2
            if abs(step[0]) < 0.005:
                break
            continue
        offset, slope, gained = offset + step[0], slope + step[1], found - value
        value = found
        if gained < 1e-3:
            break
        precision, slope_precision = prior.offset_sd**-2, prior.slope_sd**-2
        information = np.array([[packed[3] + precision + 1e-6, packed[4]], [packed[4], packed[5] + slope_precision]])
        pull = np.array([packed[1] - precision * (offset - prior.offset), packed[2] - slope_precision * slope])
        step = np.linalg.solve(information, pull)
        step = step * min(1.0, 6 * blur / max(abs(step[0]), 1e-9))
    return offset, slope


def _believed_sd(sides: _Sides, start: tuple[float, float], slope_sd: float, side: SideFace | None) -> float:
    """The narrow prior of the slope, or a wide one when it makes the rays far more likely.

    Columns of rays lie along upright jambs, so that any slope that stays in the gap between two columns fits as well;
    without a narrow prior the fit would pick one by chance.
    """
    values = []
    for deviation in (slope_sd, _WIDE * slope_sd):
        prior = _prior(start[0], deviation, side)
        best = -np.inf
        for first in (0.0, start[1]):
            offset, slope = _newton(sides, start[0], first, 1.0, 0.02, prior)
            score = edge_score(sides.x, sides.t, sides.front, sides.stretch, offset, slope, 0.02)
            best = max(best, float(score[0] + prior.log(offset, slope)))
        values.append(best)
    return _WIDE * slope_sd if values[1] > values[0] + _CLEARLY else slope_sd


def _prior(offset: float, slope_sd: float, side: SideFace | None) -> _Prior:
    if side is None:
        return _Prior(offset, np.inf, slope_sd)
    return _Prior(side.offset, side.uncertainty, slope_sd)


def _posterior(
    sides: _Sides, start: tuple[float, float], slope_sd: float, side: SideFace | None, middle: float
) -> EdgeFit:
    """Mean and standard deviation over a grid of offsets and slopes, at the most likely blur."""
    offset, slope = start[0], float(np.clip(start[1], -slope_sd, slope_sd))
    across = sides.x - slope * sides.t
    outliers = _outlier_share(across, sides.front, offset)
    near = np.abs(across - offset) < _MINGLED_MM
    if np.any(sides.front[near] > 0.5) and np.any(sides.front[near] < 0.5):
        sides = sides.select(near)
    prior = _prior(offset, slope_sd, side)
    tried = []
    for blur in _BLURS_MM:
        o, s = _newton(sides, offset, slope, blur, outliers, prior)
        score = edge_score(sides.x, sides.t, sides.front, blur * sides.stretch, o, s, outliers)
        tried.append((float(score[0] + prior.log(o, s)) + _of_a_spot(blur), blur, o, s))
    value, blur, offset, slope = max(tried)
    likely = [(b, o) for v, b, o, _ in tried if v > value - _LIKELY]
    half = _half_width(sides.x - slope * sides.t - offset, sides.front, blur)
    reach_t = max(float(np.abs(sides.t).max()), 1.0)
    away = np.abs(sides.x - slope * sides.t - offset)  # rays farther off add the same to every edge that is tried
    sides = sides.select(away < 3.0 * half + 10.0 * blur * sides.stretch)
    mean, deviation = np.array([offset, slope]), np.array([half / 3, half / 3 / reach_t])
    for _ in range(3):
        offsets = mean[0] + np.linspace(-4, 4, _OFFSETS) * deviation[0]
        slopes = mean[1] + np.linspace(-3, 3, _SLOPES) * deviation[1]
        log = edge_log_likelihood(sides.x, sides.t, sides.front, blur * sides.stretch, offsets, slopes, outliers)
        log = log + prior.log(offsets[:, None], slopes)
        mean, deviation = _moments(offsets, slopes, log)
        deviation = np.maximum(deviation, [0.02, 0.02 / reach_t])
    shift, spread = _over_blurs(sides, prior, likely, blur, outliers, mean, float(deviation[0]))
    mean[0], deviation[0] = mean[0] + shift, np.hypot(deviation[0], spread)
    count = int(np.sum(np.abs(sides.x - slope * sides.t - offset) < _MINGLED_MM))
    return EdgeFit(
        float(mean[0] - mean[1] * middle),
        float(mean[1]),
        middle,
        float(deviation[0]),
        float(deviation[1]),
        blur,
        count,
        side is not None,
        float(np.sqrt(np.mean(sides.stretch**2))) if sides.x.size else 1.0,
    )


def _of_a_spot(blur_mm: float) -> float:
    """Log of the prior of a blur: the spots of terrestrial scanners are 4 to 8 mm wide (data sheets, from memory)."""
    return -0.5 * float(np.log(blur_mm / _SPOT_MM) / _SPOT_SD) ** 2


def _over_blurs(
    sides: _Sides,
    prior: _Prior,
    likely: list[tuple[float, float]],
    blur: float,
    outliers: float,
    mean: Floats,
    deviation: float,
) -> tuple[float, float]:
    """How far the mean offset moves, and how much more it spreads, when every likely blur counts by its likelihood.

    `likely` holds blurs and the offset that is likeliest with each. Where rays on one side of an edge alone were mixed
    points, a narrow blur near them explains them as well as a wide one farther off.
    """
    best = [offset for _, offset in likely]
    if max(best) - min(best) < 0.5 * deviation:
        return 0.0, 0.0
    offsets = np.linspace(min(best) - 4 * deviation, max(best) + 4 * deviation, _PLACES)
    slope = mean[1:2]
    logs = {
        one: edge_log_likelihood(sides.x, sides.t, sides.front, one * sides.stretch, offsets, slope, outliers)[:, 0]
        + _of_a_spot(one)
        for one, _ in likely
    }
    before = prior.log(offsets, slope[0])
    alone = np.exp(logs[blur] + before - (logs[blur] + before).max())
    top = max(float((log + before).max()) for log in logs.values())
    together = np.sum([np.exp(log + before - top) for log in logs.values()], axis=0)
    means, variances = [], []
    for weight in (alone / alone.sum(), together / together.sum()):
        means.append(float(weight @ offsets))
        variances.append(float(weight @ (offsets - means[-1]) ** 2))
    return means[1] - means[0], float(np.sqrt(max(variances[1] - variances[0], 0.0)))


def _outlier_share(across: Floats, front: Floats, offset: float) -> float:
    """Share of rays that contradict the edge where no blur can explain it."""
    clear = np.abs(across - offset) > _MINGLED_MM
    wrong = clear & ((across > offset) == (front > 0.5))
    return float(np.clip((wrong.sum() + 0.5) / (clear.sum() + 10.0), _LEAST_OUTLIERS, _MOST_OUTLIERS))


def _half_width(across: Floats, front: Floats, blur: float) -> float:
    """A generous half width of the region where the edge may lie: a few blurs, or the gap between the two sides."""
    inside, outside = np.sort(across[front > 0.5]), np.sort(across[front < 0.5])
    gap = 0.0
    if inside.size and outside.size:
        gap = float(outside[min(1, outside.size - 1)] - inside[max(-2, -inside.size)])
    return max(3 * blur, gap, 1.0)


def _moments(offsets: Floats, slopes: Floats, log: Floats) -> tuple[Floats, Floats]:
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    over_offset, over_slope = weight.sum(1), weight.sum(0)
    mean = np.array([over_offset @ offsets, over_slope @ slopes])
    spread = np.array([over_offset @ (offsets - mean[0]) ** 2, over_slope @ (slopes - mean[1]) ** 2])
    return mean, np.sqrt(spread)
