"""Figures of one wall from its height map: lean, bows, flatness, the straightedge of every rule, and the verdicts."""

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.quantity import Quantity, Verdict, combine, decide, worst_verdict
from unfold.room.frame import WallFrame
from unfold.surface.blocks import block_sums, coarser
from unfold.surface.height_map import HeightMap, SurfacePosterior
from unfold.surface.reference_planes import least_squares_plane, low_order, minimum_zone_plane
from unfold.surface.result import Grid, Straightedge
from unfold.surface.shared_error import SharedError
from unfold.surface.straightedge import HeightField, Worst, coarse_step_mm, worst_straightedge, worst_through
from unfold.surface.tolerance import Rule
from unfold.surface.wall_cells import disk

EXAMPLES = 32
_LOW_ORDER_STEP_MM = 50.0
_LEAST_FIELD_SHARE = 0.2
_RIM_REACH_CELLS = 4
_TEMPLATE_RAD = 0.25 * np.pi  # a longer one is laid shorter
_MOST_SPOTS = 12


@dataclass(frozen=True, slots=True)
class BlockMap:
    """The height map on cells a whole number of times larger, and how to draw examples of it."""

    field: HeightField
    u_mm: Floats  # centres of columns
    v_mm: Floats
    detail_mm: Floats
    detail_error_mm: Floats
    posterior: SurfacePosterior

    def examples(self, count: int = EXAMPLES) -> Floats:
        """Examples of what the wall may be, (count, rows, columns)."""
        noise = np.random.default_rng(8).standard_normal((count, *self.detail_mm.shape)) * self.detail_error_mm
        return self.posterior.draw(count, self.u_mm, self.v_mm, seed=7) + self.detail_mm + noise


def block_map(grid: Grid, heights: HeightMap, is_wall: Bools, step_mm: float) -> BlockMap:
    """Condense the height map to cells of `step_mm`, a whole number of the grid's cells."""
    ratio = round(step_mm / grid.cell_mm)
    blocks = coarser(grid, ratio)
    inside = block_sums(is_wall, ratio)
    detail = block_sums(np.where(is_wall, heights.detail_mm, 0.0), ratio) / np.maximum(inside, 1.0)
    u, v = blocks.u_mm, blocks.v_mm
    field = HeightField(heights.posterior.heights(u, v) + detail, inside >= 0.5 * ratio * ratio, blocks.cell_mm)
    variance = block_sums(np.where(is_wall, heights.detail_variance_mm2, 0.0), ratio) / np.maximum(inside, 1.0)
    return BlockMap(field, u, v, detail, np.sqrt(variance), heights.posterior)


@dataclass(frozen=True, slots=True)
class LowOrderFigures:
    lean_mm_per_m: Quantity
    bow_horizontal_mm: Quantity | None
    bow_vertical_mm: Quantity


def low_order_figures(
    blocks: BlockMap, frame: WallFrame, error: SharedError, extent: tuple[float, float]
) -> LowOrderFigures | None:
    """Lean and bows with their standard uncertainties; None when the measured wall is too small for them.

    `extent` is the measured width and height, mm, which the bows span.
    """
    i, j = np.nonzero(blocks.field.valid)
    if len(i) < 12 or np.ptp(i) < 2 or np.ptp(j) < 2:
        return None
    maps = low_order(blocks.u_mm[j], blocks.v_mm[i], extent)
    best, examples = blocks.field.height_mm[i, j], blocks.examples()[:, i, j]
    level = frame.inward * np.array([1.0, 1.0, 0.0])
    lean_of_frame = 1000.0 * float(frame.up @ level) / float(np.linalg.norm(level) * frame.up[2])

    def quantity(map_: Floats, *parts: float, base: float = 0.0) -> Quantity:
        return Quantity(base + float(map_ @ best), combine([float((examples @ map_).std(ddof=1)), *parts]))

    height_m = max(float(np.ptp(blocks.v_mm[i])) / 1000.0, 0.1)
    bow_error = (error.shape_mm, error.model_mm)
    return LowOrderFigures(
        quantity(
            maps.lean,
            error.plumb_mm_per_m,
            np.sqrt(2.0) * error.shape_mm / height_m,
            error.patch_mm / height_m,
            base=lean_of_frame,
        ),
        quantity(maps.bow_horizontal, *bow_error) if frame.radius_m is None else None,
        quantity(maps.bow_vertical, *bow_error),
    )


def flatness_mm(grid: Grid, height_mm: Floats, is_wall: Bools) -> tuple[float, float] | None:
    """Peak-to-valley flatness about the least-squares and the minimum-zone plane (ISO 12781-1)."""
    i, j = np.nonzero(is_wall)
    if len(i) < 4:
        return None
    u, v, z = grid.u_mm[j], grid.v_mm[i], height_mm[i, j]
    return least_squares_plane(u, v, z).flatness, minimum_zone_plane(u, v, z).flatness


