"""Which cells show the wall's own surface: no casing, plate, skirting, pipe, furniture, rim of an opening, or glass.

Two kinds of evidence. Rays: a cell where a good share of the rays ended before or behind the surface is no wall, nor
are its neighbours, whose points are partly mixed ones. Steps: an area that stands off the coarse surface is a thing
on the wall (or let into it) where it shows what fittings have: a sharp edge, a flat top, some thickness. One that
rises smoothly is the wall itself, however high. What shows neither is doubtful: it may be a lump of plaster, and no
wall is cleared before that is known.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.stats import chi2

from unfold.arrays import AnyArray, Bools, Counts, Floats
from unfold.surface.blocks import counts_around, sums_around
from unfold.surface.rays import WallSums

_RIM_SHARE = 0.2  # of a cell's and its neighbours' rays
_FAR_SHARE = 0.3
_SHADOW_SHARE = 0.15  # of the points around, in what is no more than stray ones
_FEW_SHARE = 0.05
_STOPPED_SHARE = 0.3  # of the rays toward a place, ended before the wall: it lies in the shadow of something
_STEP_MM = 2.5  # smaller steps are the wall's own
_SHARP = 0.6  # share of an area's height that it reaches within its edge
_LEAST_OBJECT_CELLS = 4
_LEAST_LUMP_CELLS = 30
_LEAST_THICK_MM = 4.0  # of cover plates, trims and boards; from memory
_MOST_DOUBTFUL_MM = 15.0  # what is higher or deeper behind an edge is no plaster; from memory
_FLAT_TOP = 0.55  # of what is half as high as an area, the share that is 0.8 times as high or more
_EDGE_CELLS = 1.3  # over which a sharp edge rises from 0.2 to 0.8 of its height
_STEADY = 0.12  # of an area's height, the scatter of its cells' means that still shows its edge
_MOST_HALF_WIDTH = 12.5  # cells; of skirting, casings and plates
_RECTANGLE = 0.88  # share of its own box that a picture or a board fills
_RIM_CELLS = 3
_MEASURED_AROUND = 0.6  # share of the ring around a lump
_LEAST_PATCH_CELLS = 20
_EXTENT_SLACK_MM = 60.0
_CORNER_MM = 30.0  # from a side, within which a surface that stands out from the wall ends it
_REACH_SIGMAS = 3.0
_MIXED_CELLS = 1  # beside a jump of the distance, as far as a grazing beam's footprint reaches
_RISE_MM = 0.5  # within a cell, of a lump's side
_ALONG_CELLS = 5
_CORNER_SLACK_MM = 2.0
_STANDS_OUT = 2.0  # usual counts of a cell


@dataclass(frozen=True, slots=True)
class WallCells:
    """The wall's own cells and the sums to take for them; arrays (rows, columns)."""

    is_wall: Bools
    count: Counts  # the wall's own points; 0 elsewhere
    height_sum: Floats  # mm, of heights over the coarse surface
    things: int  # areas left out as standing on the wall or let into it
    apart: Bools  # those areas, and the doubtful ones
    doubtful_mm: Floats  # heights over the coarse surface of areas that may be either; NaN elsewhere
    inner: Bools  # cells of the wall away from what makes mixed points


