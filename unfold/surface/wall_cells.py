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

from unfold.arrays import Bools, Counts, Floats
from unfold.surface.blocks import counts_around, sums_around
from unfold.surface.rays import WallSums
from unfold.surface.rims import Extent, Rims, clear_cells, field, find_rims, grown, share_along

_FAR_SHARE = 0.3
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
_MEASURED_AROUND = 0.6  # share of the ring around a lump
_LEAST_PATCH_CELLS = 20
_EXTENT_SLACK_MM = 60.0
_SQUARE = np.ones((2, 2), bool)


@dataclass(frozen=True, slots=True)
class WallCells:
    """The wall's own cells and the sums to take for them; arrays (rows, columns)."""

    is_wall: Bools
    count: Counts  # the wall's own points; 0 elsewhere
    height_sum: Floats  # mm, of heights over the coarse surface
    things: int  # areas left out as standing on the wall or let into it
    apart: Bools  # those areas, and the doubtful ones
    doubtful_mm: Floats  # heights over the coarse surface of areas that may be either; NaN elsewhere
    clear: Bools  # cells of the wall away from what makes mixed points
    to_edges: bool  # the wall is told from what is beside it within a cell


def own_cells(sums: WallSums, noise_mm: float, width_mm: float, bottom_mm: float, top_mm: float) -> WallCells:
    """Decide which cells of a wall's raster show its own surface."""
    through = sums.through - sums.lost
    half = _half_window(sums.hit)
    extent = Extent(width_mm, bottom_mm, top_mm)
    rims = find_rims(sums, through, half, noise_mm, extent)
    wide = field(sums.grid, extent, _EXTENT_SLACK_MM)
    sheet, spread = _sheet(sums, through, noise_mm, half, rims.told)
    clear = clear_cells(sums, rims, sheet, half)
    apart = _tell_apart(sums, sheet & wide, clear, rims, spread, noise_mm)
    things, lumps = apart.things, apart.lumps
    reach = max(1, round(2.5 * noise_mm / sums.grid.cell_mm))
    foreign = rims.foreign & ~lumps
    near_foreign = grown(foreign, reach) if reach > 1 else foreign
    own = (sums.hit > 0) & ~rims.rim & ~near_foreign & wide & ~things & ~(rims.several & rims.told)
    own = own & ~rims.crossed | lumps & (sums.near > 0) & ~things
    count = np.where(lumps, sums.near, sums.hit)
    total = np.where(lumps, sums.near_sum, sums.hit_sum)
    is_wall = _without_specks(_closed(own, np.where(own, count, 0), rims.rim | things, wide))
    return WallCells(
        is_wall,
        np.where(is_wall, count, 0).astype(np.uint32),
        np.where(is_wall, total, 0.0),
        apart.number,
        apart.things,
        apart.doubtful_mm,
        is_wall & clear,
        rims.to_edges,
    )


def _half_window(hit: Counts) -> int:
    """How many cells to either side to look for a few points: the usual spacing of the wall's points, in cells."""
    tiles = counts_around(hit, 11)
    dense = tiles[(hit > 0) & (tiles > 0)]
    if not len(dense):
        return 1
    return int(np.clip(round(11.0 / np.sqrt(np.median(dense))), 1, 5))


def _sheet(sums: WallSums, through: Counts, noise_mm: float, half: int, told: Bools) -> tuple[Bools, int]:
    """Cells whose rays ended on the wall or on something flat on it, and over how many cells to average there.

    `told` are cells where what is beside the wall is told from it within a cell.
    """
    behind_near = np.maximum(sums.near.astype(np.int64) - sums.hit - sums.front, 0)
    far = np.maximum(sums.proud - sums.front.astype(np.int64), 0) + np.maximum(sums.recess - behind_near, 0) + through
    beside, rays = counts_around(far, 2 * half + 1), counts_around(sums.near, 2 * half + 1)
    flat = beside <= _FAR_SHARE * (beside + rays)
    if told.any():
        flat = np.where(told, share_along(far, sums.near, half) <= _FAR_SHARE, flat)
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


