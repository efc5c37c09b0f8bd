"""Where no station is known: holes in a wall's points that nothing before the wall explains, taken for openings.

Without stations no ray proves that a hole is open. A hole that is as rectangular as an opening, framed by wall, with
points behind the wall along its rim, where its reveal is, and not mostly hidden by what stands before it, is one by the
absence of points: its evidence says so. A shadow has no reveal.
"""

from dataclasses import replace

import numpy as np
from scipy import ndimage

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.candidates import Candidate, has_casing, reaches_floor
from unfold.elevation.edge_fit import EdgeFit
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.evidence import BEHIND, EMPTY, PROUD, WALL, Evidence, cell_centres
from unfold.elevation.local_rays import Box
from unfold.room.result import Room, Wall

LEAST_SIDE_MM = 400.0
LEAST_FILL = 0.85
LEAST_FRAME = 0.7  # of its rim, but for the floor, that must be wall
FRONT_MM = (60.0, 1500.0)  # what stands there may have cast the hole as a shadow
FACING = -0.7  # cosine between the inward normals of walls that face each other
MOST_SHADOWED = 0.4  # of the hole's area that things in front may cover
REVEAL_MM = (60.0, 25.0)  # how far within and without the hole's rough rim its reveal's points lie
LEAST_REVEALS, SURELY_REVEALED = 2, 3  # sides that must show a reveal; so many, whatever stands before the hole
PIECES, LEAST_PIECES, LEAST_IN_PIECE = 6, 3, 2  # a side is cut into so many; so many need so many points
MOSTLY = 0.5  # of the longest column or row
BINS = 12
LEAST_VOID_MM, MOST_VOID_MM = 15.0, 200.0  # strips beside an opening that its jambs may hide


def find_absences(
    evidence: Evidence, rays_behind: AnyArray, inside: Bools, floor_v: Floats, wall: Wall, room: Room
) -> list[Candidate]:
    """Find holes that are openings by absence, among cells (rows, columns) inside the outline; as `find_candidates`."""
    holes = ndimage.binary_opening((evidence.kind == EMPTY) & inside, iterations=3)
    labels, _ = ndimage.label(holes)
    shadow = _shadowed(evidence, wall, room)
    found = []
    for index, where in enumerate(ndimage.find_objects(labels)):
        whole = labels[where] == index + 1
        for core in ((slice(None), slice(None)), _filled_half(whole)):
            group = np.zeros(holes.shape, dtype=bool)
            group[where][core] = whole[core]
            box = _box_of(group, evidence)
            if min(box[2] - box[0], box[3] - box[1]) < LEAST_SIDE_MM or whole[core].mean() < LEAST_FILL:
                continue
            on_floor = reaches_floor(group, evidence, floor_v)
            if not _framed(group, evidence, on_floor):
                continue
            shown = _reveals(box, rays_behind, evidence, on_floor)
            if shown >= SURELY_REVEALED or (shown >= LEAST_REVEALS and shadow[group].mean() < MOST_SHADOWED):
                cased = has_casing(box, 0.0, evidence, on_floor)
                found.append(Candidate("absence", group, box, 0.0, cased, on_floor))
                break
    return found


def panes_set_aside(holes: list[Candidate], rough: list[Candidate]) -> list[Candidate]:
    """Holes but for panes: where a rough opening goes on around one, it holds the window's frame, and is the opening.

    A reveal's points lie on the hole's own rim; what lies farther behind the wall beside it is a frame.
    """
    behind = [one.box_mm for one in rough if one.source == "behind" and one.turn_deg == 0.0]
    return [hole for hole in holes if not any(_is_framed(hole.box_mm, box) for box in behind)]


def _is_framed(hole: Box, box: Box) -> bool:
    beyond = (hole[0] - box[0], hole[1] - box[1], box[2] - hole[2], box[3] - hole[3])
    return min(beyond) > -REVEAL_MM[1] and sum(side > REVEAL_MM[1] for side in beyond) >= SURELY_REVEALED


