"""Openings measured: each candidate's edges placed by the rays around it, its kind told by what the rays met inside."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon

from unfold.arrays import Bools
from unfold.elevation.candidates import Candidate
from unfold.elevation.cases import Case, apart, hidden_boards
from unfold.elevation.casing import boards_around, lower_edge, measure_cased, stand_on_floor
from unfold.elevation.circle import fit_circle, likeliest_rectangle, ring_likelihood
from unfold.elevation.evidence import NOISY_MM, WALL, Evidence, cell_centres
from unfold.elevation.hidden_sides import cut_off, with_hidden_sides
from unfold.elevation.inside import Inside, look_inside, returned_share
from unfold.elevation.kinds import FRAME_SHARE, PANE_SHARE, SERVICE_MOST_MM, kind_of
from unfold.elevation.local_rays import Box, LocalRays, join, to_surface
from unfold.elevation.local_surface import LocalSurface, surface_around
from unfold.elevation.outline import Outline
from unfold.elevation.result import Opening
from unfold.elevation.rings import cells_inside, counter_clockwise, polygons_of_cells
from unfold.elevation.sensible import sensible
from unfold.elevation.shapes import (
    SKIRTING_MM,
    Shape,
    fit_rectangle,
    place_at_end,
    placer_for,
)
from unfold.elevation.sill import with_sill_board
from unfold.elevation.webs import part_at_webs
from unfold.quantity import combine
from unfold.room.result import Wall
from unfold.surface.result import WallSurface

BOARD_FLAT_MM = 0.4  # how far boards stand from their middle height; common practice, no published source
LOW_MM = 1000.0  # what is smaller may hang just above the floor
LEAST_LIFT_MM = 6.0
ROUND_MOST_MM = 900.0
CLEARLY_ROUND = 3.0  # log-likelihood by which a circle must be better: most boxes are square
ODD_SHARE = 0.05  # of wall within a rectangle, from which on it is none
CORNER_SHARE, LEAST_CORNER_CELLS, MOST_IN_CORNER = 0.12, 9, 0.5  # wall in a corner, from which on it is rounded
LEAST_ODD_CELLS = 60
PANE_RETURNS = 0.5  # a back returns as many points per area as the wall beside it, a pane far fewer
LEAST_AREA_MM2 = 900.0
PIECES_DOWN, LEAST_IN_PIECE, LEAST_BEHIND = 3, 20, 0.6


def measure_openings(
    wall: Wall, surface: WallSurface, evidence: Evidence, outline: Outline, cases: Sequence[Case]
) -> list[Opening]:
    """Measure every candidate of a wall; those that the rays do not bear out are left out."""
    found = [opening for case in apart(cases) for opening in _measure(surface, evidence, outline, case)]
    found = sensible(found, outline, surface.noise_mm)
    found = [opening for opening in found if not cut_off(opening, evidence, outline)]
    found = [with_hidden_sides(opening, evidence, outline.ring) for opening in found]
    found.sort(key=lambda opening: (float(opening.ring_mm[:, 0].min()), float(opening.ring_mm[:, 1].min())))
    return [_renamed(opening, f"{wall.id}-O{i + 1}") for i, opening in enumerate(found)]


def _renamed(opening: Opening, name: str) -> Opening:
    return Opening(
        name,
        opening.kind,
        opening.ring_mm,
        opening.shape,
        opening.size_mm,
        opening.depth_mm,
        opening.evidence,
        opening.standard_uncertainty_mm,
        opening.clear_ring_mm,
    )


def _measure(surface: WallSurface, evidence: Evidence, outline: Outline, case: Case) -> list[Opening]:
    tolerance = max(3.0 * surface.noise_mm, 2.5)
    wall_face = surface_around(surface, case.candidate, case.crossed_mm)
    if hidden_boards(case.candidate, surface) and boards_around(case, wall_face, surface.noise_mm):
        case = replace(case, candidate=replace(case.candidate, casing=True))
    if case.candidate.source == "plate":
        return _listed(_measure_plate(case, wall_face, tolerance, surface))
    local = to_surface(case.edge, case.crossed_mm, wall_face, case.candidate.turn_deg)
    if case.candidate.source == "absence":
        return _listed(_measure_absence(case, wall_face, local, tolerance, surface, outline))
    if not behind_all_down(case, wall_face, tolerance):
        return []
    case = _lifted(case, local, tolerance, outline)
    depth = _typical_depth(local, tolerance)
    if depth < 1.5 * tolerance:
        return []
    tolerance = min(tolerance, depth / 2)
    if case.candidate.casing:
        found = measure_cased(case, wall_face, tolerance, outline)
        if found is not None:
            shape, clear = found
            return _listed(_opening(surface, case, wall_face, shape, clear))
    if not case.candidate.reaches_floor and min(_sides(case.candidate.box_mm)) <= SERVICE_MOST_MM:
        parts = part_at_webs(local, case.candidate.box_mm, tolerance)
        if len(parts) > 1:
            cases = [replace(case, candidate=replace(case.candidate, box_mm=box)) for box, _ in parts]
            shapes = [_best_shape(rays, own.candidate, tolerance) for own, (_, rays) in zip(cases, parts, strict=True)]
            made = [_opening(surface, own, wall_face, one, None) for own, one in zip(cases, shapes, strict=True)]
            if all(made):
                return [one for one in made if one is not None]
    shape = _best_shape(local, case.candidate, tolerance)
    large = shape.kind == "rectangle" and max(shape.size_mm) > SERVICE_MOST_MM
    if large and surface.noise_mm < NOISY_MM and _wall_share(shape, evidence) > ODD_SHARE:
        shape = _odd_shape(case.candidate, evidence)
    if case.candidate.reaches_floor:
        shape = stand_on_floor(shape, outline)
    sill = with_sill_board(case, wall_face, tolerance, shape)
    outer, within = (shape, None) if sill is None else (sill, shape)
    return _listed(_opening(surface, case, wall_face, outer, within))


def behind_all_down(case: Case, wall_face: LocalSurface, tolerance: float) -> bool:
    """Whether the rays below the proven part of a candidate ended behind the wall too, all the way to the floor."""
    start = case.candidate.proven_from_mm
    if start is None:
        return True
    rays = join(case.edge, case.inner)
    local = to_surface(rays, case.crossed_mm, wall_face, 0.0)
    u0, v0, u1, _ = case.candidate.box_mm
    margin = 0.15 * (u1 - u0)
    across = (local.a > u0 + margin) & (local.a < u1 - margin)
    for low, high in pairwise(np.linspace(v0 + SKIRTING_MM, start, PIECES_DOWN + 1)):
        piece = across & (local.b > low) & (local.b < high)
        if piece.sum() < LEAST_IN_PIECE or np.mean(local.depth[piece] > tolerance) < LEAST_BEHIND:
            return False
    return True


def _lifted(case: Case, local: LocalRays, tolerance: float, outline: Outline) -> Case:
    """A low box is told from one that stands on the floor by whether rays met wall below it."""
    box = case.candidate.box_mm
    if not case.candidate.reaches_floor or max(_sides(box)) > LOW_MM:
        return case
    lower = fit_rectangle(local, box, case.candidate.turn_deg, tolerance, True, None, placer_for(local))
    below = lower.edges[1]
    if below is None:
        return case
    floor = lower_edge(outline)
    lift = float(lower.ring[:2, 1].mean() - np.interp(lower.ring[:2, 0].mean(), floor[:, 0], floor[:, 1]))
    if lift < max(LEAST_LIFT_MM, 3.0 * below.standard_uncertainty_mm):
        return case
    return replace(case, candidate=replace(case.candidate, reaches_floor=False))


def _unplaced(shape: Shape, on_floor: bool) -> bool:
    """Whether no ray placed either of two opposite sides: a width that is known to the cell alone is no measurement."""
    left, below, right, above = shape.edges
    return (left is None and right is None) or (not on_floor and below is None and above is None)


def _listed(opening: Opening | None) -> list[Opening]:
    return [] if opening is None else [opening]


def _sides(box: Box) -> tuple[float, float]:
    return box[2] - box[0], box[3] - box[1]


def _wall_share(shape: Shape, evidence: Evidence) -> float:
    """Share of the cells well inside a ring that are wall: none in a rectangle, some in the corners round an arch."""
    cell = evidence.grid.cell_mm
    core = Polygon(shape.ring).buffer(-1.5 * cell)
    if core.is_empty or core.geom_type != "Polygon":
        return 0.0
    inside = cells_inside(np.asarray(core.exterior.coords)[:-1], evidence.grid)
    if inside.sum() < LEAST_ODD_CELLS:
        return 0.0
    whole = float((evidence.kind[inside] == WALL).mean())
    return max(whole, ODD_SHARE * max(_corner_shares(core.bounds, inside, evidence)) / MOST_IN_CORNER)


def _corner_shares(bounds: Box, inside: Bools, evidence: Evidence) -> list[float]:
    """Share of wall in the squares in a rectangle's corners: a flat arch leaves much wall there."""
    u, v = np.meshgrid(*cell_centres(evidence.grid))
    u0, v0, u1, v1 = bounds
    size = CORNER_SHARE * min(u1 - u0, v1 - v0)
    shares = []
    for a in (np.abs(u - u0) < size, np.abs(u - u1) < size):
        for b in (np.abs(v - v0) < size, np.abs(v - v1) < size):
            corner = inside & a & b
            shares.append(float((evidence.kind[corner] == WALL).mean()) if corner.sum() >= LEAST_CORNER_CELLS else 0.0)
    return shares