def own_cells(sums: WallSums, noise_mm: float, width_mm: float, bottom_mm: float, top_mm: float) -> WallCells:
    """Decide which cells of a wall's raster show its own surface."""
    through = sums.through - sums.lost
    half = _half_window(sums.hit)
    other = sums.proud + sums.recess + through
    beside, rays = counts_around(other, 2 * half + 1), counts_around(sums.hit, 2 * half + 1)
    corner = _in_corners(sums, through, width_mm, bottom_mm, top_mm)
    carried = round(_REACH_SIGMAS * noise_mm / sums.grid.cell_mm)  # cells that noise carries a point
    rim = beside > _RIM_SHARE * (beside + rays)
    foreign = beside > 0.5 * (beside + rays)
    # what begins at a corner shows at any height: few of its points pass for the wall's, and none a cell away
    told = corner | _ends(sums, through, half) if carried == 0 else np.zeros_like(corner)
    if told.any():
        share = _share_along(other, sums.hit, half)
        rim = np.where(told, share > _RIM_SHARE, rim)
        foreign = np.where(told, share > 0.5, foreign)
    field = _field(sums, width_mm, bottom_mm, top_mm, _EXTENT_SLACK_MM)
    sheet, spread = _sheet(sums, through, noise_mm, half, told)
    # where something stands before the wall its shadows have edges, and mixed points beside them
    met, stopped = counts_around(sums.near, 2 * half + 1), counts_around(sums.blocked, 2 * half + 1)
    usual = sums_around(sums.near, 11) * ((2 * half + 1) / 11.0) ** 2
    shadow = (met < _SHADOW_SHARE * usual + 0.5) | (stopped > _STOPPED_SHARE * (stopped + met))
    outside = ~_field(sums, width_mm, bottom_mm, top_mm, 0.0)
    # at a blunt corner what begins there does not stand out at once: cells that reach over the corner are left out
    over = np.abs(sums.grid.u_mm - width_mm / 2) > (width_mm - sums.grid.cell_mm) / 2 - _CORNER_SLACK_MM
    crossed = told & over[None, :]
    several = _several_surfaces(sums, noise_mm) & _grown(rim | outside, 1)
    broken = (rim & ~sheet | outside) & ~(corner | told)
    clear = ~_grown(shadow & ~(corner | told), _MIXED_CELLS + half) & ~_grown(broken, _MIXED_CELLS)
    clear &= ~_grown(several | foreign & ~sheet, carried) & ~crossed
    apart = _tell_apart(sums, sheet & field, clear, several, told, ~(outside | several), spread, noise_mm)
    things, lumps = apart.things, apart.lumps
    foreign &= ~lumps
    reach = max(1, round(2.5 * noise_mm / sums.grid.cell_mm))
    near_foreign = _grown(foreign, reach) if reach > 1 else foreign
    own = (sums.hit > 0) & ~rim & ~near_foreign & field & ~things & ~(several & (corner | told)) & ~crossed
    own |= lumps & (sums.near > 0) & ~things
    count = np.where(lumps, sums.near, sums.hit)
    total = np.where(lumps, sums.near_sum, sums.hit_sum)
    is_wall = _without_specks(_closed(own, np.where(own, count, 0), rim | things, field))
    return WallCells(
        is_wall,
        np.where(is_wall, count, 0).astype(np.uint32),
        np.where(is_wall, total, 0.0),
        apart.number,
        apart.things,
        apart.doubtful_mm,
        is_wall & clear,
    )


def _half_window(hit: Counts) -> int:
    """How many cells to either side to look for a few points: the usual spacing of the wall's points, in cells."""
    tiles = counts_around(hit, 11)
    dense = tiles[(hit > 0) & (tiles > 0)]
    if not len(dense):
        return 1
    return int(np.clip(round(11.0 / np.sqrt(np.median(dense))), 1, 5))


def _share_along(other: AnyArray, hit: Counts, half: int) -> Floats:
    """Share of other rays in a stretch of the row or the column of each cell, the smaller: one lies along a side."""
    shares = []
    for window in ((_ALONG_CELLS * half, 2 * half - 1), (2 * half - 1, _ALONG_CELLS * half)):
        besides, hits = (
            ndimage.uniform_filter(table.astype(np.float64), window, mode="constant") for table in (other, hit)
        )
        shares.append(besides / np.maximum(besides + hits, 1e-9))
    return np.minimum(*shares)


def _field(sums: WallSums, width_mm: float, bottom_mm: float, top_mm: float, slack_mm: float) -> Bools:
    """The wall's rough extent with some slack."""
    grid = sums.grid
    u, v = grid.u_mm, grid.v_mm
    across = (u >= -slack_mm) & (u <= width_mm + slack_mm)
    up = (v >= bottom_mm - slack_mm) & (v <= top_mm + slack_mm)
    return up[:, None] & across[None, :]


