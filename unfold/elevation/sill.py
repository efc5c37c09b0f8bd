"""The board of a window sill: where its nose stands before the wall, the visible face ends at its underside."""

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.cases import EDGE_ZONE_MM, Case
from unfold.elevation.local_rays import to_surface
from unfold.elevation.local_surface import LocalSurface
from unfold.elevation.shapes import Shape, fit_rectangle, place_between, stations_known

LEAST_WIDTH_MM = 300.0
LEAST_THICK_MM, MOST_PROUD_MM = 6.0, 60.0
NEAR_MM, BIN_MM = 8.0, 5.0  # below the opening, where a board must show; steps down to where it stops
BINS, LEAST_BINS = 8, 7  # of the opening's width, in which it shows
LEAST_IN_BIN = 3


def with_sill_board(case: Case, wall_face: LocalSurface, tolerance: float, shape: Shape) -> Shape | None:
    """The opening with the board under it, None where there is none: where a casing covers the wall around an opening,
    the opening is bounded by the casing's outer edge, and so it is here.
    """
    box = case.candidate.box_mm
    if case.candidate.reaches_floor or shape.kind != "rectangle" or box[2] - box[0] < LEAST_WIDTH_MM:
        return None
    rays, foot = case.edge, float(shape.ring[:2, 1].mean())
    above = rays.h - wall_face.at(rays.u, rays.v)
    down = foot - rays.v
    within = (rays.u > box[0]) & (rays.u < box[2]) & (down > 0.0) & (down < EDGE_ZONE_MM)
    on_board = within & (above > max(4.0, tolerance)) & (above < MOST_PROUD_MM)
    if not _all_along(rays.u[within & (down < NEAR_MM)], on_board[within & (down < NEAR_MM)], box[0], box[2]):
        return None
    proud = above[on_board]
    stands = float(np.median(proud[proud > 0.7 * np.quantile(proud, 0.9)]))  # the nose; from above its top is seen too
    thick = _thickness(down[within], on_board[within])
    if thick is None:
        return None
    local = to_surface(rays, case.crossed_mm, wall_face.before(stands), 0.0)
    if not stations_known(local):
        return None  # the wall right under the nose lies in its shadow, and no ray tells from where it was seen
    local = local.select(local.b < foot)
    nose = (box[0], foot - thick, box[2], foot)
    outer = fit_rectangle(local, nose, 0.0, min(tolerance, stands / 2), False, None, place_between)
    below, lower = outer.edges[1], float(outer.ring[:2, 1].mean())
    if below is None or not LEAST_THICK_MM < foot - lower < EDGE_ZONE_MM:
        return None
    ring = shape.ring.copy()
    ring[:2, 1] = np.interp(ring[:2, 0], outer.ring[:2, 0], outer.ring[:2, 1])
    edges = (shape.edges[0], below, *shape.edges[2:]) if shape.edges else ()
    size = (shape.size_mm[0], float(ring[2:, 1].mean() - ring[:2, 1].mean()))
    return Shape("rectangle", ring, size, max(shape.standard_uncertainty_mm, below.standard_uncertainty_mm), edges)


def _all_along(u: Floats, on_board: Bools, low: float, high: float) -> bool:
    """Whether the rays right below an opening ended on a board nearly all along it."""
    place = np.clip((BINS * (u - low) / (high - low)).astype(int), 0, BINS - 1)
    rays, boards = np.bincount(place, minlength=BINS), np.bincount(place, on_board, minlength=BINS)
    return int(((boards >= LEAST_IN_BIN) & (boards > 0.5 * rays)).sum()) >= LEAST_BINS


def _thickness(down: Floats, on_board: Bools) -> float | None:
    """How far below the opening rays on the board give way to rays on the wall; None where they do not."""
    steps = np.arange(0.0, EDGE_ZONE_MM, BIN_MM)
    place = (down / BIN_MM).astype(int)
    rays, boards = np.bincount(place, minlength=len(steps)), np.bincount(place, on_board, minlength=len(steps))
    gone = np.flatnonzero((boards < 0.5 * rays) & (rays >= LEAST_IN_BIN))
    return float(steps[gone[0]]) if len(gone) and gone[0] > 0 else None
