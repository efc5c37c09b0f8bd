"""Where a wall may have an opening: groups of cells whose rays went behind its surface, and small plates on it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import ndimage
from shapely import MultiPoint

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.evidence import BEHIND, BLOCKED, EMPTY, PROUD, WALL, Evidence, cell_centres

LEAST_SIDE_MM = 30.0
LEAST_RAYS = 4
PLATE_SIDES_MM = (35.0, 320.0)
FLOOR_MM = 70.0
TALL_MM = 500.0
LEAST_CARRIED_MM = 500.0  # no door is narrower
LEAST_DOUBTFUL = 0.8  # of the cells between a candidate and the floor that must not be the wall's own surface
VOID_SPACING = 0.6  # of a cell: so close, a cell holds 2.8 points, and 6 cells in 100 none by chance
_BRIDGE_MM = 60.0  # glazing bars and the legs of a chair do not part an opening


@dataclass(frozen=True, slots=True)
class Candidate:
    """A rough opening or plate."""

    source: Literal["behind", "plate", "absence"]
    cells: Bools  # (rows, columns)
    box_mm: tuple[float, float, float, float]  # u least, v least, u most, v most along turned axes about `turn_deg`
    turn_deg: float  # of the box against the wall's axes, -45 to 45
    casing: bool  # boards stand proud around it
    reaches_floor: bool
    proven_from_mm: float | None = None  # v below which its rays must still show that they ended behind the wall


def find_candidates(evidence: Evidence, rays_behind: AnyArray, inside: Bools, floor_v: Floats) -> list[Candidate]:
    """Find rough openings and plates.

    Parameters
    ----------
    evidence : Evidence
        What the rays proved.
    rays_behind : (rows, columns)
        Number of rays that ended behind the surface.
    inside : (rows, columns)
        Cells within the wall's outline.
    floor_v : (columns,)
        v of the floor's edge over each column.
    """
    behind = (evidence.kind == BEHIND) & inside
    found = [
        _candidate("behind", cells, evidence, floor_v)
        for cells in _groups(behind, evidence)
        if _substantial(cells, rays_behind, evidence)
    ]
    taken = np.zeros(behind.shape, dtype=bool)
    for one in found:
        taken |= _box_cells(one, evidence, 40.0 if not one.casing else 160.0)
    plates = (evidence.kind == PROUD) & inside & ~taken
    found += [
        _candidate("plate", cells, evidence, floor_v)
        for cells in _groups(plates, evidence)
        if _is_plate(cells, evidence, floor_v)
    ]
    return found


def _groups(cells: Bools, evidence: Evidence) -> list[Bools]:
    """Connected groups, after closing gaps that only unseen or proud cells hold: bars, and what stands before it.

    Groups narrower than any opening or plate are left out at once: a noisy wall has thousands.
    """
    size = max(round(_BRIDGE_MM / evidence.grid.cell_mm) // 2, 1)
    closed = ndimage.binary_closing(np.pad(cells, size), iterations=size)[size:-size, size:-size]
    allowed = cells | (closed & np.isin(evidence.kind, (EMPTY, BLOCKED, PROUD)))
    labels, count = ndimage.label(allowed)
    slices = ndimage.find_objects(labels)
    least_cells = LEAST_SIDE_MM / evidence.grid.cell_mm
    groups = []
    for index in range(count):
        if min(side.stop - side.start for side in slices[index]) < least_cells:
            continue
        group = np.zeros(cells.shape, dtype=bool)
        group[slices[index]] = (labels[slices[index]] == index + 1) & cells[slices[index]]
        if group.any():
            groups.append(group | _void_beside(group, evidence))
    return groups


def _void_beside(group: Bools, evidence: Evidence) -> Bools:
    """Empty cells beside a group, where the points lie so close that each cell of wall would hold several.

    Most of a deep box's back lies in the shadow of its sides, and nothing but void tells of it.
    """
    around = _window(group, 2)
    near = ndimage.binary_dilation(group[around], np.ones((3, 3), dtype=bool), iterations=2)
    void = (evidence.seen[around] == EMPTY) & (evidence.spacing_mm[around] < VOID_SPACING * evidence.grid.cell_mm)
    beside = np.zeros(group.shape, dtype=bool)
    beside[around] = void & near
    return beside


def _window(cells: Bools, margin: int) -> tuple[slice, slice]:
    """Rows and columns that hold a group, and a margin: most groups are small, and rasters large."""
    rows, columns = np.flatnonzero(cells.any(axis=1)), np.flatnonzero(cells.any(axis=0))
    return (
        slice(max(int(rows[0]) - margin, 0), int(rows[-1]) + margin + 1),
        slice(max(int(columns[0]) - margin, 0), int(columns[-1]) + margin + 1),
    )


def _substantial(cells: Bools, rays_behind: AnyArray, evidence: Evidence) -> bool:
    """More than a chance of stray rays: wide both ways, enough rays, and hardly a ray on the wall among them."""
    if not cells.any():
        return False
    around = _window(cells, 0)
    cells, rays_behind = cells[around], rays_behind[around]
    if rays_behind[cells].sum() < LEAST_RAYS:
        return False
    cell = evidence.grid.cell_mm
    height, width = cells.shape[0] * cell, cells.shape[1] * cell
    core = ndimage.binary_opening(np.pad(cells, 1), np.ones((2, 2), dtype=bool))[1:-1, 1:-1]
    sides = min(height, width)
    wide = sides >= LEAST_SIDE_MM and core.sum() * cell**2 >= LEAST_SIDE_MM**2
    return bool(wide)


def _candidate(source: Literal["behind", "plate"], cells: Bools, evidence: Evidence, floor_v: Floats) -> Candidate:
    u, v = _positions(_off_the_floor(cells, evidence, floor_v), evidence)
    turn = _turn_of(u, v)
    box = _box(u, v, turn, evidence.grid.cell_mm / 2)
    reaches = reaches_floor(cells, evidence, floor_v)
    casing = source == "behind" and has_casing(box, turn, evidence, reaches)
    return Candidate(source, cells, box, turn, casing, reaches)


def _off_the_floor(cells: Bools, evidence: Evidence, floor_v: Floats) -> Bools:
    """A tall group without its columns that stay by the floor: there the floor went on behind the wall's foot."""
    _, v = cell_centres(evidence.grid)
    rows = np.flatnonzero(cells.any(axis=1))
    if v[rows[-1]] - v[rows[0]] < TALL_MM:
        return cells
    highest = v[cells.shape[0] - 1 - np.argmax(cells[::-1], axis=0)]
    return np.asarray(cells & (highest - floor_v > FLOOR_MM))