def _tell_apart(sums: WallSums, sheet: Bools, clear: Bools, rims: Rims, spread: int, noise_mm: float) -> _Apart:
    """Tell things on the wall from lumps of it; `clear` cells are away from what makes mixed points."""
    weight = np.where(sheet, sums.near, 0)
    # at a rim that is told within a cell, the points of a side face would lift the averages of the cells beside it too
    alone, beside = rims.several, rims.told & ~rims.several
    near, total = (
        np.where(beside, around(np.where(alone, 0, table), spread), around(table, spread))
        for around, table in ((counts_around, weight), (sums_around, np.where(sheet, sums.near_sum, 0.0)))
    )
    off = np.where(near > 0.5, total / np.maximum(near, 0.5), 0.0) * (sheet if spread == 1 else 1.0)
    # noise that hangs together over more than a cell shows in how far the averages themselves scatter
    spread_mm = float(np.diff(np.quantile(off[sheet], [0.16, 0.84]))[0]) / 2 if sheet.any() else 0.0
    level = np.maximum(max(_STEP_MM, 3.0 * spread_mm), 4.0 * noise_mm / np.sqrt(np.maximum(near, 0.5)))
    things, lumps = np.zeros(sheet.shape, bool), np.zeros(sheet.shape, bool)
    doubtful = np.full(sheet.shape, np.nan)
    number = 0
    for sign in (1.0, -1.0):
        high = sign * off > level
        # by themselves: at an edge the wall's own would hang together with the neighbour's points
        for window, area in _areas(high & rims.several):
            if area.sum() >= _LEAST_OBJECT_CELLS:
                things[window] |= area | ndimage.binary_dilation(area, disk(1 + spread // 2)) & ~rims.told[window]
        for window, area in _areas(high & ~rims.several):
            if area.sum() < _LEAST_OBJECT_CELLS:
                continue
            height = sign * off[window]
            if _is_smooth(area, height, sign * sums.near_sum[window], weight[window], rims.within[window]):
                lumps[window] |= area
                continue
            things[window] |= ndimage.binary_dilation(area, disk(1 + spread // 2))
            raw = sign * sums.near_sum[window] / np.maximum(weight[window], 1)
            steady = noise_mm / np.sqrt(max(float(np.median(weight[window][area])), 1.0)) < _STEADY * height[area].max()
            shown = (raw, 0) if steady else (height, spread - 1)
            if height[area].max() > _MOST_DOUBTFUL_MM or _is_fitting(area, shown[0], clear[window], shown[1]):
                number += 1
            elif ndimage.binary_opening(area & clear[window], _SQUARE).any():  # mixed points lie in a line
                doubtful[window][area] = off[window][area]
    return _Apart(things, lumps & ~things, doubtful, number)


def _areas(high: Bools) -> Iterator[tuple[tuple[slice, ...], Bools]]:
    """Areas that hang together: a window with some cells around each, and its cells in that."""
    areas, _ = ndimage.label(ndimage.binary_closing(high, disk(1)) | high, np.ones((3, 3)))
    for k, found in enumerate(ndimage.find_objects(areas), start=1):
        window = tuple(slice(max(side.start - 5, 0), side.stop + 5) for side in found)
        yield window, (areas[window] == k) & high[window]


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
    density = near / np.maximum(counts_around(grown(own, 2), 11), 1.0)
    spacing = 1.0 / np.sqrt(np.maximum(density, 1e-3))  # in cells
    result = own.copy()
    usable = field & (cells > 0)
    for radius in (1, 2, 4, 6):
        here = usable & (1.2 * spacing > radius - 0.5) & ~result if radius > 1 else usable & ~result
        if not here.any():
            break
        barrier = grown(foreign, radius) if radius > 1 else foreign
        result |= ~grown(~grown(own, radius), radius) & here & ~barrier
    return result
