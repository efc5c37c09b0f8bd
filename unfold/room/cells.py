"""The scan folded into small cubes: one pass over the points, then everything else works on the cells."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from unfold.arrays import AnyArray, Bools, Floats, Floats32, Ints
from unfold.room import kernels
from unfold.scan.result import Chunk

CELL_EDGE_M = 0.025
MOST_CELLS = 2_500_000  # 96 bytes each; beyond that the edge doubles
STATION_BITS = 64
_THREADS, _STRETCHES = 2, 16


@dataclass(frozen=True, slots=True)
class CellMoments:
    """Moments of the points in each cell, local coordinates, metres; rows sorted by key."""

    edge_m: float
    keys: Ints  # (n,)
    count: Ints  # (n,)
    mean_m: Floats  # (n, 3)
    squares_m2: Floats  # (n, 6) sums of products about the mean: xx, yy, zz, xy, xz, yz
    stations: AnyArray  # (n,) uint64; bit s % 64 is set when station s has a point here

    def columns(self) -> tuple[Ints, Ints, Ints]:
        """Index the columns of cells; see `index_columns` for the table, the bounds and the columns' keys."""
        table = np.full(_table_size(len(self.keys)), -1, np.int64)
        return table, *kernels.index_columns(table, self.keys)

    def covariance(self) -> Floats:
        """Sums of products as (n, 3, 3) matrices."""
        return self.squares_m2[:, [[0, 3, 4], [3, 1, 5], [4, 5, 2]]]


class CellGrid:
    """Folds chunks into cells; the cut of the chunks does not change the result."""

    def __init__(self, edge_m: float = CELL_EDGE_M, most_cells: int = MOST_CELLS) -> None:
        self._edge_m = edge_m
        self._most_cells = most_cells
        self._size = 0
        self._reserve(min(1 << 16, most_cells))

    _keys: Ints
    _about: Floats
    _sums: Floats
    _stations: AnyArray
    _table: Ints

    def _reserve(self, capacity: int) -> None:
        old = (self._keys, self._about, self._sums, self._stations) if self._size else None
        self._keys = np.zeros(capacity, np.int64)
        self._about = np.zeros((capacity, 3))
        self._sums = np.zeros((capacity, 10))
        self._stations = np.zeros(capacity, np.uint64)
        if old is not None:
            new = (self._keys, self._about, self._sums, self._stations)
            for target, source in zip(new, old, strict=True):
                target[: self._size] = source[: self._size]
        self._table = np.full(_table_size(capacity), -1, np.int64)
        kernels.index_keys(self._table, self._keys, self._size)

    def _make_room(self) -> None:
        if self._size < self._most_cells:
            self._reserve(min(2 * self._size, self._most_cells))
            return
        count, mean, squares = self._moments()
        self._size = kernels.coarsen(self._size, self._table, self._keys, count, mean, squares, self._stations)
        kept = slice(0, self._size)
        self._about[kept], self._sums[:] = mean[kept], 0.0
        self._sums[kept, 0], self._sums[kept, 4:] = count[kept], squares[kept]
        self._stations[self._size :] = 0
        self._edge_m *= 2.0

    def fold(self, chunk: Chunk) -> None:
        """Add one chunk's points."""
        bit = np.uint64(1) << np.uint64(chunk.station % STATION_BITS)
        start = 0
        while True:
            start, self._size = kernels.fold_points(
                *(chunk.points_m, start, 1.0 / self._edge_m, bit, self._size),
                *(self._table, self._keys, self._about, self._sums, self._stations),
            )
            if start == len(chunk.points_m):
                return
            self._make_room()

    def _moments(self) -> tuple[Ints, Floats, Floats]:
        """Give count, mean and sums of products about the mean of the cells so far."""
        about, sums = self._about[: self._size], self._sums[: self._size]
        shift = sums[:, 1:4] / sums[:, :1]
        squares = sums[:, 4:] - sums[:, :1] * shift[:, [0, 1, 2, 0, 0, 1]] * shift[:, [0, 1, 2, 1, 2, 2]]
        np.maximum(squares[:, :3], 0.0, out=squares[:, :3])
        return sums[:, 0].astype(np.int64), about + shift, squares

    def moments(self) -> CellMoments:
        """Give the cells, sorted by key so that the order of the chunks matters little."""
        order = np.argsort(self._keys[: self._size], kind="stable")
        count, mean, squares = self._moments()
        keys, stations = self._keys[order], self._stations[order]
        return CellMoments(self._edge_m, keys, count[order], mean[order], squares[order], stations)


