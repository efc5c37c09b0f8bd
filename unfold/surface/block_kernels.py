"""Compiled loops over rasters: sums of square blocks, and rasters taken out of a table of cells."""

from unfold.arrays import AnyArray, Floats
from unfold.compiled import compiled


@compiled
def add_blocks(table: AnyArray, ratio: int, sums: Floats) -> None:
    """Add each cell of a table to the sum of its block of `ratio` x `ratio` cells."""
    for i in range(table.shape[0]):
        row = i // ratio
        for column in range(sums.shape[1]):
            total = 0.0
            for j in range(column * ratio, min((column + 1) * ratio, table.shape[1])):
                total += table[i, j]
            sums[row, column] += total


@compiled
def take_rasters(cells: AnyArray, rasters: AnyArray) -> None:
    """Take rasters (k, rows, columns) out of a table of cells (columns * rows, k), where columns follow each other.

    Some columns at once: what was read of a cell's neighbour in the next row is still at hand then.
    """
    many, rows, columns = rasters.shape
    for first in range(0, columns, 16):
        for i in range(rows):
            for j in range(first, min(first + 16, columns)):
                for k in range(many):
                    rasters[k, i, j] = cells[j * rows + i, k]
