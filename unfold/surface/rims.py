"""Rims of a wall's raster: where points of something else lie beside the wall's own, and where they may be mixed ones.

A beam that splits at a jump of the distance gives a point somewhere between. Where another surface begins at an inside
corner, at floor and ceiling the distance does not jump; where rays went on far behind, split points are spread over all
that depth. There the wall is told from what is beside it within a cell; elsewhere its rim is left alone.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import ndimage
from scipy.special import gammaincinv

from unfold.arrays import AnyArray, Bools, Counts, Floats
from unfold.surface.blocks import counts_around, sums_around
from unfold.surface.rays import WallSums
from unfold.surface.result import Grid

RIM_SHARE = 0.2  # of a cell's and its neighbours' rays
_FOREIGN_SHARE = 0.5
_SHADOW_SHARE = 0.15  # of the points around, in what is no more than stray ones
_FEW_SHARE = 0.05
_STOPPED_SHARE = 0.3  # of the rays toward a place, ended before the wall: it lies in the shadow of something
_REACH_SIGMAS = 3.0
_MIXED_CELLS, _MIXED_COARSE = 1, 3  # beside a jump of the distance; where nothing is told within a cell
_RISE_MM = 0.5  # within a cell, of a lump's side
_CORNER_MM = 30.0  # from a side, within which a surface that stands out from the wall ends it
_CORNER_SLACK_MM = 2.0
_ALONG_CELLS = 5
_DENSE = 2  # points in a cell
_CROWDED, _AROUND_CELLS = 3.0, 15  # times the counts of the wall's own cells around
_STANDS_OUT = 2.0  # usual counts of a cell


class Extent(NamedTuple):
    """A wall's rough extent, from u = 0 on."""

    width_mm: float
    bottom_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True)
class Rims:
    """What lies beside the wall; arrays (rows, columns)."""

    rim: Bools  # a good share of the rays ended before or behind the surface
    foreign: Bools  # most of them did
    told: Bools  # where what is beside the wall is told from it within a cell
    outside: Bools  # beyond the rough extent
    several: Bools  # near a rim, and their points lie on more than one surface
    crossed: Bools  # they reach over the corner
    carried: int  # cells that noise carries a point
    to_edges: bool  # the points are dense and quiet enough for anything to be told

    @property
    def within(self) -> Bools:
        """Cells where a lump must show what is around it: not beyond edges that can be told within a cell."""
        return ~(self.outside | self.several) if self.to_edges else np.ones_like(self.outside)


def find_rims(sums: WallSums, through: Counts, half: int, noise_mm: float, extent: Extent) -> Rims:
    """Find what lies beside a wall, looking `half` cells to either side for a few points.

    `through` are rays that went through the wall and met something.
    """
    other = sums.proud + sums.recess + through
    beside, rays = counts_around(other, 2 * half + 1), counts_around(sums.hit, 2 * half + 1)
    rim, foreign = beside > RIM_SHARE * (beside + rays), beside > _FOREIGN_SHARE * (beside + rays)
    crowded = _crowded(sums, half, extent)
    rim, foreign = rim | crowded, foreign | crowded
    corner = _in_corners(sums, through, extent)
    carried = round(_REACH_SIGMAS * noise_mm / sums.grid.cell_mm)
    dense = half == 1 and bool((sums.near > 0).any()) and np.median(sums.near[sums.near > 0]) >= _DENSE
    to_edges = bool(carried == 0 and dense)
    corner &= to_edges
    told = corner | _ends(sums, through, half) if to_edges else corner
    if to_edges:
        # what begins at a corner shows at any height: few of its points pass for the wall's, and none a cell away
        share = share_along(other, sums.hit, half)
        rim, foreign = np.where(told, share > RIM_SHARE, rim), np.where(told, share > _FOREIGN_SHARE, foreign)
    outside = ~field(sums.grid, extent, 0.0)
    # at a blunt corner what begins there does not stand out at once
    off = np.abs(sums.grid.u_mm - extent.width_mm / 2)
    over = off > (extent.width_mm - sums.grid.cell_mm) / 2 - _CORNER_SLACK_MM
    several = _several_surfaces(sums, noise_mm) & grown(rim | outside, 1)
    return Rims(rim, foreign, told, outside, several, told & over[None, :], carried, to_edges)


def clear_cells(sums: WallSums, rims: Rims, sheet: Bools, half: int) -> Bools:
    """Cells away from mixed points and from what noise carries over; `sheet` are those that show something flat."""
    # where something stands before the wall its shadows have edges, and mixed points beside them
    met, stopped = counts_around(sums.near, 2 * half + 1), counts_around(sums.blocked, 2 * half + 1)
    usual = sums_around(sums.near, 11) * ((2 * half + 1) / 11.0) ** 2
    shadow = (met < _SHADOW_SHARE * usual + 0.5) | (stopped > _STOPPED_SHARE * (stopped + met))
    broken = rims.rim & ~sheet | rims.outside
    mixed = _MIXED_CELLS if rims.to_edges else _MIXED_COARSE
    clear = ~grown(shadow & ~rims.told, mixed + half) & ~grown(broken & ~rims.told, mixed)
    return np.asarray(clear & ~grown(rims.several | rims.foreign & ~sheet, rims.carried) & ~rims.crossed)