def _several_surfaces(sums: WallSums, noise_mm: float) -> Bools:
    """Cells whose points scatter so much that they lie on more than one surface."""
    n = sums.near.astype(float)
    within = np.where(n >= 2, np.maximum(sums.near_squares - sums.near_sum**2 / np.maximum(n, 1.0), 0.0), 0.0)
    freedom = np.maximum(n - 1.0, 0.0)
    allowed = _allowed_squares(int(freedom.max(initial=1.0)))[freedom.astype(int)]
    return np.asarray((freedom > 0) & (within > allowed * (noise_mm**2 + _RISE_MM**2)))


def _allowed_squares(most: int) -> Floats:
    """The sum of squares that chance passes in one cell of a thousand, for 0 to `most` degrees of freedom; at least
    twice the usual.
    """
    freedom = np.arange(most + 1)
    return np.asarray(np.maximum(chi2.ppf(0.999, np.maximum(freedom, 1)), 2.0 * freedom))


def _in_corners(sums: WallSums, through: Counts, width_mm: float, bottom_mm: float, top_mm: float) -> Bools:
    """Cells beside and beyond those sides at which another surface begins: inside corners, floor and ceiling.

    There the distance from the scanner does not jump, so there are no mixed points: a side is one of these where many
    rays ended just before the wall along it, on what stands out from it, and hardly any behind it.
    """
    found = np.zeros(sums.hit.shape, bool)
    before, behind = sums.proud.astype(float), (sums.recess + through).astype(float)
    usual = float(np.median(sums.hit[sums.hit > 0])) if (sums.hit > 0).any() else 1.0
    u, v = sums.grid.u_mm, sums.grid.v_mm
    for side, beside in ((u, u <= _CORNER_MM), (u, u >= width_mm - _CORNER_MM)):
        strip = beside & (side >= -_CORNER_MM) & (side <= width_mm + _CORNER_MM)
        found |= _meets(before[:, strip].sum(axis=1), behind[:, strip].sum(axis=1), usual)[:, None] & beside[None, :]
    for side, beside in ((v, v <= bottom_mm + _CORNER_MM), (v, v >= top_mm - _CORNER_MM)):
        strip = beside & (side >= bottom_mm - _CORNER_MM) & (side <= top_mm + _CORNER_MM)
        found |= _meets(before[strip].sum(axis=0), behind[strip].sum(axis=0), usual)[None, :] & beside[:, None]
    return found


def _ends(sums: WallSums, through: Counts, half: int) -> Bools:
    """Cells about the edges beyond which rays went on behind the wall, with nothing before it near by.

    Points that a beam split between the wall and what is farther back are spread over all that depth: few of them pass
    for the wall's.
    """
    behind, before = (counts_around(table, 2 * half + 1) for table in (sums.recess + through, sums.proud))
    rays = counts_around(sums.hit, 2 * half + 1)
    stopped = counts_around(sums.blocked, 2 * half + 1)
    back = behind > _RIM_SHARE * (behind + rays)
    front = (before > _FEW_SHARE * (behind + before + rays)) | (stopped > _STOPPED_SHARE * (stopped + rays))
    return _grown(back, half + 2) & ~_grown(front, half + 1)


def _meets(before: Floats, behind: Floats, usual: float) -> Bools:
    """Where along a side another surface stands out from the wall; `usual` is the usual count of a cell."""
    before, behind = (ndimage.uniform_filter1d(count, 5, mode="nearest") for count in (before, behind))
    return np.asarray((before >= _STANDS_OUT * usual) & (behind <= _RIM_SHARE * before))


def _sheet(
    sums: WallSums, through: Counts, noise_mm: float, half: int, told: Bools
) -> tuple[Bools, int]:
    """Cells whose rays ended on the wall or on something flat on it, and over how many cells to average there.

    `told` are cells where what is beside the wall is told from it within a cell.
    """
    behind_near = np.maximum(sums.near.astype(np.int64) - sums.hit - sums.front, 0)
    far = np.maximum(sums.proud - sums.front.astype(np.int64), 0) + np.maximum(sums.recess - behind_near, 0) + through
    beside, rays = counts_around(far, 2 * half + 1), counts_around(sums.near, 2 * half + 1)
    flat = beside <= _FAR_SHARE * (beside + rays)
    if told.any():
        flat = np.where(told, _share_along(far, sums.near, half) <= _FAR_SHARE, flat)
    sheet = (sums.near > 0) & flat
    density = float(sums.near[sheet].mean()) if sheet.any() else 1.0
    spread = int(np.ceil(noise_mm / (0.5 * np.sqrt(density))))
    return sheet, min(max(spread | 1, 2 * half + 1 if half > 1 else 1), 11)


