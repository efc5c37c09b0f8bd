"""The scatter of single points about a wall: of the whole wall, and from place to place."""

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Counts, Floats
from unfold.surface.blocks import block_sums

_BLOCK_CELLS = 5
_LEAST_BLOCKS = 15
_LEAST_FREEDOM = 12.0  # of a block, for its variance to count
_AROUND_CELLS = 15
_HALF_OF_NORMAL = 1.349  # standard deviations that the middle half of a normal distribution spans
_HELD_FREEDOM = 200.0  # how firmly the whole wall's scatter holds that of a place


def point_noise(count: Counts, total: Floats, squares: Floats) -> float | None:
    """1-sigma scatter of single points about the surface, mm, from their scatter within each cell.

    Cells (rows, columns) hold a count, a sum and a sum of squares of heights. The scatter is pooled over blocks of
    cells, and blocks with far more than the usual one (steps, mixed points) are left out. Where the points are too
    sparse for that, cells are taken together. None when they are sparser still.
    """
    for ratio in (1, 2, 4, 8):
        sums = [block_sums(table, ratio) for table in (count, total, squares)] if ratio > 1 else [count, total, squares]
        found = _pooled(*_within_cells(*sums))
        if found is not None:
            return found
    return None


def _pooled(within: Floats, freedom: Floats) -> float | None:
    square, freedom = block_sums(within, _BLOCK_CELLS).ravel(), block_sums(freedom, _BLOCK_CELLS).ravel()
    kept = freedom >= _LEAST_FREEDOM
    if kept.sum() < _LEAST_BLOCKS:
        return None
    variance, freedom = square[kept] / freedom[kept], freedom[kept]
    usual = variance <= 4.0 * np.median(variance)
    return float(np.sqrt(np.average(variance[usual], weights=freedom[usual])))


def cell_spread(count: Counts, total: Floats) -> float:
    """Spread of the cells' mean heights, mm: that of the shortest half of them, so that a door leaf a little behind the
    wall does not count (Rousseeuw 1984, Least median of squares regression, JASA 79).
    """
    means = np.sort(total[count > 0] / count[count > 0])
    half = len(means) // 2
    return float((means[half:] - means[: len(means) - half]).min() / _HALF_OF_NORMAL) if half else 0.0


def local_noise(count: Counts, total: Floats, squares: Floats, inside: Bools, usual_mm: float) -> Floats:
    """Scatter of single points from place to place, mm, (rows, columns): with range and incidence it differs over a
    wall.

    It is pooled over a square of some cells and drawn toward the wall's usual scatter where the points are few.
    """
    within, freedom = _within_cells(np.where(inside, count, 0).astype(np.uint32), total, squares)
    square = ndimage.uniform_filter(within, _AROUND_CELLS, mode="constant") * _AROUND_CELLS**2
    degrees = ndimage.uniform_filter(freedom, _AROUND_CELLS, mode="constant") * _AROUND_CELLS**2
    variance = (square + _HELD_FREEDOM * usual_mm**2) / (np.maximum(degrees, 0.0) + _HELD_FREEDOM)
    return np.asarray(np.sqrt(np.maximum(variance, (0.3 * usual_mm) ** 2)))


def _within_cells(count: Counts | Floats, total: Floats, squares: Floats) -> tuple[Floats, Floats]:
    """Sum of squares about each cell's mean, and its degrees of freedom."""
    n = count.astype(float)
    within = np.where(n >= 2, np.maximum(squares - total * total / np.maximum(n, 1.0), 0.0), 0.0)
    return within, np.maximum(n - 1.0, 0.0)