@dataclass(frozen=True, slots=True)
class LocalPlanes:
    """The plane around each cell."""

    normals: Floats32  # (n, 3) unit; sign arbitrary
    roughness_m: Floats32  # (n,) standard deviation across the plane
    flatness: Floats32  # (n,) smallest over middle variance; 1 where there is no plane


def fit_local_planes(cells: CellMoments, spacing_m: float) -> LocalPlanes:
    """Fit a plane around every cell, over a reach that suits the spacing of the points."""
    n = len(cells.keys)
    normals, roughness, flatness = np.zeros((n, 3), np.float32), np.zeros(n, np.float32), np.ones(n, np.float32)
    least = 1 if spacing_m < 0.6 * cells.edge_m else 2
    most = int(np.clip(np.ceil(3.0 * spacing_m / cells.edge_m), 2, 6))
    table, bounds, columns = cells.columns()
    sharp, sharp_flatness = np.empty_like(normals), np.empty_like(flatness)

    def fit(first: int, stop: int) -> None:
        kernels.fit_local_planes(
            first, stop, table, bounds, columns, cells.keys, cells.count, cells.mean_m, cells.squares_m2,
            least, max(least, most), 5, 0.05, normals, roughness, flatness,
        )  # fmt: skip

    def sharpen(first: int, stop: int) -> None:
        kernels.borrow_normals(
            first, stop, table, bounds, columns, cells.keys, cells.mean_m, least + 1, 0.03, 0.004,
            normals, roughness, flatness, sharp, sharp_flatness,
        )  # fmt: skip

    _in_threads(fit, len(columns))
    _in_threads(sharpen, n)
    return LocalPlanes(sharp, roughness, sharp_flatness)


def _in_threads(work: Callable[[int, int], None], count: int) -> None:
    """Do the work on stretches of `count` things, none of which needs another's result."""
    ends = np.linspace(0, count, _STRETCHES + 1).astype(int).tolist()
    with ThreadPoolExecutor(_THREADS) as pool:
        list(pool.map(work, ends[:-1], ends[1:]))


def point_spacing_m(cells: CellMoments) -> float:
    """Estimate the typical spacing of points on a surface from how many of the cells around a cell are met.

    A flat patch of 5 x 5 cells with m of them met by sparse points has a spacing of about 5 e / sqrt(m); points stored
    twice do not count twice. Where nearly all cells are met the spacing is at most about the cell's edge e.
    """
    step = max(1, len(cells.keys) // 20_000)
    met = kernels.count_met(*cells.columns(), cells.keys, step, 2)
    return float(5.0 * cells.edge_m / np.sqrt(max(float(np.median(met)), 1.0)))


@dataclass(frozen=True, slots=True)
class LevelCells:
    """Cells with their local planes, in level coordinates, and the stations that saw them."""

    edge_m: float
    spacing_m: float  # of the points on a surface
    level_m: Floats  # (n, 3) cell means
    normals: Floats  # (n, 3) unit; sign arbitrary
    clear: Bools  # (n,) the normal is to be trusted
    bits: AnyArray  # (n,) uint64, as CellMoments.stations
    stations_m: dict[int, Floats]  # level position of each station that is known, by its index
    tolerance_m: float  # how far from its surface a wall's cell may lie

    @property
    def area_m2(self) -> float:
        """Surface that one cell stands for."""
        return max(self.spacing_m, self.edge_m) ** 2

    def seen_from(self, station: int) -> Bools:
        """Which cells a station saw."""
        return np.asarray(self.bits & (np.uint64(1) << np.uint64(station % STATION_BITS)), dtype=bool)

    def within(self, low: float, high: float) -> "LevelCells":
        """The cells between two heights."""
        z = self.level_m[:, 2]
        inside = (z > low) & (z < high)
        return replace(
            self, level_m=self.level_m[inside], normals=self.normals[inside], clear=self.clear[inside],
            bits=self.bits[inside],
        )  # fmt: skip


def _table_size(capacity: int) -> int:
    return 1 << max(4, int(2 * capacity - 1).bit_length())
