"""The side face of an edge, a reveal, where rays ran toward it: it lies at the edge whatever the depth."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.edge_rays import SQUARE, EdgeRays
from unfold.quantity import combine

LEAST_SIDE_POINTS = 3
MANY_SIDE_POINTS = 12  # of fewer, those about the arris count, that no depth tells from the front
SIDE_WINDOW_MM = 12.0
LEANING = -0.3  # rays that drift less than this move too little with depth to tell where a side face is
PLACES_MM, STRAYED = 0.1, 3.0  # a step of places tried; a depth that strays more standard deviations tells nothing
BOUNDED = 4.5  # log-likelihood, 3 standard deviations, by which an edge must be known on both sides
SQUARE_SPLAY = 0.005  # 5 mm/m: how square a reveal that is meant to be square is built
SIDE_FACE_FLOOR_MM = 0.15  # an arris is not straighter or sharper than this


@dataclass(frozen=True, slots=True)
class SideFace:
    """Where a side face meets the front's surface: x = offset + slope * t, millimetres."""

    offset: float
    slope: float
    uncertainty: float


def side_face(
    rays: EdgeRays, back: Floats, offset: float, slope: float, tolerance_mm: float, least: int = LEAST_SIDE_POINTS
) -> SideFace | None:
    """Fit the edge's side face (a reveal) where rays met it, and carry it on to the front's surface; None if unseen.

    Its points lie at x = edge + splay * depth. A square side is expected; a splayed one is followed where it fits
    clearly better.
    """
    ended = rays.x + rays.drift * np.minimum(rays.depth, 1e4)
    met = np.ones(rays.x.size, dtype=bool) if rays.passed is None else ~rays.passed
    met &= (rays.drift < SQUARE) & (rays.depth > tolerance_mm) & (rays.depth < np.minimum(back - tolerance_mm, 400.0))
    # at a slant the rays that are told to have passed end a good way before the edge, and the rough place between
    slant = tolerance_mm * float(np.median(-rays.drift[met])) if met.any() else 0.0
    for window in (SIDE_WINDOW_MM + slant, SIDE_WINDOW_MM, SIDE_WINDOW_MM):  # it follows the fit: about a rough
        seen = met & (np.abs(ended - offset - slope * rays.t) < window)  # start it would cut points off on one side
        depth, t, residual = rays.depth[seen], rays.t[seen], ended[seen]
        if depth.size < least:
            return None
        square, spread = _fit_side(depth, t, residual, slope, splayed=False)
        offset, slope = square.offset, square.slope
    low, high = np.quantile(depth, [0.05, 0.95])
    if depth.size < 60 or high < 3 * low or high - low < 30.0:
        return square  # points at one depth alone cannot tell a splay
    free, free_spread = _fit_side(depth, t, residual, slope, splayed=True)
    return free if free_spread < 0.7 * spread else square


def from_depths(rays: EdgeRays, back: Floats, within: tuple[float, float], tolerance_mm: float) -> SideFace | None:
    """Place a plumb edge by how deep the few rays that ran toward it ended; None where that bounds it on one side only.

    A ray that crosses the front's surface at x ends on it before the edge, and beyond on the side face, at the depth
    (x - edge) / -drift: about the arris no depth tells the two apart, but all together they tell where it is.
    """
    toward = (rays.drift < LEANING) & (np.abs(rays.depth) < np.minimum(back - tolerance_mm, 400.0))
    if rays.passed is not None:
        toward &= ~rays.passed
    x, drift, depth = rays.x[toward], rays.drift[toward], rays.depth[toward]
    if np.sum(depth > tolerance_mm) == 0 or depth.size < LEAST_SIDE_POINTS:
        return None
    places = np.arange(*within, PLACES_MM)
    misfit = (depth - np.clip((x - places[:, None]) / -drift, 0.0, None)) / (tolerance_mm / 3.0)
    log = np.log(0.95 * np.exp(-0.5 * misfit**2) + 0.05 * np.exp(-0.5 * STRAYED**2)).sum(axis=1)
    if max(log[0], log[-1]) > log.max() - BOUNDED:
        return None
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ places)
    deviation = float(np.sqrt(weight @ (places - mean) ** 2))
    return SideFace(mean, 0.0, combine([deviation, SQUARE_SPLAY * float(np.median(depth)), SIDE_FACE_FLOOR_MM]))


def _fit_side(depth: Floats, t: Floats, residual: Floats, slope: float, splayed: bool) -> tuple[SideFace, float]:
    """Robust fit of a side face, square or with a splay of its own; returns it and the scatter about it.

    Where all points lie at about one depth, the noise of the depth itself would pass for a splay: a square face has
    none, and what it may stray from square counts as uncertainty.
    """
    design = np.stack([np.ones(depth.size), t, depth], axis=1)
    prior = np.diag([0.0, 1e4, 1.0 if splayed else 1e12])
    expected = np.array([float(np.median(residual)), slope, 0.0])
    least = 0.2 if depth.size >= 20 else 0.8  # a few points may agree by chance
    solution, spread = expected, 1.0
    for _ in range(6):
        misfit = residual - design @ solution
        spread = max(1.4826 * float(np.median(np.abs(misfit))), least)
        weight = np.clip(1 - (misfit / (4.685 * spread)) ** 2, 0, 1) ** 2
        gram = design.T @ (weight[:, None] * design) / spread**2 + prior
        solution = np.linalg.solve(gram, design.T @ (weight * residual) / spread**2 + prior @ expected)
    out_of_square = 0.0 if splayed else SQUARE_SPLAY * float(np.median(depth))
    statistical = 1.5 * float(np.sqrt(np.linalg.inv(gram)[0, 0]))
    uncertainty = combine([statistical, out_of_square, SIDE_FACE_FLOOR_MM])
    return SideFace(float(solution[0]), float(solution[1]), uncertainty), spread
