"""What the instrument's rays can reach on a wall, by casting them without noise, and how densely."""

import math
from dataclasses import dataclass

import numpy as np

from tests.simulate.building import Building, BuiltWall
from tests.simulate.kernels import visible
from tests.simulate.scanner import Instrument, median_range, path_of
from tests.simulate.sheets import Packed
from unfold.arrays import Floats

FACING = 0.05  # cosine of incidence under which a wall counts as not reached
SLACK_M = 0.0015
EVERY = 4  # of a trajectory's positions, one in four stands for its neighbours


@dataclass(frozen=True)
class Stand:
    """Where the instrument stood: which station's people are about, the step between rays, and how often it counts."""

    station: int
    place: Floats
    step: float  # radians
    weight: float


def stands_of(building: Building, scene: Packed, instrument: Instrument) -> list[Stand]:
    """Every set-up of the instrument, or a fair choice of a trajectory's positions."""
    count = len(building.room.stations)
    if not instrument.positions:
        return [_stand(scene, instrument, i, np.array(place), 1.0) for i, place in enumerate(building.room.stations)]
    places = path_of(building, instrument.positions)
    weight = EVERY * 3.0 / instrument.positions  # a trajectory's sweeps are sparser: see scanner
    return [
        _stand(scene, instrument, min(i * count // len(places), count - 1), place, weight)
        for i, place in enumerate(places)
    ][::EVERY]


def _stand(scene: Packed, instrument: Instrument, station: int, place: Floats, weight: float) -> Stand:
    return Stand(station, place, instrument.spacing_m / median_range(scene, station, place), weight)


def points_per_square_metre(
    wall: BuiltWall, u: Floats, v: Floats, scene: Packed, stands: list[Stand], instrument: Instrument
) -> Floats:
    """Expected density of points at places u, v (n,) of a wall; 0 where no ray reaches it."""
    places = wall.surface.points(u, v)
    foot = wall.surface.frame.level_from_uvh(np.column_stack([u, v, 0 * u]))
    inward = wall.surface.frame.level_from_uvh(np.column_stack([u, v, 0 * u + 1])) - foot
    low, high = (instrument.lowest_deg, instrument.highest_deg) if not instrument.positions else (-90.0, 90.0)
    density = np.zeros(len(places))
    for stand in stands:
        ray = places - stand.place
        distance = np.linalg.norm(ray, axis=1)
        cosine, lift = -np.einsum("ij,ij->i", ray, inward) / distance, ray[:, 2] / distance
        able = (cosine > FACING) & (lift > math.sin(math.radians(low))) & (lift < math.sin(math.radians(high)))
        able[able] = visible(scene, stand.station, stand.place, places[able], SLACK_M) > 0.5
        density[able] += stand.weight * cosine[able] / (stand.step * distance[able]) ** 2
    return density
