"""Folding points into cells, and the local planes: against plain NumPy and certified values."""

import numpy as np
import pytest

from unfold.arrays import Floats, Ints
from unfold.room import kernels
from unfold.room.cells import CellGrid, CellMoments, fit_local_planes, point_spacing_m
from unfold.scan.result import Chunk

RANDOM = np.random.default_rng(11)


def folded(pieces: list[Floats], edge: float = 0.1, most: int = 100_000) -> CellMoments:
    grid = CellGrid(edge, most)
    for station, piece in enumerate(pieces):
        grid.fold(Chunk(station, np.ascontiguousarray(piece, np.float32), np.empty((0, 3), np.float32)))
    return grid.moments()


def plainly(points: Floats, edge: float) -> dict[tuple[int, int, int], tuple[int, Floats, Floats]]:
    """Count, mean and sums of products of each cell: gather its points, ask NumPy."""
    points = points.astype(np.float32).astype(float)
    cells = np.floor(points / edge).astype(int)
    result = {}
    for cell in {tuple(int(v) for v in row) for row in cells}:
        own = points[np.all(cells == cell, axis=1)]
        centred = own - own.mean(axis=0)
        result[cell] = (len(own), own.mean(axis=0), centred.T @ centred)
    return result  # type: ignore[return-value]


def unpacked(keys: Ints) -> list[tuple[int, int, int]]:
    return [tuple(int((key >> s) & kernels.MASK) - kernels.OFFSET for s in (42, 21, 0)) for key in keys]  # type: ignore[misc]


@pytest.mark.parametrize("pieces", [1, 2, 7, 300])
def test_any_cut_of_the_points_agrees_with_plain_numpy(pieces: int) -> None:
    points = RANDOM.uniform(-0.4, 0.5, (600, 3))
    found = folded(np.array_split(points, pieces))
    expected = plainly(points, 0.1)
    assert found.count.sum() == 600 and len(found.keys) == len(expected)
    for row, cell in enumerate(unpacked(found.keys)):
        count, mean, squares = expected[cell]
        assert found.count[row] == count
        np.testing.assert_allclose(found.mean_m[row], mean, rtol=1e-12)
        x, y, z, xy, xz, yz = found.squares_m2[row]
        np.testing.assert_allclose([[x, xy, xz], [xy, y, yz], [xz, yz, z]], squares, rtol=1e-8, atol=1e-15)


def test_cuts_within_one_station_change_nothing_at_all() -> None:
    points = RANDOM.uniform(-2, 2, (5000, 3)).astype(np.float32)
    grids = []
    for pieces in (1, 13):
        grid = CellGrid(0.1, 2000)  # small enough to coarsen on the way
        for piece in np.array_split(points, pieces):
            grid.fold(Chunk(0, np.ascontiguousarray(piece), np.empty((0, 3), np.float32)))
        grids.append(grid.moments())
    for name in ("edge_m", "keys", "count", "mean_m", "squares_m2"):
        np.testing.assert_array_equal(getattr(grids[0], name), getattr(grids[1], name))


