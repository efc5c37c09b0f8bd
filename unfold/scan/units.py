"""The length unit of coordinates that state none, from how large the scanned place would be in each unit."""

import math
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.settings.scan import LengthUnit

METRES_PER_UNIT: dict[LengthUnit, float] = {
    "m": 1.0,
    "mm": 0.001,
    "cm": 0.01,
    "ft": 0.3048,
    "us-ft": 1200 / 3937,
    "in": 0.0254,
}
# How often scans come in each unit: common practice, no published source. Decides between plausible sizes only.
COMMON: dict[LengthUnit, float] = {"m": 0.84, "mm": 0.12, "ft": 0.01, "cm": 0.02, "in": 0.01}
ROOM_LENGTH_M, ROOM_SPREAD = (
    8.0,
    0.9,
)  # rooms run from a closet to a hall: median length, and deviation of its logarithm
STOREY_M, STOREY_SPREAD, STOREY_SHARE = 2.7, 0.18, 0.5  # half of the scans show a storey of the usual height in full
SURE = 0.95


@dataclass(frozen=True, slots=True)
class UnitGuess:
    """The likeliest unit, how likely it is, and the longest extent in metres that follows."""

    unit: LengthUnit
    probability: float
    length_m: float


def guess_unit(points: Floats) -> UnitGuess:
    """Weigh the units by the size that the points (n, 3) have in each; single stray points do not count."""
    low, high = np.percentile(points, [1, 99], axis=0)
    extents = np.sort(high - low)[::-1]
    weights = {unit: COMMON[unit] * _plausible(extents * METRES_PER_UNIT[unit]) for unit in COMMON}
    best = max(weights, key=lambda unit: weights[unit])
    total = sum(weights.values())
    probability = weights[best] / total if total > 0 else 0.0
    return UnitGuess(best, probability, float(extents[0]) * METRES_PER_UNIT[best])


def _plausible(extents_m: Floats) -> float:
    """Return the density of a room of these extents, longest first: by its length, and by a storey's height."""
    length = _log_normal(extents_m[0], ROOM_LENGTH_M, ROOM_SPREAD)
    storey = max(_log_normal(extent, STOREY_M, STOREY_SPREAD) for extent in extents_m[1:])
    return length * ((1 - STOREY_SHARE) * 0.2 + STOREY_SHARE * storey)


def _log_normal(value: float, median: float, spread: float) -> float:
    if value <= 0:
        return 0.0
    return math.exp(-0.5 * (math.log(value / median) / spread) ** 2) / spread
