"""Boards around an opening: their outer edge, the clear opening within, and the floor that both stand on."""

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.cases import CASING_ZONE_MM, Case
from unfold.elevation.local_rays import Box, LocalRays, to_surface
from unfold.elevation.local_surface import LocalSurface
from unfold.elevation.outline import Outline
from unfold.elevation.shapes import Shape, fit_rectangle, placer_for


def boards_around(case: Case, wall_face: LocalSurface, noise_mm: float) -> bool:
    """Whether the rays beside an opening ended before the wall on most sides: many noisy points show a board."""
    rays, box = case.edge, case.candidate.box_mm
    above = rays.h - wall_face.at(rays.u, rays.v)
    near = np.abs(above) < 60.0
    upright = near & (rays.v > box[1] + 0.1 * (box[3] - box[1])) & (rays.v < box[3])
    level = near & (rays.u > box[0]) & (rays.u < box[2])
    sides = [
        upright & (rays.u < box[0] - 12.0) & (rays.u > box[0] - 45.0),
        upright & (rays.u > box[2] + 12.0) & (rays.u < box[2] + 45.0),
        level & (rays.v > box[3] + 12.0) & (rays.v < box[3] + 45.0),
    ]
    proud = [float(np.median(above[side])) > max(5.0, 1.5 * noise_mm) for side in sides if side.sum() >= 20]
    return len(proud) >= 2 and sum(proud) >= 2


def measure_cased(
    case: Case, wall_face: LocalSurface, tolerance: float, outline: Outline
) -> tuple[Shape, Shape] | None:
    """The outer edge of the boards around an opening and the clear opening within; None when there are no boards."""
    rays = case.edge
    above = rays.h - wall_face.at(rays.u, rays.v)
    proud = above[(above > max(4.0, 0.7 * tolerance)) & (above < 60.0)]
    if proud.size < 30:
        return None
    counts, edges = np.histogram(proud, np.arange(3.0, 62.0, 2.0))
    top = int(np.argmax(np.convolve(counts, [1, 1, 1], "same")))
    stands = float(np.median(proud[np.abs(proud - edges[top] - 1.0) < 4.0]))
    local = to_surface(rays, case.crossed_mm, wall_face.before(stands), 0.0)
    margin = min(tolerance, stands / 2)
    box = case.candidate.box_mm
    fixed = box[1] if case.candidate.reaches_floor else None
    clear = fit_rectangle(local, box, 0.0, margin, True, fixed, placer_for(local))
    outer_box = _outer_box(local, box, margin, fixed is not None)
    outer = fit_rectangle(local, outer_box, 0.0, margin, False, fixed, placer_for(local))
    if case.candidate.reaches_floor:
        return stand_on_floor(outer, outline), stand_on_floor(clear, outline)
    return outer, clear


def _outer_box(local: LocalRays, box: Box, margin: float, on_floor: bool) -> Box:
    """Rough outer edges of the boards: where, going outward, rays on the boards give way to rays on the wall."""
    bounds = list(box)
    steps = np.arange(0.0, CASING_ZONE_MM, 5.0)
    for side in range(4):
        if side == 1 and on_floor:
            continue
        upright = side in (0, 2)
        across, along = (local.a, local.b) if upright else (local.b, local.a)
        low, high = (box[1], box[3]) if upright else (box[0], box[2])
        outward = (across - box[side]) * (1.0 if side >= 2 else -1.0)
        near = (along > low + 0.1 * (high - low)) & (along < high - 0.1 * (high - low)) & (np.abs(local.depth) < 200.0)
        on_board = local.depth < margin
        share = []
        for step in steps:
            bin_ = near & (outward >= step) & (outward < step + 10.0)
            share.append(float(on_board[bin_].mean()) if bin_.sum() >= 5 else np.nan)
        boards = np.flatnonzero(np.nan_to_num(np.array(share)) > 0.5)
        first = boards[0] if boards.size else 0
        gone = np.flatnonzero((np.array(share) < 0.5) & (np.arange(steps.size) > first))
        width = float(steps[gone[0]] + 5.0) if gone.size else 0.0
        bounds[side] += width if side >= 2 else -width
    return (bounds[0], bounds[1], bounds[2], bounds[3])


def stand_on_floor(shape: Shape, outline: Outline) -> Shape:
    """Let a rectangle's lower side follow the outline's lower edge between its two upright sides."""
    if shape.kind != "rectangle":
        return shape
    below_left, below_right, above_right, above_left = shape.ring
    floor = lower_edge(outline)
    v_left, v_right = np.interp([below_left[0], below_right[0]], floor[:, 0], floor[:, 1])
    between = floor[(floor[:, 0] > below_left[0] + 0.5) & (floor[:, 0] < below_right[0] - 0.5)]
    ring = np.vstack([[below_left[0], v_left], between, [below_right[0], v_right], above_right, above_left])
    height = float(np.mean([above_right[1], above_left[1]]) - np.mean([v_left, v_right]))
    return Shape("rectangle", ring, (shape.size_mm[0], height), shape.standard_uncertainty_mm, shape.edges)


def lower_edge(outline: Outline) -> Floats:
    """Points of the outline's lower edge from left to right; the ring begins with them."""
    lower = 0
    for edge in outline.edges:
        if edge.kind not in ("floor", "end") or edge.last == 0:
            break
        lower = edge.last
        if edge.kind == "end":
            break
    return outline.ring[: lower + 1]
