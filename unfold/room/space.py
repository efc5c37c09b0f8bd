"""Space that rays proved empty: voxels crossed on the way from a station to what it measured."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from unfold.arrays import AnyArray, Bools, Floats, Ints
from unfold.room import kernels
from unfold.room.cells import LevelCells

MOST_VOXELS = 24_000_000
MOST_RAYS = 1_500_000
LEAST_EDGE_M = 0.05
_THREADS = 2


@dataclass(frozen=True, slots=True)
class FreeSpace:
    """Voxels in level coordinates; without stations nothing is known to be free."""

    low_m: Floats  # (3,) corner of voxel [0, 0, 0]
    edge_m: float
    free: AnyArray  # (nx, ny, nz) uint8: 1 where a ray passed
    known: bool  # False when there was no station to judge from

    def is_free(self, points_m: Floats) -> Bools:
        """Tell for points (..., 3) whether a ray passed through their voxel; outside the grid: no."""
        inside: Bools = np.ones(points_m.shape[:-1], bool)
        places = []
        for axis, count in enumerate(self.free.shape):
            index = np.floor((points_m[..., axis] - self.low_m[axis]) / self.edge_m).astype(np.int64)
            inside &= (index >= 0) & (index < count)
            places.append(index)
        i, j, k = (np.where(inside, index, 0) for index in places)
        return np.asarray(inside & (self.free[i, j, k] > 0))


def carve_free_space(cells: LevelCells, box: tuple[Floats, Floats]) -> FreeSpace:
    """Carve the rays from every station to the cells that it saw, inside a box (lowest and highest corner)."""
    low, high = box
    edge = float(np.clip(2.0 * cells.spacing_m, LEAST_EDGE_M, 0.15))
    edge = max(edge, float((np.prod(high - low) / MOST_VOXELS) ** (1.0 / 3.0)))
    shape = np.maximum(np.ceil((high - low) / edge).astype(np.int64), 1)
    free = np.zeros(tuple(shape), np.uint8)
    rays = [(place, np.flatnonzero(cells.seen_from(index))) for index, place in cells.stations_m.items()]
    total = sum(len(seen) for _, seen in rays)
    step = max(1, int(np.ceil(total / MOST_RAYS)))

    def carve(ray: tuple[Floats, Ints]) -> None:
        place, seen = ray
        kernels.carve(place, np.ascontiguousarray(cells.level_m[seen[::step]]), low, 1.0 / edge, 1.6 * edge, free)

    with ThreadPoolExecutor(_THREADS) as pool:  # each only ever sets ones, in whatever order
        list(pool.map(carve, rays))
    return FreeSpace(low, edge, free, bool(rays))
