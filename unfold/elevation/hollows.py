"""Where no station is known: small holes in a wall's points that have a reveal, told by what is missing in them.

Without stations no ray proves a hole open, and a pipe's hole or the shaded side of a box gives no point at all. But a
shadow has no reveal: where points lie behind the wall along the rim of a hole that is framed by wall all around, and
the wall's own density says that the hole cannot be empty by chance, it is a hole in the wall.
"""

import numpy as np
from scipy import ndimage
from scipy.special import pdtr
from shapely.geometry import Polygon

from unfold.arrays import AnyArray, Bools, Floats
from unfold.elevation.absence import LEAST_SIDE_MM
from unfold.elevation.candidates import LEAST_RAYS, Candidate, reaches_floor
from unfold.elevation.evidence import BEHIND, EMPTY, NOISY_MM, PROUD, WALL, Evidence, cell_centres
from unfold.elevation.local_rays import LocalRays
from unfold.elevation.rings import signed_distance

LEAST_HOLE_MM = 30.0
LEAST_FRAME = 0.8  # of the cells around a hole that must be wall
SECTORS = 12  # around a hole's middle
LEAST_FRAMED, LEAST_REVEALED = 9, 3  # of them that must hold wall and reveal: one station sees a reveal's far half
LEAST_REVEAL_POINTS = 6
RIM_MM = 10.0  # about the ring, where its reveal's points lie
AROUND_MM = (5.0, 25.0)  # beside the ring, where the wall's density is taken
CHANCE = 1e-6  # of so few points where the wall went on: some hundred holes are tried on a wall
RETURNS = 0.03  # of the wall's points per area that what lies behind a hollow may give: strays
GOES_ON = 0.5  # of the density of points beside a ring, from which on the wall goes on within
WITHIN_MM = 25.0
LEAST_RETURNS = 6  # points from behind that can tell a depth
STEP_MM = 3.0
BOARD_MM = 60.0
MOSTLY_WITHIN = 0.9


def with_holes(
    candidates: list[Candidate],
    evidence: Evidence,
    noise_mm: float,
    rays_behind: AnyArray,
    inside: Bools,
    floor_v: Floats,
) -> list[Candidate]:
    """Put whole holes in place of candidates that are the seen parts of them: most of a hole may have given no point.

    `candidates` is what `find_candidates` found, whose arguments the others are; noise_mm is the wall's.
    """
    strays = (evidence.kind == PROUD) & ~ndimage.binary_opening(evidence.seen == PROUD, np.ones((2, 2), dtype=bool))
    open_cells = (np.isin(evidence.kind, (EMPTY, BEHIND)) | strays) & inside
    if noise_mm > NOISY_MM:  # single points that noise brought up to the wall's surface part no hole
        open_cells = ndimage.binary_closing(open_cells, np.ones((3, 3), dtype=bool)) & inside
    # where points are sparse, cells without any are of the wall beside them: many together are none of it
    bare = np.isin(evidence.seen, (EMPTY, BEHIND)) & inside
    bare = ndimage.binary_opening(bare, np.ones((3, 3), dtype=bool)) | (bare & open_cells)
    bare &= noise_mm <= NOISY_MM
    holes = _holes(open_cells, evidence, rays_behind, floor_v)
    holes = _largest(holes + [one for one in _holes(bare, evidence, rays_behind, floor_v) if _surely(one, evidence)])
    taken = np.zeros(inside.shape, dtype=bool)
    for hole in holes:
        taken |= ndimage.binary_dilation(hole.cells, iterations=2)
    parts = [one.source == "behind" and bool(np.mean(taken[one.cells]) > MOSTLY_WITHIN) for one in candidates]
    return [one for one, part in zip(candidates, parts, strict=True) if not part] + holes


def _surely(hole: Candidate, evidence: Evidence) -> bool:
    """Whether so many cells without points are no chance where points lie as far apart as around them (Poisson)."""
    expected = (evidence.grid.cell_mm / evidence.spacing_mm[hole.cells]) ** 2
    return bool(expected.sum() > -np.log(CHANCE))


def _largest(holes: list[Candidate]) -> list[Candidate]:
    """Holes of which no other holds nearly all cells."""
    kept: list[Candidate] = []
    for hole in sorted(holes, key=lambda one: -int(one.cells.sum())):
        if all(np.mean(other.cells[hole.cells]) < MOSTLY_WITHIN for other in kept):
            kept.append(hole)
    return kept


