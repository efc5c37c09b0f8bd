"""Where to fill and what to take down so that a wall keeps within a band: the plan for a patch.

A surface whose heights all lie within a band as wide as the tolerance shows no straightedge of any length a wider gap:
the edge rests on points of the band, and so does what it is held against. The shorter rule is kept by filling dents and
taking down bumps narrower than its straightedge.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.layout.result import PatchSpot
from unfold.layout.wall_face import box, polygon_list, ring_points
from unfold.layout.wall_heights import WallHeights
from unfold.surface.straightedge import HeightField, coarse_step_mm, search

TAKE_DOWN_WEIGHT = 3.0  # grinding a litre off is worth filling three; common practice
LEAST_CORRECTION_MM = 0.3  # thinner than a trowel lays
SETTLING_ROUNDS = 12
LONG_EDGE_MM = 1500.0  # a shorter straightedge asks for local filling, a longer one for a band over the whole wall
BAND_SHARES = (1.0, 0.75, 0.5, 0.3)
PROOF_STEP_MM = 20.0
PROOF_SHARE = 0.9  # of a limit: the proof is made on blocks, and single cells show a little more


@dataclass(frozen=True, slots=True)
class PatchPlan:
    """What to add to (positive) and take off (negative) each measured cell, millimetres; NaN-free, (rows, columns)."""

    correction_mm: Floats
    proved: bool  # the straightedge rules hold on the patched wall

    @property
    def most_fill_mm(self) -> float:
        """Deepest fill."""
        return float(max(self.correction_mm.max(initial=0.0), 0.0))

    @property
    def most_take_down_mm(self) -> float:
        """Highest spot taken off."""
        return float(max(-self.correction_mm.min(initial=0.0), 0.0))

    def share_of(self, heights: WallHeights) -> float:
        """Share of the measured face that is worked on."""
        return float(np.count_nonzero(self.correction_mm)) / max(int(heights.measured.sum()), 1)


@dataclass(frozen=True, slots=True)
class EdgeRule:
    """What a straightedge of a length may show on the patched wall."""

    length_mm: float
    limit_mm: float


@dataclass(frozen=True, slots=True)
class PatchLimits:
    """How much patching is worth while."""

    most_fill_mm: float
    most_take_down_mm: float
    most_share: float

    def allow(self, plan: PatchPlan, heights: WallHeights) -> bool:
        """Tell whether a plan keeps within the limits."""
        fills = plan.most_fill_mm <= self.most_fill_mm and plan.most_take_down_mm <= self.most_take_down_mm
        return fills and plan.share_of(heights) <= self.most_share


def plan_patch(heights: WallHeights, most_range_mm: float, rules: Sequence[EdgeRule], limits: PatchLimits) -> PatchPlan:
    """Plan the least work after which a wall keeps within a range of heights and its straightedge rules.

    The plan is proved by laying each straightedge everywhere on the patched heights; where one still shows too much,
    the bands are narrowed and the plan made again, as long as it keeps within the limits. The last plan is returned.
    """
    plane = robust_plane(heights)
    for share in BAND_SHARES:
        plan = _plan_with(heights, plane, most_range_mm, rules, share)
        if not limits.allow(plan, heights):
            return plan
        if keeps_rules(heights.corrected(plan.correction_mm), plane, rules):
            return replace(plan, proved=True)
    return plan


def keeps_rules(heights: WallHeights, plane_mm: Floats, rules: Sequence[EdgeRule]) -> bool:
    """Tell whether each straightedge, laid anywhere on some heights, clearly keeps its limit."""
    for rule in rules:
        step = coarse_step_mm(rule.length_mm, heights.cell_mm)
        field = _coarse(heights, plane_mm, step if rule.length_mm >= LONG_EDGE_MM else min(step, PROOF_STEP_MM))
        if min(field.valid.shape) < 2:
            continue
        windows, _ = search(field, rule.length_mm, rule.limit_mm)
        if len(windows) and windows[0, 0] > PROOF_SHARE * rule.limit_mm:
            return False
    return True


def _coarse(heights: WallHeights, plane_mm: Floats, step_mm: float) -> HeightField:
    """Heights averaged over square blocks, filled with the plane where nothing is known."""
    ratio = max(1, round(step_mm / heights.cell_mm))
    rows, columns = (size // ratio for size in heights.height_mm.shape)
    cut = np.s_[: rows * ratio, : columns * ratio]
    blocks = (rows, ratio, columns, ratio)
    known = heights.measured[cut].reshape(blocks).sum(axis=(1, 3))
    total = np.nan_to_num(heights.height_mm[cut]).reshape(blocks).sum(axis=(1, 3))
    plane = plane_mm[cut].reshape(blocks).mean(axis=(1, 3))
    valid = known * 2 >= ratio * ratio
    return HeightField(np.where(valid, total / np.maximum(known, 1), plane), valid, ratio * heights.cell_mm)


def _plan_with(
    heights: WallHeights, plane_mm: Floats, most_range_mm: float, rules: Sequence[EdgeRule], share: float
) -> PatchPlan:
    """Bring the wall within the narrowest band that is asked for, then fill and take down what is narrower."""
    known = heights.measured
    band = min([most_range_mm, *(share * rule.limit_mm for rule in rules if rule.length_mm >= LONG_EDGE_MM)])
    deviation = np.where(known, heights.height_mm - plane_mm, np.nan)
    low = _cheapest_band(deviation[known], band)
    correction = np.where(known, np.clip(deviation, low, low + band) - deviation, 0.0)
    for rule in rules:
        if rule.length_mm < LONG_EDGE_MM:
            cells = max(3, round(rule.length_mm / heights.cell_mm) // 2 * 2 + 1)
            left = np.where(known, deviation + correction, np.nan)
            correction = correction + _local_correction(left, share * rule.limit_mm, cells)
    return PatchPlan(np.where(known & (np.abs(correction) >= LEAST_CORRECTION_MM), correction, 0.0), not rules)


def robust_plane(heights: WallHeights) -> Floats:
    """Fit a plane that dents and bumps pull little on (Tukey's biweight); its heights on the grid, (rows, columns)."""
    rows, columns = np.nonzero(heights.measured)
    step = max(1, len(rows) // 4000)
    rows, columns = rows[::step], columns[::step]
    design = np.stack([np.ones(len(rows)), heights.u_mm[columns] / 1000.0, heights.v_mm[rows] / 1000.0], axis=1)
    values, weights = heights.height_mm[rows, columns], np.ones(len(rows))
    plane = np.zeros(3)
    for _ in range(SETTLING_ROUNDS):
        root = np.sqrt(weights)[:, None]
        plane = np.linalg.lstsq(design * root, values * root[:, 0], rcond=None)[0]
        residual = values - design @ plane
        scale = max(1.4826 * float(np.median(np.abs(residual))), 1e-3)
        weights = np.maximum(1.0 - (residual / (4.685 * scale)) ** 2, 0.0) ** 2
    at: Floats = plane[0] + plane[1] * heights.u_mm[None, :] / 1000.0 + plane[2] * heights.v_mm[:, None] / 1000.0
    return at


def _cheapest_band(deviation: Floats, band_mm: float) -> float:
    """The lower limit of the band that asks for the least filling and taking down."""
    counts, edges = np.histogram(deviation, bins=max(10, int(np.ptp(deviation) / 0.05)))
    centres = (edges[:-1] + edges[1:]) / 2.0
    lows = np.unique(np.clip(np.linspace(edges[0], max(edges[-1] - band_mm, edges[0]), 101), edges[0], None))
    fill = np.maximum(lows[:, None] - centres, 0.0) @ counts
    take = np.maximum(centres - lows[:, None] - band_mm, 0.0) @ counts
    return float(lows[np.argmin(fill + TAKE_DOWN_WEIGHT * take)])


def _local_correction(height: Floats, band_mm: float, cells: int) -> Floats:
    """Fill dents and take down bumps that stand out over windows of `cells` by more than the band."""
    known = np.isfinite(height)
    over, under = np.where(known, height, -np.inf), np.where(known, height, np.inf)
    closed = ndimage.minimum_filter(
        _filled(ndimage.maximum_filter(over, cells), known, np.inf), cells, mode="constant", cval=np.inf
    )
    opened = ndimage.maximum_filter(
        _filled(ndimage.minimum_filter(under, cells), known, -np.inf), cells, mode="constant", cval=-np.inf
    )
    dent, bump = np.where(known, closed - height, 0.0), np.where(known, height - opened, 0.0)
    # Half of the band is left to the wall's own waves.
    fill = np.where(_belongs_to_excess(dent, band_mm), np.maximum(dent - band_mm / 2.0, 0.0), 0.0)
    take = np.where(_belongs_to_excess(bump, band_mm), np.maximum(bump - band_mm / 2.0, 0.0), 0.0)
    correction: Floats = fill - take
    return correction


def _filled(height: Floats, known: Bools, neutral: float) -> Floats:
    filled: Floats = np.where(known & np.isfinite(height), height, neutral)
    return filled


def _belongs_to_excess(amount: Floats, band_mm: float) -> Bools:
    """Cells of spots that stand out by more than half the band, where the spot somewhere exceeds the band."""
    labels, count = ndimage.label(amount > band_mm / 2.0)
    if count == 0:
        return np.zeros(amount.shape, np.bool_)
    most = np.zeros(count + 1)
    np.maximum.at(most, labels.ravel(), amount.ravel())
    most[0] = 0.0
    belongs: Bools = (most > band_mm)[labels]
    return belongs


def patch_spots(heights: WallHeights, plan: PatchPlan) -> tuple[PatchSpot, ...]:
    """List each connected spot to fill or to take down, largest first."""
    spots: list[PatchSpot] = []
    for kind, amount in (("fill", plan.correction_mm), ("take_down", -plan.correction_mm)):
        labels, count = ndimage.label(amount > 0.0)
        for index, window in enumerate(ndimage.find_objects(labels), start=1):
            rows, columns = window
            cells = labels[rows, columns] == index
            depths = amount[rows, columns][cells]
            area = float(np.count_nonzero(cells)) * heights.cell_mm**2
            volume = float(depths.sum()) * heights.cell_mm**2 * 1e-6
            if area < (2.0 * heights.cell_mm) ** 2 and count > 1:
                continue
            ring = _outline(heights, cells, (rows, columns))
            spots.append(PatchSpot(kind, ring, area, volume, float(depths.max())))  # type: ignore[arg-type]
    return tuple(sorted(spots, key=lambda spot: -spot.volume_litres))


def _outline(heights: WallHeights, cells: Bools, window: tuple[slice, slice]) -> Floats:
    """The outer ring round some cells, as the cells' squares give it."""
    half = heights.cell_mm / 2.0
    v, u = heights.v_mm[window[0]], heights.u_mm[window[1]]
    runs = []
    for row, filled in enumerate(cells):
        steps = np.flatnonzero(np.diff(np.r_[0, filled.astype(np.int8), 0]))
        for first, last in zip(steps[::2], steps[1::2] - 1, strict=True):
            runs.append(box(u[first] - half, v[row] - half, u[last] + half, v[row] + half))
    shape = max(polygon_list(shapely.union_all(runs)), key=lambda polygon: polygon.area)
    return ring_points(shapely.simplify(shape, half).exterior)