def _odd_shape(candidate: Candidate, evidence: Evidence) -> Shape:
    """The outline of a candidate's own cells, rounded by half a cell: arches and other shapes, to the cell's size."""
    half = evidence.grid.cell_mm / 2
    whole = polygons_of_cells(candidate.cells, evidence.grid).buffer(4 * half).buffer(-5 * half).buffer(half)
    largest = max(shapely.get_parts(whole), key=lambda piece: piece.area)
    ring = np.asarray(Polygon(largest.exterior).simplify(0.6 * half).exterior.coords)[:-1]
    size = np.ptp(ring, axis=0)
    return Shape("polygon", counter_clockwise(ring), (float(size[0]), float(size[1])), 1.4 * half, ())


def _typical_depth(local: LocalRays, tolerance: float) -> float:
    deep = local.depth[local.depth > tolerance]
    return float(np.median(deep)) if deep.size else 0.0


def _best_shape(local: LocalRays, candidate: Candidate, tolerance: float) -> Shape:
    """A rectangle, or a circle where the rays around it speak for one."""
    fixed = candidate.box_mm[1] if candidate.reaches_floor else None
    rectangle = fit_rectangle(local, candidate.box_mm, candidate.turn_deg, tolerance, True, fixed, placer_for(local))
    u0, v0, u1, v1 = candidate.box_mm
    aspect = (u1 - u0) / (v1 - v0)
    if candidate.reaches_floor or max(u1 - u0, v1 - v0) > ROUND_MOST_MM or not 0.7 < aspect < 1.43:
        return rectangle
    circle = fit_circle(local, candidate.box_mm, candidate.turn_deg, tolerance, True)
    if circle is None:
        return rectangle
    likelihoods = [
        ring_likelihood(local, shape, candidate.box_mm, candidate.turn_deg, tolerance, True)
        for shape in (rectangle, circle)
    ]
    if likelihoods[1] <= likelihoods[0] + CLEARLY_ROUND:
        return rectangle
    likeliest = likeliest_rectangle(local, rectangle, candidate.box_mm, candidate.turn_deg, tolerance)
    return circle if likelihoods[1] > likeliest + CLEARLY_ROUND else rectangle