def _holes(open_cells: Bools, evidence: Evidence, rays_behind: AnyArray, floor_v: Floats) -> list[Candidate]:
    """Connected cells without wall (rows, columns), small, framed by wall, and with points behind among them."""
    cell = evidence.grid.cell_mm
    labels, _ = ndimage.label(open_cells)
    u, v = cell_centres(evidence.grid)
    found = []
    for index, where in enumerate(ndimage.find_objects(labels)):
        rows, columns = where
        sides = np.array([rows.stop - rows.start, columns.stop - columns.start]) * cell
        if sides.min() < LEAST_HOLE_MM or sides.max() >= LEAST_SIDE_MM:
            continue
        window = (
            slice(max(rows.start - 3, 0), rows.stop + 3),
            slice(max(columns.start - 3, 0), columns.stop + 3),
        )
        own = labels[window] == index + 1
        behind = own & (evidence.kind[window] == BEHIND)
        if rays_behind[window][behind].sum() < LEAST_RAYS:
            continue
        rim = ndimage.binary_dilation(own, iterations=2) & ~own
        if np.mean(evidence.kind[window][rim] == WALL) < LEAST_FRAME:
            continue
        cells = np.zeros(open_cells.shape, dtype=bool)
        cells[window] = own
        half = cell / 2
        box = (
            float(u[columns.start] - half),
            float(v[rows.start] - half),
            float(u[columns.stop - 1] + half),
            float(v[rows.stop - 1] + half),
        )
        found.append(Candidate("behind", cells, box, 0.0, False, reaches_floor(cells, evidence, floor_v)))
    return found


def is_hollow(rays: LocalRays, ring: Floats, noise_mm: float) -> bool:
    """Whether a ring (n, 2) bounds a small hole in the wall that hardly a point came out of.

    `rays` are points of unknown station, at the wall's surface. The wall's density beside the ring says how many points
    there would be within if the wall went on; how unevenly it is strewn there counts as so many fewer independent ones.
    """
    if max(np.ptp(ring[:, 0]), np.ptp(ring[:, 1])) >= LEAST_SIDE_MM:
        return False
    places = np.column_stack([rays.a, rays.b])
    distance, sector = signed_distance(ring, places), _sectors(places, ring)
    blur = 3.0 * noise_mm
    front = rays.depth < max(blur, 3.0)
    quarter = 0.25 * float(min(np.ptp(ring[:, 0]), np.ptp(ring[:, 1])))
    margin, clear = min(max(3.0, 2.0 * noise_mm), quarter), min(RIM_MM + blur, quarter)
    reveal = ~front & (np.abs(distance) < RIM_MM + blur)
    shown = np.bincount(sector[reveal], minlength=SECTORS) > 0
    if reveal.sum() < LEAST_REVEAL_POINTS or shown.sum() < LEAST_REVEALED:
        return False
    low, high = AROUND_MM[0] + blur, AROUND_MM[1] + blur
    beside = front & (distance > low) & (distance < high)
    number = np.bincount(sector[beside], minlength=SECTORS)
    areas, core_area = _areas(ring, (low, high), margin)
    framed = number > 0
    if framed.sum() < LEAST_FRAMED:
        return False
    density = number[framed].sum() / areas[framed].sum()
    expected = density * areas[framed]
    uneven = max(float(np.sum((number[framed] - expected) ** 2 / expected) / (framed.sum() - 1)), 1.0)
    core = distance < -margin
    behind = int(((distance < -clear) & ~front).sum())
    within, wanted = int((core & front).sum()), density * core_area
    return bool(behind < max(RETURNS * wanted, LEAST_RETURNS) and pdtr(within / uneven, wanted / uneven) < CHANCE)


def goes_on(rays: LocalRays, distance: Floats, ring: Floats, noise_mm: float) -> bool:
    """Whether the wall's own points go on inside a ring as they do beside it: then what lies behind belongs elsewhere.

    `distance` (n,) is that of the points of unknown station from the ring, negative inside.
    """
    blur = 3.0 * noise_mm
    front = (rays.depth < max(blur, 3.0)) & (rays.depth > -max(blur, 3.0))
    shape, margin = Polygon(ring), AROUND_MM[0] + blur
    core = shape.buffer(-margin)
    areas = [
        core.area - core.buffer(-WITHIN_MM).area,
        shape.buffer(margin + WITHIN_MM).area - shape.buffer(margin).area,
    ]
    if min(areas) <= 0.0:
        return False
    within = (front & (distance < -margin) & (distance > -margin - WITHIN_MM)).sum() / areas[0]
    before = (rays.depth < max(blur, 3.0)) & (rays.depth > -BOARD_MM)  # beside the clear opening stand boards
    beside = (before & (distance > margin) & (distance < margin + WITHIN_MM)).sum() / areas[1]
    return bool(within > GOES_ON * beside)


def _sectors(places: Floats, ring: Floats) -> AnyArray:
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    angle = np.arctan2(places[:, 1] - middle[1], places[:, 0] - middle[0])
    return np.asarray(np.minimum(((angle / (2 * np.pi) + 0.5) * SECTORS).astype(int), SECTORS - 1))


def _areas(ring: Floats, beside: tuple[float, float], margin: float) -> tuple[Floats, float]:
    """Areas of the sectors (SECTORS,) of the band beside a ring, and of its core, mm2, by a fine raster."""
    low, high = ring.min(axis=0) - beside[1], ring.max(axis=0) + beside[1]
    a, b = np.meshgrid(np.arange(low[0], high[0], STEP_MM), np.arange(low[1], high[1], STEP_MM))
    places = np.column_stack([a.ravel(), b.ravel()])
    distance = signed_distance(ring, places)
    band = (distance > beside[0]) & (distance < beside[1])
    areas = np.bincount(_sectors(places[band], ring), minlength=SECTORS) * STEP_MM**2
    return areas.astype(float), float((distance < -margin).sum() * STEP_MM**2)
