"""Where the scanner stood, when the file does not say: the scan's zero point, if the cloud looks like seen from there.

Seen from one place, surfaces far off are sampled more thinly than close ones, and nothing is seen behind anything else.
Clouds merged from several stations, thinned evenly, or sampled from a mesh fail one of the two.
"""

import numpy as np

from unfold.arrays import Floats, Ints
from unfold.room.cells import CellMoments

BLOCK_M = 0.25
STEEPEST_EVEN = -0.6  # exponent of density over range; one place gives about -1 to -2, even sampling 0
MOST_HIDDEN = 0.4
DIRECTION_DEG = 1.0


def is_viewpoint(cells: CellMoments, place_m: Floats) -> bool:
    """Tell whether all cells look like seen from one place (3,), in their own coordinates."""
    return density_exponent(cells, place_m) < STEEPEST_EVEN and hidden_share(cells, place_m) < MOST_HIDDEN


def density_exponent(cells: CellMoments, place_m: Floats) -> float:
    """Slope of log density of points over log range, from blocks of 250 mm."""
    block = _groups(np.floor(cells.mean_m / BLOCK_M).astype(np.int64))
    number = np.bincount(block, cells.count)
    sums = np.stack([np.bincount(block, cells.mean_m[:, k] * cells.count) for k in range(3)], axis=1)
    centre = sums / number[:, None]
    distance = np.linalg.norm(centre - place_m, axis=1)
    far = distance > 0.5
    if far.sum() < 20:
        return 0.0
    return float(np.polyfit(np.log(distance[far]), np.log(number[far]), 1)[0])


def hidden_share(cells: CellMoments, place_m: Floats) -> float:
    """Of the cells that share a direction of one degree with others: the share that lies well behind the nearest."""
    offset = cells.mean_m - place_m
    distance = np.linalg.norm(offset, axis=1)
    offset, distance = offset[distance > 0.3], distance[distance > 0.3]
    ring = np.floor(np.degrees(np.arcsin(np.clip(offset[:, 2] / distance, -1.0, 1.0))) / DIRECTION_DEG)
    around = np.maximum(np.round(360.0 / DIRECTION_DEG * np.cos(np.radians((ring + 0.5) * DIRECTION_DEG))), 1.0)
    turn = (np.arctan2(offset[:, 1], offset[:, 0]) / (2 * np.pi) + 0.5) * around
    direction = _groups(np.stack([ring, np.floor(turn)], axis=1).astype(np.int64))
    nearest = np.full(direction.max() + 1, np.inf)
    np.minimum.at(nearest, direction, distance)
    hidden = int(np.sum(distance > 1.15 * nearest[direction] + 0.2))
    return hidden / max(len(distance) - len(nearest), 1)


def _groups(rows: Ints) -> Ints:
    """Number the distinct rows (n, k), and tell each row's number (n,)."""
    return np.asarray(np.unique(rows, axis=0, return_inverse=True)[1]).ravel()