def field(grid: Grid, extent: Extent, slack_mm: float) -> Bools:
    """A wall's rough extent with some slack."""
    across = (grid.u_mm >= -slack_mm) & (grid.u_mm <= extent.width_mm + slack_mm)
    up = (grid.v_mm >= extent.bottom_mm - slack_mm) & (grid.v_mm <= extent.top_mm + slack_mm)
    return up[:, None] & across[None, :]


def grown(area: Bools, radius: int) -> Bools:
    """Grow an area by a square of `radius` cells; separable, so much faster than a disk."""
    return np.asarray(ndimage.maximum_filter(area.view(np.uint8), 2 * radius + 1, mode="nearest") > 0)


def share_along(other: AnyArray, hit: Counts, half: int) -> Floats:
    """Share of other rays in a stretch of the row or the column of each cell, the smaller: one lies along a side."""
    shares = []
    for window in ((_ALONG_CELLS * half, 2 * half - 1), (2 * half - 1, _ALONG_CELLS * half)):
        besides, hits = (
            ndimage.uniform_filter(table.astype(np.float64), window, mode="constant") for table in (other, hit)
        )
        shares.append(besides / np.maximum(besides + hits, 1e-9))
    return np.minimum(*shares)


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
    # chi-squared with k degrees of freedom is a gamma of shape k / 2 and scale 2; scipy.stats takes 0.3 s to load
    return np.asarray(np.maximum(2.0 * gammaincinv(np.maximum(freedom, 1) / 2.0, 0.999), 2.0 * freedom))


def _in_corners(sums: WallSums, through: Counts, extent: Extent) -> Bools:
    """Cells beside and beyond those sides at which another surface begins: inside corners, floor and ceiling.

    A side is one of these where many rays ended just before the wall along it, on what stands out from it, and hardly
    any behind it.
    """
    found = np.zeros(sums.hit.shape, bool)
    before, behind = sums.proud.astype(float), (sums.recess + through).astype(float)
    usual = float(np.median(sums.hit[sums.hit > 0])) if (sums.hit > 0).any() else 1.0
    u, v = sums.grid.u_mm, sums.grid.v_mm
    for end in (-u, u - extent.width_mm):
        beside, strip = end >= -_CORNER_MM, np.abs(end) <= _CORNER_MM
        found |= _meets(before[:, strip].sum(axis=1), behind[:, strip].sum(axis=1), usual)[:, None] & beside[None, :]
    for end in (extent.bottom_mm - v, v - extent.top_mm):
        beside, strip = end >= -_CORNER_MM, np.abs(end) <= _CORNER_MM
        found |= _meets(before[strip].sum(axis=0), behind[strip].sum(axis=0), usual)[None, :] & beside[:, None]
    return found


def _crowded(sums: WallSums, half: int, extent: Extent) -> Bools:
    """Cells at a wall's sides that hold many times the points beside them: a surface across it, seen edge-on here."""
    window = 2 * half + 1
    inner = field(sums.grid, extent, -min(_CORNER_MM, extent.width_mm / 4)) & (counts_around(sums.near, window) > 0)
    cells = counts_around(inner, _AROUND_CELLS)
    usual = counts_around(np.where(inner, sums.near, 0), _AROUND_CELLS) / np.maximum(cells, 1.0)
    along = _ALONG_CELLS * half  # they lie in a line along the side
    many = np.zeros(sums.near.shape, bool)
    for size in ((along, 1), (1, along)):
        found = ndimage.uniform_filter(sums.near.astype(float), size, mode="constant")
        many |= (found > _CROWDED * usual) & (cells >= _ALONG_CELLS**2)
    return np.asarray(many & field(sums.grid, extent, _CORNER_MM) & ~field(sums.grid, extent, -_CORNER_MM))


def _meets(before: Floats, behind: Floats, usual: float) -> Bools:
    """Where along a side another surface stands out from the wall; `usual` is the usual count of a cell."""
    before, behind = (ndimage.uniform_filter1d(count, 5, mode="nearest") for count in (before, behind))
    return np.asarray((before >= _STANDS_OUT * usual) & (behind <= RIM_SHARE * before))


def _ends(sums: WallSums, through: Counts, half: int) -> Bools:
    """Cells about the edges beyond which rays went on behind the wall, with nothing before it near by."""
    behind, before = (counts_around(table, 2 * half + 1) for table in (sums.recess + through, sums.proud))
    rays = counts_around(sums.hit, 2 * half + 1)
    stopped = counts_around(sums.blocked, 2 * half + 1)
    back = behind > RIM_SHARE * (behind + rays)
    front = (before > _FEW_SHARE * (behind + before + rays)) | (stopped > _STOPPED_SHARE * (stopped + rays))
    return grown(back, half + 2) & ~grown(front, half + 1)
