"""The compiled loop over a raster's square blocks."""

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
