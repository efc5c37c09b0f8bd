"""Cells of a raster taken together: in square blocks, or in the square around each."""

import numpy as np
from scipy import ndimage

from unfold.arrays import AnyArray, Floats
from unfold.surface.block_kernels import add_blocks
from unfold.surface.result import Grid


def coarser(grid: Grid, ratio: int) -> Grid:
    """Give the grid of blocks of `ratio` x `ratio` cells; blocks on the far sides may reach beyond the raster."""
    shift = grid.cell_mm * (ratio - 1) / 2
    rows, columns = -(-grid.rows // ratio), -(-grid.columns // ratio)
    return Grid(grid.u0_mm + shift, grid.v0_mm + shift, ratio * grid.cell_mm, rows, columns)


def block_sums(table: AnyArray, ratio: int) -> Floats:
    """Sum a table (rows, columns) over the blocks of `coarser`."""
    sums = np.zeros([-(-side // ratio) for side in table.shape])
    add_blocks(np.ascontiguousarray(table), ratio, sums)
    return sums


def sums_around(table: AnyArray, cells: int) -> Floats:
    """Sum over the square of `cells` x `cells` around each cell; beyond the raster there is nothing."""
    mean = ndimage.uniform_filter(table.astype(np.float64), cells, mode="constant")
    return np.asarray(mean * (cells * cells))


def counts_around(table: AnyArray, cells: int) -> Floats:
    """As `sums_around` for whole numbers, exactly: what the running sums leave of rounding would pass for a count."""
    return np.asarray(np.rint(sums_around(table, cells)))