def over_voids(candidates: list[Candidate], evidence: Evidence, wall: Wall, room: Room) -> list[Candidate]:
    """Carry the sides of rough openings over strips of no point up to the wall's own: their jambs hid what is there.

    Nothing may stand before such a strip that could have hidden the wall itself.
    """
    hidden = ~np.isin(evidence.kind, (EMPTY, BEHIND)) | _shadowed(evidence, wall, room)
    return [one if one.source != "behind" or one.turn_deg else _over_voids(one, evidence, hidden) for one in candidates]


def _over_voids(one: Candidate, evidence: Evidence, hidden: Bools) -> Candidate:
    grid, box = evidence.grid, list(one.box_mm)
    corner = np.array([grid.u0_mm, grid.v0_mm] * 2) - grid.cell_mm / 2
    u0, v0, u1, v1 = np.round((np.array(box) - corner) / grid.cell_mm).astype(int)
    height, width = (v1 - v0, u1 - u0)
    rows, columns = (
        slice(max(low + int(0.15 * size), 0), low + int(0.85 * size) + 1) for low, size in ((v0, height), (u0, width))
    )
    solid = np.isin(evidence.kind, (WALL, PROUD))
    beyond = [
        (0, hidden[rows, : max(u0, 0)][:, ::-1], solid[rows, : max(u0, 0)][:, ::-1]),
        (2, hidden[rows, u1:], solid[rows, u1:]),
        (1, hidden[: max(v0, 0), columns][::-1].T, solid[: max(v0, 0), columns][::-1].T),
        (3, hidden[v1:, columns].T, solid[v1:, columns].T),
    ]
    for side, past, wall_there in beyond:
        if past.size == 0 or (side == 1 and one.reaches_floor):
            continue
        run = np.argmax(past, axis=1)
        bounded = past.any(axis=1) & wall_there[np.arange(len(run)), run]
        reach = float(np.median(run)) * grid.cell_mm
        if LEAST_VOID_MM < reach < min(MOST_VOID_MM, box[2] - box[0]) and bounded.mean() > LEAST_FRAME:
            box[side] += reach if side >= 2 else -reach
    if box == list(one.box_mm):
        return one
    u, v = np.meshgrid(*cell_centres(grid))
    void = (u > box[0]) & (u < box[2]) & (v > box[1]) & (v < box[3]) & ~hidden
    return replace(one, box_mm=(box[0], box[1], box[2], box[3]), cells=one.cells | void)


def _filled_half(cells: Bools) -> tuple[slice, slice]:
    """The rows and columns that a hole fills at least by half: a shadow may hang on to its foot."""
    sides = []
    for axis in (1, 0):
        number = cells.sum(axis=axis)
        enough = np.flatnonzero(number >= MOSTLY * number.max())
        sides.append(slice(int(enough[0]), int(enough[-1]) + 1))
    return sides[0], sides[1]


def _box_of(group: Bools, evidence: Evidence) -> Box:
    u, v = cell_centres(evidence.grid)
    rows, columns = np.nonzero(group)
    half = evidence.grid.cell_mm / 2
    return (
        float(u[columns.min()] - half),
        float(v[rows.min()] - half),
        float(u[columns.max()] + half),
        float(v[rows.max()] + half),
    )


def _framed(group: Bools, evidence: Evidence, on_floor: bool) -> bool:
    """Whether the rim of the hole and its reveal is mostly wall or casing, but for the foot of one on the floor."""
    reach = max(round(60.0 / evidence.grid.cell_mm), 2)
    reveal = ndimage.binary_dilation(group, iterations=reach) & (evidence.kind == BEHIND)
    group = group | reveal
    rim = ndimage.binary_dilation(group, iterations=reach) & ~ndimage.binary_dilation(group, iterations=2)
    if on_floor:
        rows = np.flatnonzero(group.any(axis=1))
        rim[: rows[0] + reach] = False
    return bool(rim.any() and np.mean(np.isin(evidence.kind[rim], (WALL, PROUD))) > LEAST_FRAME)