@dataclass(frozen=True, slots=True)
class Laid:
    """What a straightedge is laid on: the wall's own cells, and their rim up to its edges."""

    grid: Grid
    heights: HeightMap
    on: Bools  # (rows, columns)
    places: Floats  # (n, 2) x and y, in cells, of what is too small for a coarse search
    place_errors_mm: Floats  # (n,)
    place_reaches: Floats  # (n,) cells around each that it covers
    round: Floats | None  # (5,) of a curved wall: what makes its own cylinder of the room's
    radius_mm: float | None
    doubtful: HeightField  # the same with what may be a lump or a thing on the wall
    doubtful_places: Floats  # (n, 2)

    def error_under(self, worst: Worst) -> float:
        """The greatest standard error of the lumps and other detail that a straightedge lies on, mm."""
        if not len(self.places):
            return 0.0
        along = np.array([np.cos(worst.angle_rad), np.sin(worst.angle_rad)])
        off = self.places - (worst.x, worst.y)
        aside = np.abs(off @ np.array([-along[1], along[0]]))
        half = 0.5 * worst.length_mm / self.grid.cell_mm
        met = (aside <= self.place_reaches) & (np.abs(off @ along) <= half + self.place_reaches)
        return float(self.place_errors_mm[met].max(initial=0.0))


def laid_on(
    grid: Grid,
    heights: HeightMap,
    is_wall: Bools,
    seen: Bools,
    apart: Bools,
    doubtful_mm: Floats,
    radius_mm: float | None,
) -> Laid:
    """Prepare a wall for its straightedges.

    `seen` are cells within the wall's edges where its surface was hit, some of them too near a rim for their heights
    to be trusted: there the surface carries on. `apart` are things on the wall; `doubtful_mm` (rows, columns) the
    heights of areas that may be things or lumps, NaN elsewhere.
    """
    near = ndimage.binary_dilation(is_wall, disk(_RIM_REACH_CELLS))
    on = is_wall | (near & seen & ~apart)
    u, v = grid.u_mm, grid.v_mm
    lumps = heights.posterior.lumps
    spots = [((lump.u_mm - u[0]) / grid.cell_mm, (lump.v_mm - v[0]) / grid.cell_mm) for lump in lumps]
    errors = [lump.standard_uncertainty_mm for lump in lumps]
    reaches = [0.35 * lump.across_mm / grid.cell_mm for lump in lumps]  # where it is a fifth as high and more
    left = np.abs(np.where(is_wall, heights.detail_mm, 0.0))
    for _ in range(_MOST_SPOTS):
        i, j = np.unravel_index(int(np.argmax(left)), left.shape)
        if left[i, j] <= 0.0:
            break
        spots.append((float(j), float(i)))
        errors.append(float(np.sqrt(heights.detail_variance_mm2[i, j])))
        reaches.append(1.0)
        left[max(i - 5, 0) : i + 6, max(j - 5, 0) : j + 6] = 0.0
    doubtful = np.isfinite(doubtful_mm)
    areas, number = ndimage.label(doubtful, np.ones((3, 3)))
    middles = ndimage.center_of_mass(doubtful, areas, np.arange(1, number + 1)) if number else []
    own = None if radius_mm is None else _own_cylinder(grid, heights.filled_mm, is_wall, radius_mm)
    field = HeightField(np.where(doubtful, doubtful_mm, heights.filled_mm), on | doubtful, grid.cell_mm)
    return Laid(
        grid,
        heights,
        on,
        np.array(spots).reshape(-1, 2),
        np.array(errors),
        np.array(reaches),
        own,
        radius_mm,
        field,
        np.array(middles).reshape(-1, 2)[:, ::-1],
    )


def _own_cylinder(grid: Grid, height_mm: Floats, is_wall: Bools, radius_mm: float) -> Floats:
    """Least-squares cylinder of a curved wall (ISO 12180-1, LSCY), as heights over the room's: see `_cylinder`."""
    i, j = np.nonzero(is_wall)
    table = _cylinder(grid.u_mm[j], grid.v_mm[i], radius_mm)
    return np.asarray(np.linalg.lstsq(table, height_mm[i, j], rcond=None)[0])


def _cylinder(u_mm: Floats, v_mm: Floats, radius_mm: float) -> Floats:
    """How heights change with a cylinder's radius, place and lean, (n, 5), where those change little."""
    turn = u_mm / radius_mm
    up = v_mm / 1000.0
    return np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn), up * np.cos(turn), up * np.sin(turn)], axis=1)


