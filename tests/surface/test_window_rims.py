"""The wall around a window whose reveal gave points: plain wall up to the last cells, also where points are sparse."""

import numpy as np
import pytest

from unfold.surface.rays import WallSums
from unfold.surface.result import Grid
from unfold.surface.wall_cells import own_cells

NOISE_MM = 0.9
HEAD_ROW = 90  # the first row of wall over the window's head


def wall_over_a_window(points_in_a_cell: float) -> WallSums:
    """A flat wall of 1.6 m square; below HEAD_ROW a window, of whose head's underside points lie 1 to 25 mm deep."""
    random = np.random.default_rng(7)
    shape = (160, 160)
    rays = random.poisson(points_in_a_cell, shape)
    wall = (np.arange(shape[0]) >= HEAD_ROW)[:, None] & np.ones(shape, dtype=bool)
    hit, recess = np.where(wall, rays, 0), np.where(wall, 0, rays)
    noise = random.normal(0.0, NOISE_MM, shape)
    near, near_sum, near_squares = hit.copy(), hit * noise / np.sqrt(np.maximum(hit, 1)), hit * NOISE_MM**2
    deep = random.uniform(-25.0, -1.0, (8, shape[1]))  # their last points share the wall's first row of cells
    near[HEAD_ROW] += len(deep)
    near_sum[HEAD_ROW] += deep.sum(axis=0)
    near_squares = near_squares + np.where(np.arange(shape[0])[:, None] == HEAD_ROW, (deep**2).sum(axis=0), 0.0)
    none, empty = np.zeros(shape, np.uint32), np.zeros(shape)
    counts = [table.astype(np.uint32) for table in (hit, recess)]
    return WallSums(
        grid=Grid(5.0, 5.0, 10.0, *shape),
        coarse_mm=empty,
        band_mm=4.5,
        hit=counts[0],
        recess=counts[1],
        through=none,
        proud=none,
        blocked=none,
        lost=none,
        near=near.astype(np.uint32),
        front=none,
        depth_sum=recess * 150.0,
        hit_sum=near_sum * wall,
        hit_squares=near_squares,
        near_sum=near_sum,
        near_squares=near_squares,
        by_station=np.zeros((0, *shape), np.uint16),
        tiles=np.zeros((1, 16, 16, 3)),
    )


@pytest.mark.parametrize("points_in_a_cell", [2.4, 5.0])
def test_points_of_a_reveal_take_no_more_than_a_cells_width_off_the_wall(points_in_a_cell: float) -> None:
    own = own_cells(wall_over_a_window(points_in_a_cell), NOISE_MM, 1600.0, 0.0, 1600.0)
    inside = own.is_wall[:, 20:140]
    assert inside[HEAD_ROW + 1 : HEAD_ROW + 4].mean() > 0.9  # some cells hold no point
    assert not inside[:HEAD_ROW].any()