def test_a_full_grid_coarsens_to_what_the_wider_cells_would_have_given() -> None:
    points = RANDOM.uniform(-1, 1, (3000, 3))
    found = folded([points], 0.05, 1200)
    assert found.edge_m > 0.05
    expected = plainly(points, found.edge_m)
    assert len(found.keys) == len(expected) <= 1200
    for row, cell in enumerate(unpacked(found.keys)):
        count, mean, squares = expected[cell]
        assert found.count[row] == count
        np.testing.assert_allclose(found.mean_m[row], mean, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(found.squares_m2[row, :3], np.diag(squares), rtol=1e-6, atol=1e-12)


def test_certified_mean_and_deviation() -> None:
    # NIST Statistical Reference Datasets, univariate, NumAcc4 (1001 values): certified mean 10000000.2, s = 0.1; here
    # scaled by 2**-20 to fit the packed keys, in float64. A sum of squares less n mean² fails it: it gives -2.
    values = np.r_[10000000.2, np.tile([10000000.1, 10000000.3], 500)] * 2.0**-20
    points = np.c_[values, np.zeros((1001, 2))]
    table, keys, bits = np.full(8, -1, np.int64), np.zeros(2, np.int64), np.zeros(2, np.uint64)
    about, sums = np.zeros((2, 3)), np.zeros((2, 10))
    kernels.fold_points(points, 0, 1.0, np.uint64(1), 0, table, keys, about, sums, bits)
    count, shift = sums[0, 0], sums[0, 1] / sums[0, 0]
    np.testing.assert_allclose((about[0, 0] + shift) * 2.0**20, 10000000.2, rtol=1e-14)
    np.testing.assert_allclose(np.sqrt((sums[0, 4] - count * shift**2) / 1000) * 2.0**20, 0.1, rtol=1e-6)


def test_stations_are_remembered_as_bits() -> None:
    here, there = np.full((3, 3), 0.05), np.full((2, 3), 0.95)
    found = folded([here, np.concatenate([here, there])])
    assert sorted(int(bits) for bits in found.stations) == [0b10, 0b11]


@pytest.mark.parametrize("reach", [1, 2])
def test_local_planes_agree_with_eigenvectors_of_all_neighbouring_points(reach: int) -> None:
    points = RANDOM.uniform(0, 1, (4000, 3)) * (1, 1, 0) + RANDOM.normal(0, 0.004, (4000, 3))
    points = points @ np.linalg.qr(RANDOM.normal(size=(3, 3)))[0]
    cells = folded([points], 0.1)
    n = len(cells.keys)
    normals, rough, flat = np.zeros((n, 3), np.float32), np.zeros(n, np.float32), np.ones(n, np.float32)
    table = np.full(4096, -1, np.int64)
    arrays = (cells.keys, cells.count, cells.mean_m, cells.squares_m2)
    bounds, columns = kernels.index_columns(table, cells.keys)
    for first, stop in ((0, len(columns) // 3), (len(columns) // 3, len(columns))):
        kernels.fit_local_planes(
            first, stop, table, bounds, columns, *arrays, reach, reach, 5, 0.05, normals, rough, flat
        )
    points = points.astype(np.float32).astype(float)
    where = np.floor(points / 0.1).astype(int)
    for row, cell in enumerate(unpacked(cells.keys)):
        own = points[np.all(np.abs(where - cell) <= reach, axis=1)]
        if len({tuple(c) for c in np.floor(own / 0.1).astype(int)}) < 5:
            continue
        values, vectors = np.linalg.eigh((own - own.mean(axis=0)).T @ (own - own.mean(axis=0)))
        assert abs(vectors[:, 0] @ normals[row]) > 0.9999
        np.testing.assert_allclose(flat[row], values[0] / values[1], rtol=1e-3)
        np.testing.assert_allclose(rough[row], np.sqrt(values[0] / len(own)), rtol=1e-3)


def test_cells_by_an_edge_take_the_normal_of_the_surface_they_lie_on() -> None:
    u, v = (grid.ravel() for grid in np.meshgrid(np.arange(0, 1, 0.01), np.arange(0, 1, 0.01)))
    points = np.concatenate([np.c_[u, v, 0 * u], np.c_[0 * u, v, u]]) + 0.0004
    cells = folded([points], 0.025)
    planes = fit_local_planes(cells, point_spacing_m(cells))
    on_one = (np.abs(cells.mean_m[:, 0] - 0.0004) < 1e-3) != (np.abs(cells.mean_m[:, 2] - 0.0004) < 1e-3)
    sharp = np.max(np.abs(planes.normals[on_one]), axis=1) > 0.999
    assert sharp.mean() > 0.99


@pytest.mark.parametrize("spacing", [0.02, 0.04, 0.06])
def test_spacing_is_told_from_the_cells_also_with_points_stored_twice(spacing: float) -> None:
    steps = np.linspace(0, 3, round(3 / spacing) + 1)
    u, v = (grid.ravel() for grid in np.meshgrid(steps, steps))
    points = np.c_[u, v, 0 * u + 0.01]
    once, twice = folded([points], 0.025), folded([np.repeat(points, 2, axis=0)], 0.025)
    assert point_spacing_m(once) == point_spacing_m(twice)
    assert abs(point_spacing_m(once) / spacing - 1) < 0.35


def test_carving_marks_what_fine_steps_along_the_rays_touch() -> None:
    start, ends = np.array([0.31, 0.42, 0.53]), RANDOM.uniform(-0.5, 2.5, (40, 3))
    free = np.zeros((20, 20, 20), np.uint8)
    kernels.carve(start, ends, np.zeros(3), 10.0, 0.15, free)
    expected = np.zeros_like(free)
    for end in ends:
        length = np.linalg.norm(end - start)
        steps = np.arange(0.0, max(float(length) - 0.15, 0.0), 2e-5)[:, None] * (end - start) / length + start
        index = np.floor(steps * 10).astype(int)
        index = index[np.all((index >= 0) & (index < 20), axis=1)]
        expected[tuple(index.T)] = 1
    assert np.mean(free != expected) < 2e-4  # a corner cut by less than a step


@pytest.mark.parametrize("reach", [1, 2])
def test_cells_met_around_each_are_counted_as_by_comparing_all(reach: int) -> None:
    cells = folded([RANDOM.uniform(-0.4, 0.4, (300, 3))], 0.1)
    where = np.array(unpacked(cells.keys))
    expected = [int(np.all(np.abs(where - cell) <= reach, axis=1).sum()) for cell in where[::3]]
    assert len(set(expected)) > 3
    np.testing.assert_array_equal(kernels.count_met(*cells.columns(), cells.keys, 3, reach), expected)