def _measure_plate(case: Case, wall_face: LocalSurface, tolerance: float, surface: WallSurface) -> Opening | None:
    """A cover plate that stands a few millimetres proud; its edge is where rays first pass it."""
    rays = case.edge
    above = rays.h - wall_face.at(rays.u, rays.v)
    u0, v0, u1, v1 = case.candidate.box_mm
    within = (rays.u > u0 + 5) & (rays.u < u1 - 5) & (rays.v > v0 + 5) & (rays.v < v1 - 5)
    inside = above[within & (above < 60.0)]
    if inside.size < 6:
        return None
    stands = float(np.median(inside))
    if not (1.3 * tolerance < stands < 35.0):
        return None
    local = to_surface(rays, case.crossed_mm, wall_face.before(stands), case.candidate.turn_deg)
    box, turn = case.candidate.box_mm, case.candidate.turn_deg
    shape = fit_rectangle(local, box, turn, stands / 2, False, None, placer_for(local))
    shift = shape.stretch * combine([surface.registration_mm, BOARD_FLAT_MM])
    uncertainty = combine([shape.standard_uncertainty_mm, shift, 0.2])
    return Opening("", "service", shape.ring, "rectangle", shape.size_mm, None, "recess", uncertainty, None)


def _measure_absence(
    case: Case,
    wall_face: LocalSurface,
    local: LocalRays,
    tolerance: float,
    surface: WallSurface,
    outline: Outline,
) -> Opening | None:
    """An opening known only from where the wall's points end."""
    candidate = case.candidate
    fixed = candidate.box_mm[1] if candidate.reaches_floor else None
    shape = fit_rectangle(local, candidate.box_mm, 0.0, tolerance, True, fixed, place_at_end)
    shape = stand_on_floor(shape, outline) if candidate.reaches_floor else shape
    cased = measure_cased(case, wall_face, tolerance, outline) if candidate.casing else None
    shape, clear = cased if cased is not None else (shape, None)
    bounds = shape if clear is None else clear
    kind = kind_of(bounds.size_mm, candidate.reaches_floor, clear is not None, Inside(1.0, 0.0, 0.0, 1.0, None, 0))
    uncertainty = combine([shape.standard_uncertainty_mm, shape.stretch * surface.registration_mm, 0.2])
    ring = counter_clockwise(shape.ring)
    within = None if clear is None else counter_clockwise(clear.ring)
    return Opening("", kind, ring, "rectangle", shape.size_mm, None, "absence", uncertainty, within)


