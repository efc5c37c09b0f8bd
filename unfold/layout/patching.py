"""Where to fill and what to take down so that a wall keeps within a band: the plan for a patch.

A surface whose heights all lie within a band as wide as the tolerance shows no straightedge of any length a wider gap:
the edge rests on points of the band, and so does what it is held against. The shorter rule is kept by filling dents and
taking down bumps narrower than its straightedge.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.layout.result import PatchSpot
from unfold.layout.wall_face import box, polygon_list, ring_points
from unfold.layout.wall_heights import WallHeights

TAKE_DOWN_WEIGHT = 3.0  # grinding a litre off is worth filling three; common practice
LEAST_CORRECTION_MM = 0.3  # thinner than a trowel lays
SETTLING_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class PatchPlan:
    """What to add to (positive) and take off (negative) each measured cell, millimetres; NaN-free, (rows, columns)."""

    correction_mm: Floats

    @property
    def most_fill_mm(self) -> float:
        """Deepest fill."""
        return float(max(self.correction_mm.max(initial=0.0), 0.0))

    @property
    def most_take_down_mm(self) -> float:
        """Highest spot taken off."""
        return float(max(-self.correction_mm.min(initial=0.0), 0.0))

    def area_mm2(self, cell_mm: float) -> float:
        """Area that is worked on."""
        return float(np.count_nonzero(self.correction_mm)) * cell_mm**2


def plan_patch(heights: WallHeights, band_mm: float, local_band_mm: float | None, local_length_mm: float) -> PatchPlan:
    """Plan the least work that brings a wall within a band of `band_mm`, and short dents and bumps within another.

    `local_band_mm` holds over windows of `local_length_mm`; None when no shorter rule is in force.
    """
    known = heights.measured
    deviation = np.where(known, heights.height_mm - robust_plane(heights), np.nan)
    low = _cheapest_band(deviation[known], band_mm)
    correction = np.where(known, np.clip(deviation, low, low + band_mm) - deviation, 0.0)
    if local_band_mm is not None:
        cells = max(3, round(local_length_mm / heights.cell_mm) // 2 * 2 + 1)
        correction = correction + _local_correction(
            np.where(known, deviation + correction, np.nan), local_band_mm, cells
        )
    return PatchPlan(np.where(known & (np.abs(correction) >= LEAST_CORRECTION_MM), correction, 0.0))


def robust_plane(heights: WallHeights) -> Floats:
    """Fit a plane that dents and bumps pull little on (Tukey's biweight); its heights on the grid, (rows, columns)."""
    rows, columns = np.nonzero(heights.measured)
    step = max(1, len(rows) // 20000)
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
    exceeds = ndimage.maximum(amount, labels, index=np.arange(1, count + 1)) > band_mm
    belongs: Bools = np.r_[False, exceeds][labels]
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
