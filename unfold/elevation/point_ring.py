"""Rings held against points alone, where no station is known: the front piece's points end at the ring.

The twin of `point_edge` for closed rings, to fit a circle and to tell it from a rectangle: the front piece's points
are counted on a small raster, and their density falls to nothing across the ring over the blur.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from unfold.arrays import Floats

AROUND_MM = 35.0
CELLS = 70  # along the longer side
SIDE_DEEPEST_MM = 150.0
SIDE_DEPTHS = 3.0  # of the tolerance, how deep the back must be for points between to tell anything
IMPOSSIBLE = -1e9  # log-likelihood, finite so that differences are
STEPS = 12  # of expectation and maximization
BLURS_MM = (2.0, 3.0, 4.5, 6.5)
RADIUS_STEPS_MM = (0.1, 0.2, 0.4, 0.7, 1.1, 1.6, 2.4, 3.6, 5.4, 8.0, 12.0)
HALF, LEAST_UNCERTAIN_MM = 0.5, 0.1


@dataclass(frozen=True, slots=True)
class PointField:
    """Points around and in an opening, as counts of the front piece and places of the side face."""

    cells: Floats  # (n, 2) middles of the raster's cells
    number: Floats  # (n,) points of the front piece in each
    side: Floats  # (m, 2)


def point_field(a: Floats, b: Floats, depth: Floats, box: tuple[float, ...], tolerance_mm: float) -> PointField:
    """Sort points (n,) at places (a, b) and depths behind the front piece; `box` is the opening's rough bounds."""
    u0, v0, u1, v1 = box[0] - AROUND_MM, box[1] - AROUND_MM, box[2] + AROUND_MM, box[3] + AROUND_MM
    step = max(u1 - u0, v1 - v0) / CELLS
    columns, rows = np.arange(u0, u1 + step, step), np.arange(v0, v1 + step, step)
    inside = (a > u0) & (a < columns[-1]) & (b > v0) & (b < rows[-1])
    a, b, depth = a[inside], b[inside], depth[inside]
    front = np.abs(depth) < tolerance_mm
    number, _, _ = np.histogram2d(a[front], b[front], [columns, rows])
    deep = depth[depth > 2 * tolerance_mm]
    back = float(np.median(deep)) if deep.size else 0.0
    between = (depth > tolerance_mm) & (depth < min(back - tolerance_mm, SIDE_DEEPEST_MM))
    between &= back > SIDE_DEPTHS * tolerance_mm
    centres = np.meshgrid((columns[:-1] + columns[1:]) / 2, (rows[:-1] + rows[1:]) / 2, indexing="ij")
    side = np.column_stack([a[between], b[between]])
    return PointField(np.column_stack([one.ravel() for one in centres]), number.ravel(), side)


def field_likelihood(field: PointField, cells: Floats, side: Floats, around_mm: float, blur_mm: float) -> float:
    """Log-likelihood of a ring by the signed distances (positive: on the front piece) of cells (n,) and side points."""
    piece = ndtr(cells / blur_mm)
    shapes = np.stack([piece / max(piece.sum(), 1e-9), np.full(cells.size, 1.0 / cells.size)])
    filled = field.number > 0
    shapes, number = shapes[:, filled], field.number[filled]
    if number.size == 0:
        return IMPOSSIBLE
    share = np.array([0.95, 0.05])
    for _ in range(STEPS):
        share = share * (shapes @ (number / (share @ shapes))) / number.sum()
    value = float(number @ np.log(share @ shapes))
    if side.size:
        at_ring = np.exp(-0.5 * (side / blur_mm) ** 2) / (blur_mm * np.sqrt(2 * np.pi) * around_mm)
        value += float(np.log(0.9 * at_ring + 0.1 / (around_mm / 4) ** 2).sum())
    return value


def circle_in_points(field: PointField, start: Floats) -> tuple[Floats, float, float]:
    """Middle (a, b), radius and its standard uncertainty, from a rough circle (a, b, radius)."""
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    def misfit(parameters: Floats) -> float:
        blur = float(np.exp(np.clip(parameters[3], -1.0, 2.5)))
        radius = max(float(parameters[2]), 1.0)
        cells, side = (np.hypot(*(at - parameters[:2]).T) - radius for at in (field.cells, field.side))
        return -field_likelihood(field, cells, side, 2 * np.pi * radius, blur)

    simplex = np.array([[*start, 1.3]] * 5) + np.diag([6.0, 6.0, 6.0, 0.6, 0.0])[:, :4]
    found = minimize(
        misfit,
        [*start, 1.3],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.05, "fatol": 0.02, "maxiter": 250},
    )
    return profiled(misfit, found.x)


def profiled(misfit: Callable[[Floats], float], best: Floats) -> tuple[Floats, float, float]:
    """Middle (a, b), radius and its standard uncertainty from the likeliest circle (a, b, radius, log blur).

    The radius lies midway between where the likelihood, its middle free to move, has fallen by 1/2 on either side: a
    circle of which one half is well known may grow with its middle moving off.
    """
    from scipy.optimize import minimize

    def along(radius: float, start: Floats, step: float) -> tuple[float, Floats]:
        def held(middle: Floats) -> float:
            return misfit(np.array([*middle, radius, best[3]]))

        simplex = start + step * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        found = minimize(
            held,
            [*start],
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 0.05, "fatol": 0.02, "maxiter": 60},
        )
        return float(found.fun), np.asarray(found.x)

    least, middle = along(float(best[2]), best[:2], 0.5)
    ends = []
    for sign in (1.0, -1.0):
        at, before, where = 0.0, 0.0, middle
        for step in RADIUS_STEPS_MM:
            value, where = along(float(best[2] + sign * step), where, 0.7 * (step - at))
            rise = max(value - least, 0.0)
            if rise > HALF:
                at += (step - at) * (HALF - before) / (rise - before)
                break
            at, before = step, rise
        ends.append(sign * at)
    radius = float(best[2] + sum(ends) / 2)
    return along(radius, middle, 0.5)[1], radius, max((ends[0] - ends[1]) / 2, LEAST_UNCERTAIN_MM)