def straightedge(
    rule: Rule, laid: Laid, error: SharedError, field_share: float
) -> tuple[Straightedge, dict[str, float]]:
    """Lay the straightedge of a rule everywhere on the wall; the second result holds the parts of its standard
    uncertainty.

    On a curved wall it is laid along the axis, and a template of the wall's own radius around it, of the rule's length
    and no more than 45 degrees (common practice, no published source); the worse of the two counts. No wall is
    acquitted of which less than a fifth was seen (`field_share`).
    """
    if laid.radius_mm is None:
        ways = [_lay(rule, laid, error, None, rule.length_mm)]
    else:
        around = min(rule.length_mm, _TEMPLATE_RAD * laid.radius_mm)
        ways = [_lay(rule, laid, error, 0.5 * np.pi, rule.length_mm), _lay(rule, laid, error, 0.0, around)]
    edge, parts = max(ways, key=lambda way: -1.0 if way[0].worst is None else way[0].worst.value)
    verdict = worst_verdict(way.verdict for way, _ in ways)
    if verdict == "conforms" and field_share < _LEAST_FIELD_SHARE:
        verdict = "cannot be decided"
    return replace(edge, verdict=verdict), parts


def _lay(
    rule: Rule, laid: Laid, error: SharedError, angle: float | None, length_mm: float
) -> tuple[Straightedge, dict[str, float]]:
    """Lay a straightedge in all directions, or at one angle only."""
    grid = laid.grid
    angles = None if angle is None else np.array([angle])
    blocks = block_map(grid, laid.heights, laid.on, coarse_step_mm(length_mm, grid.cell_mm))
    field, fine, off = blocks.field, laid.heights.filled_mm, np.zeros(1)
    if laid.round is not None and laid.radius_mm is not None:
        off = _on_grid(laid.round, blocks.u_mm, blocks.v_mm, laid.radius_mm)
        field = replace(field, height_mm=field.height_mm - off)
        fine = fine - _on_grid(laid.round, grid.u_mm, grid.v_mm, laid.radius_mm)
    found = worst_straightedge(
        field,
        HeightField(fine, laid.on, grid.cell_mm),
        lambda: blocks.examples() - off,
        length_mm,
        rule.limit_mm,
        angles,
        laid.places,
        np.where(laid.on, np.sqrt(laid.heights.detail_variance_mm2), 0.0),
    )
    if found is None:
        return Straightedge(
            rule.id, rule.length_mm, rule.limit_mm, None, None, None, None, None, None, "cannot be decided"
        ), {}
    quantity, worst = found
    parts = {"point_noise": quantity.standard_uncertainty} | error.of_straightedge(length_mm)
    under = laid.error_under(worst)
    if under:
        parts["point_noise"] = combine([quantity.standard_uncertainty, under])
    if angle == 0.0 and laid.radius_mm is not None:
        # heights are unrolled: a template's own are longer by the cosine of half its angle
        parts["template"] = quantity.value * (1.0 / np.cos(0.5 * length_mm / laid.radius_mm) - 1.0)
    total = Quantity(quantity.value, combine(parts.values()))
    verdict: Verdict = decide(total.value, total.standard_uncertainty, rule.limit_mm)
    more = _doubtful_mm(laid, length_mm, angles) - total.value
    if more > total.standard_uncertainty:
        # with it or without it: the middle, and half their distance
        parts["lump or thing"] = 0.5 * more
        total = Quantity(total.value + 0.5 * more, combine(parts.values()))
        if verdict == "conforms":
            verdict = decide(total.value, total.standard_uncertainty, rule.limit_mm)
    share = float((worst.over & blocks.field.valid).sum() / max(blocks.field.valid.sum(), 1))
    return Straightedge(
        rule.id,
        rule.length_mm,
        rule.limit_mm,
        total,
        grid.u0_mm + grid.cell_mm * worst.x,
        grid.v0_mm + grid.cell_mm * worst.y,
        float(np.degrees(worst.angle_rad)) % 180.0,
        worst.length_mm,
        share,
        verdict,
        laid.radius_mm if angle == 0.0 else None,
    ), parts


def _on_grid(cylinder: Floats, u_mm: Floats, v_mm: Floats, radius_mm: float) -> Floats:
    u, v = np.meshgrid(u_mm, v_mm)
    return np.asarray((_cylinder(u.ravel(), v.ravel(), radius_mm) @ cylinder).reshape(u.shape))


def _doubtful_mm(laid: Laid, length_mm: float, angles: Floats | None) -> float:
    """What the straightedge would show if what is doubtful on the wall were the wall itself."""
    if not len(laid.doubtful_places):
        return 0.0
    return worst_through(laid.doubtful, laid.doubtful_places, length_mm, angles)
