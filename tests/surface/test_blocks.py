"""Sums over blocks of a raster against plain NumPy."""

import numpy as np
import pytest

from unfold.arrays import AnyArray
from unfold.surface.block_kernels import take_rasters
from unfold.surface.blocks import block_sums


@pytest.mark.parametrize("kind", [np.float64, np.uint32, np.bool_])
@pytest.mark.parametrize("ratio", [1, 2, 5, 40])
def test_block_sums_are_those_of_numpy(kind: type, ratio: int) -> None:
    table: AnyArray = (np.random.default_rng(1).random((23, 31)) * 3).astype(kind)
    rows, columns = -(-23 // ratio), -(-31 // ratio)
    padded = np.zeros((rows * ratio, columns * ratio))
    padded[:23, :31] = table
    expected = padded.reshape(rows, ratio, columns, ratio).sum(axis=(1, 3))
    assert block_sums(table, ratio) == pytest.approx(expected, rel=1e-14)
    assert block_sums(table.T, ratio) == pytest.approx(expected.T, rel=1e-14)


@pytest.mark.parametrize("kind", [np.uint32, np.float64])
def test_rasters_are_taken_out_of_cells_that_follow_each_other_up_the_columns(kind: type) -> None:
    rows, columns = 7, 37  # more than is taken at once, and no whole number of that
    cells: AnyArray = np.arange(rows * columns * 3).reshape(-1, 3).astype(kind)
    rasters: AnyArray = np.zeros((3, rows, columns), kind)
    take_rasters(cells, rasters)
    np.testing.assert_array_equal(rasters, cells.reshape(columns, rows, 3).transpose(2, 1, 0))
