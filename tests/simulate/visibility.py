"""What the instrument's rays can reach on a wall, by casting them without noise, and how densely."""

import math
from dataclasses import dataclass

import numpy as np

from tests.simulate.building import Building, BuiltWall
from tests.simulate.kernels import visible
from tests.simulate.scanner import Instrument, median_range, path_of
from tests.simulate.sheets import Packed
from unfold.arrays import Bools, Floats

FACING = 0.05  # cosine of incidence under which a wall counts as not reached
SLACK_M = 0.0015
WIDEST_M = 0.05  # spacing of one station's points along the wall, beyond which it does not see the wall well
EVERY = 4  # of a trajectory's positions, one in four stands for its neighbours


@dataclass(frozen=True)
class Stand:
    """Where the instrument stood, which station's people are about, and the step between rays."""

    station: int
    place: Floats
    step: float  # radians


def stands_of(building: Building, scene: Packed, instrument: Instrument) -> list[Stand]:
    """Every set-up of the instrument, or a fair choice of a trajectory's positions."""
    count = len(building.room.stations)
    if not instrument.positions:
        return [_stand(scene, instrument, i, np.array(place)) for i, place in enumerate(building.room.stations)]
    places = path_of(building, instrument.positions)
    return [
        _stand(scene, instrument, min(i * count // len(places), count - 1), place) for i, place in enumerate(places)
    ][::EVERY]


def _stand(scene: Packed, instrument: Instrument, station: int, place: Floats) -> Stand:
    return Stand(station, place, instrument.spacing_m / median_range(scene, station, place))


def reach_on(
    wall: BuiltWall, u: Floats, v: Floats, scene: Packed, stands: list[Stand], instrument: Instrument
) -> tuple[Bools, Bools]:
    """Which places u, v (n,) of a wall some ray reaches, and which some station covers with no gap over 50 mm."""
    places = wall.surface.points(u, v)
    foot = wall.surface.frame.level_from_uvh(np.column_stack([u, v, 0 * u]))
    inward = wall.surface.frame.level_from_uvh(np.column_stack([u, v, 0 * u + 1])) - foot
    low, high = (instrument.lowest_deg, instrument.highest_deg) if not instrument.positions else (-90.0, 90.0)
    reached, well = np.zeros(len(places), bool), np.zeros(len(places), bool)
    for stand in stands:
        ray = places - stand.place
        distance = np.linalg.norm(ray, axis=1)
        cosine, lift = -np.einsum("ij,ij->i", ray, inward) / distance, ray[:, 2] / distance
        able = (cosine > FACING) & (lift > math.sin(math.radians(low))) & (lift < math.sin(math.radians(high)))
        able[able] = visible(scene, stand.station, stand.place, places[able], SLACK_M) > 0.5
        reached |= able
        well |= able & (stand.step * distance < WIDEST_M * cosine)
    return reached, well