def _positions(cells: Bools, evidence: Evidence) -> tuple[Floats, Floats]:
    u, v = cell_centres(evidence.grid)
    around = _window(cells, 0)
    rows, columns = np.nonzero(cells[around])
    return u[around[1]][columns], v[around[0]][rows]


def _turn_of(u: Floats, v: Floats) -> float:
    """Turn of the least-area box around cells (Freeman and Shapira 1975), or 0 when the upright one is as good."""
    points = MultiPoint(np.column_stack([u, v]))
    upright = np.ptp(u) * np.ptp(v)
    box = points.minimum_rotated_rectangle
    if box.geom_type != "Polygon" or min(np.ptp(u), np.ptp(v)) < 150.0 or box.area > 0.9 * upright:
        return 0.0
    corners = np.asarray(box.exterior.coords)
    edge = corners[1] - corners[0]
    angle = float(np.degrees(np.arctan2(edge[1], edge[0])))
    return (angle + 45.0) % 90.0 - 45.0


def _box(u: Floats, v: Floats, turn_deg: float, half: float) -> tuple[float, float, float, float]:
    """Bounds along the turned axes; a row or column of a single cell is a stray."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    bounds = []
    for values in (c * u + s * v, -s * u + c * v):
        lines = np.round((values - values.min()) / (2 * half)).astype(int)
        filled = np.flatnonzero(np.bincount(lines) >= min(2, lines.size))
        first, last = (filled[0], filled[-1]) if filled.size else (0, lines.max())
        bounds.append((values.min() + 2 * half * first - half, values.min() + 2 * half * last + half))
    return float(bounds[0][0]), float(bounds[1][0]), float(bounds[0][1]), float(bounds[1][1])


def reaches_floor(cells: Bools, evidence: Evidence, floor_v: Floats) -> bool:
    """Whether the cells come within 70 mm of the floor (thresholds are lower) over most of the width where it shows.

    A column whose cells end above something that hides what is below, as a cupboard before a door, tells nothing.
    """
    _, v = cell_centres(evidence.grid)
    columns = np.flatnonzero(cells.any(axis=0))
    lowest = np.argmax(cells[:, columns], axis=0)
    near = v[lowest] - floor_v[columns] < FLOOR_MM
    steps = max(round(FLOOR_MM / evidence.grid.cell_mm), 1)
    below = np.stack([evidence.kind[np.maximum(lowest - 1 - k, 0), columns] for k in range(steps)])
    known = near | (below == WALL).any(axis=0)
    return bool(known.any() and np.mean(near[known]) > 0.5)


def carried_to_floor(candidates: list[Candidate], evidence: Evidence, floor_v: Floats) -> list[Candidate]:
    """Candidates that may go on to the floor below their cells: what ended there is not on the wall's own surface.

    On a bowed wall the rough surface that rays are held against may have sunk into a closed door's leaf: over a part of
    its height the leaf then counts as wall, and the wall beside it as a board.
    """
    found = []
    for one in candidates:
        u0, v0, u1, v1 = one.box_mm
        if one.source != "behind" or one.reaches_floor or one.turn_deg != 0.0 or u1 - u0 < LEAST_CARRIED_MM:
            continue
        u, v = np.meshgrid(*cell_centres(evidence.grid))
        over = (u > u0) & (u < u1) & (v < v1) & (v > floor_v[None, :])
        below = over & (v < v0)
        if not below.any() or np.mean(evidence.doubtful[below]) < LEAST_DOUBTFUL:
            continue
        floor = float(floor_v[over.any(axis=0)].min())
        found.append(Candidate("behind", over, (u0, floor, u1, v1), 0.0, one.casing, True, v0))
    return found


def has_casing(box: tuple[float, float, float, float], turn: float, evidence: Evidence, reaches_floor: bool) -> bool:
    """Whether proud cells line the opening on most of the sides that can be seen."""
    if abs(turn) > 1e-9 or min(box[2] - box[0], box[3] - box[1]) < 200.0:
        return False
    u, v = cell_centres(evidence.grid)
    low = box[1] + 0.1 * (box[3] - box[1])
    sides = [
        (box[0] - 40, low, box[0] - 12, box[3]),
        (box[2] + 12, low, box[2] + 40, box[3]),
        (box[0], box[3] + 12, box[2], box[3] + 40),
    ]
    if not reaches_floor:
        sides.append((box[0], box[1] - 40, box[2], box[1] - 12))
    lined, seen = 0, 0
    for u0, v0, u1, v1 in sides:
        strip = evidence.kind[np.ix_((v > v0) & (v < v1), (u > u0) & (u < u1))]
        known = np.isin(strip, (WALL, BEHIND, PROUD))
        if known.sum() < 0.3 * max(strip.size, 1):
            continue
        seen += 1
        lined += np.mean(strip[known] == PROUD) > 0.5
    return seen >= 2 and lined >= max(2, seen - 1)


def _box_cells(candidate: Candidate, evidence: Evidence, margin: float) -> Bools:
    u, v = np.meshgrid(*cell_centres(evidence.grid))
    c, s = np.cos(np.radians(candidate.turn_deg)), np.sin(np.radians(candidate.turn_deg))
    a, b = c * u + s * v, -s * u + c * v
    u0, v0, u1, v1 = candidate.box_mm
    return np.asarray((a > u0 - margin) & (a < u1 + margin) & (b > v0 - margin) & (b < v1 + margin))


def _is_plate(cells: Bools, evidence: Evidence, floor_v: Floats) -> bool:
    """A compact proud patch of a plate's size, clear of floor and skirting, with wall around most of it."""
    u, v = _positions(cells, evidence)
    cell = evidence.grid.cell_mm
    width, height = np.ptp(u) + cell, np.ptp(v) + cell
    if not (PLATE_SIDES_MM[0] <= min(width, height) and max(width, height) <= PLATE_SIDES_MM[1]):
        return False
    if cells.sum() * cell**2 < 0.6 * width * height or reaches_floor(cells, evidence, floor_v):
        return False
    grown = ndimage.binary_dilation(cells, iterations=3) & ~ndimage.binary_dilation(cells, iterations=1)
    return bool(np.mean(evidence.kind[grown] == WALL) > 0.5)