def _opening(
    surface: WallSurface, case: Case, wall_face: LocalSurface, shape: Shape, clear: Shape | None
) -> Opening | None:
    """Put an opening together once its ring is known, or drop it when the ring holds too little evidence."""
    ring = counter_clockwise(shape.ring)
    if not Polygon(ring).is_valid or Polygon(ring).area < LEAST_AREA_MM2:
        return None
    bounds = shape if clear is None else clear
    if bounds.kind == "rectangle" and bounds.edges and _unplaced(bounds, case.candidate.reaches_floor):
        return None
    inside = look_inside(join(case.edge, case.inner), case.crossed_mm, wall_face, bounds.ring, surface.noise_mm)
    if inside is None:
        return None
    cased = clear is not None and case.candidate.casing  # a sill's board alone makes no casing
    kind = kind_of(bounds.size_mm, case.candidate.reaches_floor, cased, inside)
    if kind in ("niche", "window"):
        returned = returned_share(case.edge, case.inner, wall_face, bounds.ring)
        if returned < PANE_SHARE:
            # fewer points than the clearest pane gives back: strays, but for a frame's
            kind = "window" if inside.frame_share >= FRAME_SHARE else "opening"
        elif returned < PANE_RETURNS:
            kind = "window"
    depth = None if kind in ("door", "opening") and inside.through_share > 0.5 else inside.depth_mm
    proof: Literal["through", "recess", "absence"] = "through" if inside.through_share > 0.5 else "recess"
    proof = "absence" if inside.hollow else proof
    shift = shape.stretch * combine([surface.registration_mm, 0.0 if clear is None else BOARD_FLAT_MM])
    uncertainty = combine([shape.standard_uncertainty_mm, shift, 0.2])
    return Opening(
        "",
        kind,
        ring,
        shape.kind,
        shape.size_mm,
        depth,
        proof,
        uncertainty,
        None if clear is None else counter_clockwise(clear.ring),
    )
