"""A straight edge placed from points alone, where no station is known: by where the front piece's points end.

A ray tells on which side of an edge it passed; a point without a station tells only where it ended. Points behind an
edge are thinner than those before it, and thinnest right behind it, where the front piece hid the back from most
places: a line drawn midway between the two kinds would lie too far on the open side. So the density of the front
piece's points alone is followed to its end, which the noise across the wall blurs, and the points of the side face,
which lie at the edge whatever their depth, are counted with it.
"""

from dataclasses import dataclass, replace

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.edge_fit import EdgeFit
from unfold.elevation.edge_kernels import end_log_likelihood
from unfold.elevation.edge_rays import EdgeRays, back_depth
from unfold.elevation.point_gap import beyond_the_last
from unfold.quantity import combine

BIN_MM = 0.5
STRIPS = 12  # along the edge
BLURS_MM = (1.0, 1.5, 2.2, 3.2, 4.5, 6.5, 9.0)  # standard deviations tried, of points across the wall
LEAST_POINTS = 12
LEAST_SIDE_POINTS = 3  # fewer are strays
SIDE_DEPTHS = 3.0  # of the tolerance: how deep a side face must be for its points to count
SIDE_DEEPEST_MM = 150.0
SIDE_WINDOW = 3.5  # blurs: how far from the edge the side face's points are looked for
MOST_AT_ARRIS = 0.5
SHARP_MM, NOISY_TOLERANCE_MM = 2.2, 7.5  # of a blur; three times the noise above which no cell tells a board
STRAYS_PER_MM = 0.001  # of side points, that are something else
SPLAYED = 0.05  # a side face that leans more than this is no square one
MODEL_SHARE = 0.5  # of the blur: but few positions see most of an edge, and each moved its points together


@dataclass(frozen=True, slots=True)
class _Counts:
    """Front points counted in bins across (rows) and strips along (columns); side points one by one."""

    across: Floats  # (bins,) middle of each bin
    along: Floats  # (strips,)
    number: Floats  # (bins, strips)
    side_x: Floats  # where side points would lie at depth 0
    side_t: Floats
    at_arris: float  # share of the front points that belong to the side face


def end_of_points(
    rays: EdgeRays, start_mm: float, tolerance_mm: float, slope_sd: float, reach_mm: float, around: EdgeRays
) -> EdgeFit | None:
    """Place an edge where the density of points on the front piece falls off; None when too few lie there.

    Arguments as of `fit_edge`; `around` holds the points before and after the edge's ends, where the front piece goes
    on across it. The uncertainty is the posterior's, with a share of the blur for what is no chance of single points.
    """
    rays = rays.select(np.abs(rays.x - start_mm) < reach_mm)
    front = np.abs(rays.depth) < tolerance_mm
    if front.sum() < LEAST_POINTS:
        return None
    middle = float(np.median(rays.t[front]))
    offset, slope, blur = start_mm, 0.0, 4.0
    counts, found = None, (start_mm, 0.0, reach_mm, slope_sd, blur)
    for _ in range(3):  # the window of the side face follows the edge
        counts = _count(rays, front, offset, slope, blur, middle, tolerance_mm, (start_mm, reach_mm))
        found = _posterior(counts, slope_sd, (start_mm, reach_mm))
        offset, slope, blur = found[0], found[1], found[4]
    sided = counts is not None and counts.side_x.size > 0
    beyond, strayed = (0.0, 0.0)
    if not sided:
        in_sight = blur <= SHARP_MM and tolerance_mm < NOISY_TOLERANCE_MM  # else nothing is left of columns
        on_front = around.select((np.abs(around.depth) < tolerance_mm) & in_sight)
        ends = float(rays.t.min()) - middle, float(rays.t.max()) - middle
        beside = rays.x[front], rays.t[front] - middle
        beyond, strayed = beyond_the_last(beside, (on_front.x, on_front.t - middle), ends, offset, slope)
    offset += beyond
    uncertainty = combine([found[2], MODEL_SHARE * blur, strayed])
    count = int(np.sum(np.abs(rays.x - offset - slope * (rays.t - middle)) < 15.0))
    return EdgeFit(
        offset - slope * middle,
        slope,
        middle,
        uncertainty,
        found[3],
        blur,
        count,
        sided,
    )


