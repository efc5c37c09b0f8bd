"""How the stations sit against each other on one wall, and what their disagreement says of its height.

Where two stations saw the same tiles of a wall, the difference of their mean heights shows the place of one against
the other: an offset and a tilt each. They are taken out, so that no false step stays at a seam; their mean over the
stations stays unknown, and that is the wall's uncertain height. What still differs after that, beyond point noise, is
noise that does not average out over a tile.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats

_LEAST_POINTS = 8  # on a tile of 100 mm
_LEAST_TILES = 4
_FOREIGN = 4.0  # times the noise: a station's points on a tile that scatter so are partly of what is beside the wall
_ASSUMED_FREEDOM = 1.0
_TILT_PRIOR = 0.1  # mm per m: what a station's tilt may be when the overlap says nothing of it


@dataclass(frozen=True, slots=True)
class Registration:
    """How the stations of one wall sit against each other.

    A correction is c0 + c1 * x + c2 * y, x and y in m from the raster's middle, to be taken off its station's heights.
    """

    corrections_mm: Floats  # (stations, 3)
    offsets_mm: Floats  # (overlapping stations,) how far each lies off their mean on this wall; empty: no two overlap
    correlated_mm: float | None  # 1-sigma noise of a tile's mean that more points do not reduce; None as above
    connected: bool  # every station with a share in the wall overlaps with the others
    seen_by: float  # mean number of stations that saw a tile


def register(tiles: Floats, tile_mm: float, noise_mm: float) -> Registration:
    """Set the stations of one wall against each other; tiles (stations, rows, columns, 3): count, sum, squares."""
    stations, rows, columns, _ = tiles.shape
    count = tiles[..., 0].reshape(stations, -1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(count >= _LEAST_POINTS, tiles[..., 1].reshape(stations, -1) / count, np.nan)
        scatter = tiles[..., 2].reshape(stations, -1) / count - mean**2
        mean[scatter > (_FOREIGN * noise_mm) ** 2] = np.nan
    count = np.where(np.isfinite(mean), count, 0.0)
    shared = (count > 0).sum(axis=0) >= 2
    corrections = np.zeros((stations, 3))
    used = [s for s in range(stations) if (count[s] > 0).sum() >= _LEAST_TILES]
    groups = _overlapping(count[:, shared] > 0, used)
    largest = sorted(_largest(groups))
    seen_by = float((count > 0).sum(axis=0)[(count > 0).any(axis=0)].mean()) if count.any() else 0.0
    if len(largest) < 2:
        return Registration(corrections, np.zeros(0), None, len(used) <= 1, seen_by)
    y, x = np.mgrid[:rows, :columns].reshape(2, -1) * (tile_mm / 1000.0)
    table = np.stack([np.ones_like(x), x - x.mean(), y - y.mean()], axis=1)
    for group in groups:
        if len(group) >= 2:
            corrections[group] = _adjust(mean[group], count[group], shared, table, noise_mm)
    at_wall = np.array([np.average(table @ corrections[s], weights=count[s]) for s in largest])
    left = _left_over(mean[largest] - corrections[largest] @ table.T, count[largest], noise_mm)
    return Registration(corrections, at_wall - at_wall.mean(), left, len(groups) == 1, seen_by)


def station_error_mm(walls: Sequence[Registration], assumed_mm: float) -> float:
    """Standard deviation of a station's place along a wall's normal, from its offsets on all walls.

    A few offsets say little of it, so the assumed one counts as one more with _ASSUMED_FREEDOM degrees of freedom.
    """
    square = sum(float((wall.offsets_mm**2).sum()) for wall in walls)
    freedom = sum(max(len(wall.offsets_mm) - 1, 0) for wall in walls)
    return float(np.sqrt((square + _ASSUMED_FREEDOM * assumed_mm**2) / (freedom + _ASSUMED_FREEDOM)))


def _largest(groups: list[list[int]]) -> list[int]:
    return max(groups, key=len) if groups else []


def _overlapping(seen: Bools, used: list[int]) -> list[list[int]]:
    """Groups of stations that share at least _LEAST_TILES tiles, directly or through others."""
    groups: list[list[int]] = []
    for s in used:
        touching = [group for group in groups if any((seen[s] & seen[t]).sum() >= _LEAST_TILES for t in group)]
        groups = [group for group in groups if group not in touching] + [[*(t for group in touching for t in group), s]]
    return groups


def _adjust(mean: Floats, count: Floats, shared: Bools, table: Floats, noise_mm: float) -> Floats:
    """Offsets and tilts (stations, 3) of least squares on the shared tiles, with a zero mean over the stations."""
    stations = len(mean)
    corrections = np.zeros((stations, 3))
    floor = 0.05  # mm: no tile's mean is better than this, whatever its count
    weight = np.where(count > 0, 1.0 / (noise_mm**2 / np.maximum(count, 1.0) + floor**2), 0.0) * shared
    values = np.where(weight > 0, mean, 0.0)
    prior = np.diag([1e-6, 1.0 / _TILT_PRIOR**2, 1.0 / _TILT_PRIOR**2])
    for _ in range(30):
        left = values - corrections @ table.T
        surface = (weight * left).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-12)
        for s in range(stations):
            # errors of tiles that lie close together hang together: a hundredth of their weight counts
            w = weight[s] * 0.01
            corrections[s] = np.linalg.solve(
                table.T @ (w[:, None] * table) + prior, table.T @ (w * (values[s] - surface))
            )
        corrections -= corrections.mean(axis=0)
    return corrections


def _left_over(left: Floats, count: Floats, noise_mm: float) -> float:
    """1-sigma of tile means that differ between stations by more than point noise explains."""
    both = (count > 0).sum(axis=0) >= 2
    left, count = left[:, both], count[:, both]
    counted = count > 0
    surface = np.where(counted, left, 0.0).sum(axis=0) / counted.sum(axis=0)
    square = np.where(counted, (left - surface) ** 2, 0.0).sum(axis=0)
    freedom = counted.sum(axis=0) - 1
    expected = np.where(counted, noise_mm**2 / np.maximum(count, 1.0), 0.0).sum(axis=0) * freedom / (freedom + 1)
    if not len(square):
        return 0.0
    # tiles with far more than the usual: at edges, they may hold points of something else
    usual = square / freedom <= 25.0 * np.median(square / freedom)
    return float(np.sqrt(max(((square - expected) / freedom)[usual].mean(), 0.0)))