@dataclass(frozen=True, slots=True)
class _Apart:
    """Areas off the coarse surface; arrays (rows, columns)."""

    things: Bools  # not wall: things, and what is doubtful
    lumps: Bools  # of the wall itself
    doubtful_mm: Floats
    number: int  # of things


def _tell_apart(
    sums: WallSums,
    sheet: Bools,
    clear: Bools,
    several: Bools,
    told: Bools,
    within: Bools,
    spread: int,
    noise_mm: float,
) -> _Apart:
    """Tell things on the wall from lumps of it.

    `clear` cells are away from what makes mixed points; of the surfaces of those with `several` one is beside the
    wall, and reaches into the next cell unless it is `told` from the wall; what a lump has all around it is looked for
    `within` the wall's edges.
    """
    weight = np.where(sheet, sums.near, 0)
    near = counts_around(weight, spread)
    total = sums_around(np.where(sheet, sums.near_sum, 0.0), spread)
    off = np.where(near > 0.5, total / np.maximum(near, 0.5), 0.0) * (sheet if spread == 1 else 1.0)
    # noise that hangs together over more than a cell shows in how far the averages themselves scatter
    spread_mm = float(np.diff(np.quantile(off[sheet], [0.16, 0.84]))[0]) / 2 if sheet.any() else 0.0
    level = np.maximum(max(_STEP_MM, 3.0 * spread_mm), 4.0 * noise_mm / np.sqrt(np.maximum(near, 0.5)))
    things, lumps = np.zeros(sheet.shape, bool), np.zeros(sheet.shape, bool)
    doubtful = np.full(sheet.shape, np.nan)
    number = 0
    for sign in (1.0, -1.0):
        high = sign * off > level
        # apart from those: at an edge the wall's own would hang together with the neighbour's points
        for grown, area in _areas(high & several):
            if area.sum() >= _LEAST_OBJECT_CELLS:
                things[grown] |= area | ndimage.binary_dilation(area, disk(1 + spread // 2)) & ~told[grown]
        for grown, area in _areas(high & ~several):
            if area.sum() < _LEAST_OBJECT_CELLS:
                continue
            height = sign * off[grown]
            if _is_smooth(area, height, sign * sums.near_sum[grown], weight[grown], within[grown]):
                lumps[grown] |= area
                continue
            things[grown] |= ndimage.binary_dilation(area, disk(1 + spread // 2))
            raw = sign * sums.near_sum[grown] / np.maximum(weight[grown], 1)
            steady = noise_mm / np.sqrt(max(float(np.median(weight[grown][area])), 1.0)) < _STEADY * height[area].max()
            shown = (raw, 0) if steady else (height, spread - 1)
            if height[area].max() > _MOST_DOUBTFUL_MM or _is_fitting(area, shown[0], clear[grown], shown[1]):
                number += 1
            elif ndimage.binary_opening(area & clear[grown], np.ones((2, 2), bool)).any():  # mixed points lie in a line
                doubtful[grown][area] = off[grown][area]
    return _Apart(things, lumps & ~things, doubtful, number)


def _areas(high: Bools) -> Iterator[tuple[tuple[slice, ...], Bools]]:
    """Areas that hang together: a window with some cells around each, and its cells in that."""
    areas, _ = ndimage.label(ndimage.binary_closing(high, disk(1)) | high, np.ones((3, 3)))
    for k, window in enumerate(ndimage.find_objects(areas), start=1):
        grown = tuple(slice(max(side.start - 5, 0), side.stop + 5) for side in window)
        yield grown, (areas[grown] == k) & high[grown]


def _is_fitting(area: Bools, height: Floats, inner: Bools, blur: int) -> bool:
    """Does an area show what fittings have: thickness, a flat top behind a sharp edge, and no more than their width?

    `blur` is over how many cells more than one the heights were averaged.
    """
    peak = float(np.quantile(height[area], 0.8))
    half = ndimage.binary_fill_holes(area & (height > 0.5 * peak))
    if peak < _LEAST_THICK_MM or half.sum() < _LEAST_LUMP_CELLS:
        return False
    if (half & (height > 0.8 * peak)).sum() < _FLAT_TOP * half.sum():
        return False
    around = ndimage.binary_dilation(half, disk(4))
    edge = (around & (height > 0.2 * peak)).sum() - (around & (height > 0.8 * peak)).sum()
    length = (half & ~ndimage.binary_erosion(half)).sum()
    if edge > (_EDGE_CELLS + blur) * length:
        return False
    if ndimage.distance_transform_edt(np.pad(half, 1)).max() <= _MOST_HALF_WIDTH:
        return True
    rows, columns = np.nonzero(half.any(axis=1))[0], np.nonzero(half.any(axis=0))[0]
    box = (rows[-1] - rows[0] + 1) * (columns[-1] - columns[0] + 1)
    return bool(half.sum() > _RECTANGLE * box and inner[half].all())


def _is_smooth(area: Bools, off: Floats, total: Floats, count: Counts, within: Bools) -> bool:
    """Does an area rise gently: less than _SHARP of its height within two cells on either side of where it is half as
    high?

    To be taken for the wall's own it must be large enough to show that, and measured nearly all around, as far as the
    wall goes on `within` its edges.
    """
    peak = float(np.quantile(off[area], 0.8))
    high = area & (off > 0.5 * peak)
    inner = high & ~ndimage.binary_erosion(high, disk(2), border_value=1)
    ring = ndimage.binary_dilation(high, disk(2)) & ~high & within
    outer = ring & (count > 0)
    if not outer.any() or outer.sum() < _MEASURED_AROUND * ring.sum():
        return False
    below = float(total[outer].sum() / count[outer].sum())
    if below >= 0.6 * peak:
        return True  # all around it is nearly as high: there is no edge
    if area.sum() < _LEAST_LUMP_CELLS:
        return False
    jump = total[inner].sum() / max(count[inner].sum(), 1) - below
    return bool(jump < _SHARP * peak)


def disk(radius: int) -> Bools:
    """Give a round neighbourhood of `radius` cells, for growing and shrinking areas."""
    i, j = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    return np.asarray(i * i + j * j <= radius * radius + 1)


def _grown(area: Bools, radius: int) -> Bools:
    """Grow an area by a square of `radius` cells; separable, so much faster than a disk."""
    return np.asarray(ndimage.maximum_filter(area.view(np.uint8), 2 * radius + 1, mode="nearest") > 0)


def _without_specks(own: Bools) -> Bools:
    areas, number = ndimage.label(own, np.ones((3, 3)))
    if number == 0:
        return own
    size = np.bincount(areas.ravel(), minlength=number + 1)
    size[0] = 0
    return size[areas] >= min(_LEAST_PATCH_CELLS, int(size.max()))


def _closed(own: Bools, count: Counts, foreign: Bools, field: Bools) -> Bools:
    """Close what lies between neighbouring points: holes of the scan's own spacing, not gaps in what was seen.

    The spacing is that of the points around, so a sparse corner is closed wider than a dense middle.
    """
    near, cells = counts_around(count, 11), counts_around(own | (count > 0), 11)
    density = near / np.maximum(counts_around(_grown(own, 2), 11), 1.0)
    spacing = 1.0 / np.sqrt(np.maximum(density, 1e-3))  # in cells
    result = own.copy()
    usable = field & (cells > 0)
    for radius in (1, 2, 4, 6):
        here = usable & (1.2 * spacing > radius - 0.5) & ~result if radius > 1 else usable & ~result
        if not here.any():
            break
        barrier = _grown(foreign, radius) if radius > 1 else foreign
        result |= ~_grown(~_grown(own, radius), radius) & here & ~barrier
    return result