def _reveals(box: Box, rays_behind: AnyArray, evidence: Evidence, on_floor: bool) -> int:
    """The number of a hole's sides, but for the floor that it stands on, along which points lie behind the wall."""
    u, v = np.meshgrid(*cell_centres(evidence.grid))
    u0, v0, u1, v1 = box
    within, without = REVEAL_MM
    upright, level = (v - v0) / (v1 - v0), (u - u0) / (u1 - u0)
    sides = [
        ((u > u0 - without) & (u < u0 + within), upright),
        ((u > u1 - within) & (u < u1 + without), upright),
        ((v > v1 - within) & (v < v1 + without), level),
    ]
    if not on_floor:
        sides.append(((v > v0 - without) & (v < v0 + within), level))
    shown = 0
    for near, along in sides:
        piece = np.floor(PIECES * along).astype(int)
        counts = [rays_behind[near & (piece == k)].sum() for k in range(PIECES)]
        shown += sum(count >= LEAST_IN_PIECE for count in counts) >= LEAST_PIECES
    return shown


def _shadowed(evidence: Evidence, wall: Wall, room: Room) -> Bools:
    """Cells of the wall's grid before which something stands that may hide the wall from a place in the room.

    A wall that faces this one never does: what was seen of both was seen from between them.
    """
    grid = evidence.grid
    cells = room.cells.mean_m.astype(float)
    uvh = wall.frame.uvh_from_level(cells) * 1000
    before = (uvh[:, 2] > FRONT_MM[0]) & (uvh[:, 2] < FRONT_MM[1]) & (uvh[:, 1] > wall.bottom_m * 1000 + 100.0)
    before &= uvh[:, 1] < wall.top_m * 1000 - 100.0
    for other in room.walls:
        facing = other.shape == "plane" and wall.shape == "plane" and other.frame.inward @ wall.frame.inward < FACING
        if facing:
            u, v, h = other.frame.uvh_from_level(cells).T * 1000
            on_face = (np.abs(h) < FRONT_MM[0]) & (u > 0.0) & (u < other.width_m * 1000)
            before &= ~(on_face & (v > other.bottom_m * 1000) & (v < other.top_m * 1000))
    column = np.round((uvh[before, 0] - grid.u0_mm) / grid.cell_mm).astype(int)
    row = np.round((uvh[before, 1] - grid.v0_mm) / grid.cell_mm).astype(int)
    on = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    shadow = np.zeros((grid.rows, grid.columns), dtype=bool)
    shadow[row[on], column[on]] = True
    return np.asarray(ndimage.binary_dilation(shadow, iterations=max(round(15.0 / grid.cell_mm), 1)))


def last_of_front(rays: EdgeRays, start_mm: float, tolerance_mm: float, reach_mm: float) -> EdgeFit | None:
    """Place an edge just beyond the front piece's last points; None when too few lie beside it.

    Of m points spread evenly over the reach up to the edge, the last one lies 1 / (m + 1) of it short of the edge on
    average: each twelfth of the edge is corrected by that, and their scatter tells the uncertainty.
    """
    near = (np.abs(rays.depth) < tolerance_mm) & (np.abs(rays.x - start_mm) < reach_mm)
    if near.sum() < 2 * BINS:
        return None
    x, t = rays.x[near], rays.t[near]
    part = np.clip((BINS * (t - t.min()) / max(float(np.ptp(t)), 1e-9)).astype(int), 0, BINS - 1)
    ends, short = [], []
    for k in range(BINS):
        own = x[part == k]
        if own.size >= 3:
            gap = (own.max() - start_mm + reach_mm) / (own.size + 1)
            ends.append(own.max() + gap)
            short.append(gap)
    if len(ends) < 3:
        return None
    edge = float(np.median(ends))
    scatter = 1.4826 * float(np.median(np.abs(np.array(ends) - edge))) / np.sqrt(len(ends))
    uncertainty = float(np.hypot(1.25 * scatter, np.mean(short)))
    return EdgeFit(edge, 0.0, float(np.median(t)), uncertainty, 0.0, 0.0, int(near.sum()), False)
