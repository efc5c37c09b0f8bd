"""The scatter of single points about a wall."""

import numpy as np

from unfold.arrays import AnyArray, Counts, Floats

_BLOCK_CELLS = 5
_LEAST_FREEDOM = 12.0  # of a block, for its variance to count


def point_noise(count: Counts, total: Floats, squares: Floats, inside: AnyArray | None = None) -> float | None:
    """1-sigma scatter of single points about the surface, mm, from their scatter within each cell.

    Cells (rows, columns) hold a count, a sum and a sum of squares of heights. The scatter is pooled over blocks of
    cells, and blocks with far more than the usual one (steps, mixed points) are left out. None when the points are
    too sparse for that.
    """
    n = count.astype(float) if inside is None else np.where(inside, count, 0).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        within = np.where(n >= 2, squares - total * total / n, 0.0)
    freedom = np.maximum(n - 1.0, 0.0)
    rows, columns = (side // _BLOCK_CELLS * _BLOCK_CELLS for side in n.shape)
    blocks = (rows // _BLOCK_CELLS, _BLOCK_CELLS, columns // _BLOCK_CELLS, _BLOCK_CELLS)
    square = within[:rows, :columns].reshape(blocks).sum(axis=(1, 3)).ravel()
    freedom = freedom[:rows, :columns].reshape(blocks).sum(axis=(1, 3)).ravel()
    kept = freedom >= _LEAST_FREEDOM
    if kept.sum() < 20:
        return None
    variance, freedom = square[kept] / freedom[kept], freedom[kept]
    usual = variance <= 4.0 * np.median(variance)
    return float(np.sqrt(np.average(variance[usual], weights=freedom[usual])))
