"""Rooms whose walls have a lump or a hollow at an edge, where mixed points and neighbouring walls hide it best.

`rim_room(n)` is the same room for the same n. Plaster builds up in corners and is worn beside doors: that is where a
wall is least like its middle.
"""

import numpy as np

from tests.simulate.heights import bow, bump, slope
from tests.simulate.room import CeilingPlan, Chain, OpeningPlan, RoomPlan, Terms, WallPlan

ARM_M = 2.0  # width and length of the arms of a cross
HEIGHT_M = 2.5
STATIONS = ((3.0, 3.1, 1.5), (1.1, 2.9, 1.6), (2.9, 4.9, 1.4), (4.9, 3.1, 1.5), (3.1, 1.1, 1.6))


def rim_room(number: int) -> RoomPlan:
    """The room that is drawn with this number: a cross of twelve walls, with a door in the ends of its arms."""
    random = np.random.default_rng([number, 77_004])
    a = ARM_M
    corners = (
        (a, 0.0), (a, a), (0.0, a), (0.0, 2 * a), (a, 2 * a), (a, 3 * a),
        (2 * a, 3 * a), (2 * a, 2 * a), (3 * a, 2 * a), (3 * a, a), (2 * a, a), (2 * a, 0.0),
    )  # fmt: skip
    walls = tuple(_wall(random, door=k % 3 == 2) for k in range(len(corners)))
    return RoomPlan(
        f"rims_{number}",
        f"room {number} with lumps and hollows at the edges of its walls",
        (Chain(corners, walls),),
        STATIONS,
        (CeilingPlan(HEIGHT_M),),
        yaw_deg=float(random.uniform(0, 360)),
        suffix="ply" if number % 4 == 3 else "e57",
    )


def _wall(random: np.random.Generator, door: bool) -> WallPlan:
    left = float(random.uniform(0.4, 0.7))
    openings = (OpeningPlan("door", left, 0.9, 2.05, depth=0.1),) if door else ()
    across = float(np.exp(random.uniform(np.log(0.06), np.log(0.6))))
    height = float(random.choice([-1, 1]) * random.uniform(0.0012, 0.006))
    along, up = random.uniform((0.1, 0.1), (ARM_M - 0.1, HEIGHT_M - 0.1))
    off = across * random.uniform(-0.35, 0.35)
    sides = ["left", "right", "ceiling", "floor"] + (["jamb", "jamb"] if door else [])
    place = {
        "left": (off, up),
        "right": (ARM_M + off, up),
        "ceiling": (along, HEIGHT_M + off),
        "floor": (along, off),
        "jamb": (left + off, min(up, 1.95)),
    }[str(random.choice(sides))]
    plain: Terms = (slope(0.0, random.normal(0, 0.001)), bow(random.normal(0, 0.0005), ARM_M / 2, ARM_M))
    return WallPlan((*plain, bump(height, *place, across)), openings)