def _count(
    rays: EdgeRays,
    front: Bools,
    offset: float,
    slope: float,
    blur: float,
    middle: float,
    tolerance_mm: float,
    window: tuple[float, float],
) -> _Counts:
    start, reach = window
    bins = np.arange(start - reach, start + reach + BIN_MM / 2, BIN_MM)
    t = rays.t - middle
    strips = np.linspace(t.min(), t.max() + 1e-6, STRIPS + 1)
    number, _, _ = np.histogram2d(rays.x[front], t[front], [bins, strips])
    back = back_depth(rays, offset, tolerance_mm)
    side = (rays.depth > tolerance_mm) & (rays.depth < np.minimum(back - tolerance_mm, SIDE_DEEPEST_MM))
    side &= back > SIDE_DEPTHS * tolerance_mm  # else noise alone puts points between front and back
    side &= np.abs(rays.x - offset - slope * t) < max(SIDE_WINDOW * blur, 10.0)
    if side.sum() < LEAST_SIDE_POINTS:
        side[:] = False
    x = rays.x[side]
    if x.size >= 30:
        lean = _lean(x - slope * t[side], rays.depth[side])
        x = x - lean * rays.depth[side]
    deepest = np.minimum(back[side] - tolerance_mm, SIDE_DEEPEST_MM)
    shallow = float(np.sum(tolerance_mm / (deepest - tolerance_mm)))  # side points as near to the front as its own
    share = min(shallow / max(number.sum(), 1.0), MOST_AT_ARRIS)
    return _Counts((bins[:-1] + bins[1:]) / 2, (strips[:-1] + strips[1:]) / 2, number, x, t[side], share)


def _lean(x: Floats, depth: Floats) -> float:
    """How far a side face leans, mm per mm of depth; 0 unless it clearly does."""
    rise = depth - depth.mean()
    if rise.std() < 10.0:
        return 0.0
    lean = float(rise @ x / (rise @ rise))
    residual = x - x.mean() - lean * rise
    error = float(residual.std() / np.sqrt(rise @ rise))
    return lean if abs(lean) > max(SPLAYED, 4.0 * error) else 0.0


def _posterior(
    counts: _Counts, slope_sd: float, window: tuple[float, float]
) -> tuple[float, float, float, float, float]:
    """Offset, slope, their deviations and the blur, over a grid that closes in on the most likely edge."""
    start, reach = window
    whole = replace(counts, along=np.zeros(1), number=counts.number.sum(axis=1, keepdims=True))
    best = (-np.inf, start, BLURS_MM[2])
    for blur in BLURS_MM:
        offsets = np.arange(start - reach + 2 * blur, start + reach - 2 * blur, max(0.5 * blur, 1.0))
        if offsets.size:
            value = _log_likelihood(whole, blur, offsets, np.zeros(1))[:, 0]
            best = max(best, (float(value.max()), float(offsets[int(np.argmax(value))]), blur))
    _, offset, blur = best
    mean, deviation = np.array([offset, 0.0]), np.array([max(blur, 1.0), slope_sd])
    for _ in range(3):
        offsets = mean[0] + np.linspace(-3, 3, 13) * deviation[0]
        slopes = mean[1] + np.linspace(-3, 3, 7) * deviation[1]
        log = _log_likelihood(counts, blur, offsets, slopes) - 0.5 * (slopes / slope_sd) ** 2
        weight = np.exp(log - log.max())
        weight /= weight.sum()
        mean = np.array([weight.sum(1) @ offsets, weight.sum(0) @ slopes])
        spread = [weight.sum(1) @ (offsets - mean[0]) ** 2, weight.sum(0) @ (slopes - mean[1]) ** 2]
        deviation = np.maximum(np.sqrt(spread), [0.05, 1e-6])
    return float(mean[0]), float(mean[1]), float(deviation[0]), float(deviation[1]), blur


def _log_likelihood(counts: _Counts, blur: float, offsets: Floats, slopes: Floats) -> Floats:
    parts = (counts.across, counts.along, counts.number, counts.side_x, counts.side_t)
    return end_log_likelihood(*parts, blur, offsets, slopes, counts.at_arris, STRAYS_PER_MM)
