"""Rooms whose shape is the difficulty: odd angles, curved walls, bulkheads, stub walls, two rooms, open chains."""

from tests.simulate.heights import bow, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, OpeningPlan, Person, RoomPlan, WallPlan
from tests.simulate.rooms.parts import service


def odd_angles() -> RoomPlan:
    corners = ((0.0, 0.0), (-0.8, 3.1), (1.6, 4.9), (4.9, 4.1), (5.6, 1.4), (3.9, -0.3))
    walls = (
        WallPlan((bow(0.003, 1.6, 3.2),), (service(1.1, 0.3, 0.08, 0.08),)),
        WallPlan((slope(0, 0.004),), (OpeningPlan("window", 0.8, 1.2, 1.1, 0.95, behind="pane"),)),
        WallPlan((bow(-0.003, 1.7, 3.4), ripple(0.0004, 0.8, 30))),
        WallPlan((), (OpeningPlan("door", 0.9, 0.9, 2.05),)),
        WallPlan((twist(0.0015, 1.2, 1.4, 2.4, 2.8),), (service(1.0, 1.1, 0.09, 0.15),)),
        WallPlan((bow(0.002, 1.95, 3.9),), (OpeningPlan("opening", 1.4, 1.0, 0.8, 1.05),)),
    )
    return RoomPlan(
        "odd_angles",
        "six walls at odd angles under a sloped ceiling",
        (Chain(corners, walls),),
        ((1.0, 1.2, 1.5), (3.9, 2.6, 1.4), (1.4, 3.3, 1.6)),
        (CeilingPlan(2.3, (0.18, 0.05)),),
        floor_terms=(bow(-0.004, 2.4, 6.4),),
    )


def unlevelled() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 4.0), (4.6, 4.0), (4.6, 0.0))
    walls = (
        WallPlan((bow(0.003, 2.0, 4.0),), (service(1.1, 0.3, 0.08, 0.08),)),
        WallPlan((slope(0, 0.001),), (OpeningPlan("door", 1.8, 0.9, 2.05),)),
        WallPlan((bow(-0.0015, 2.0, 4.0),), (OpeningPlan("window", 1.2, 1.5, 1.2, 0.9, behind="pane"),)),
        WallPlan((slope(0, -0.0008),)),
    )
    return RoomPlan(
        "unlevelled",
        "scanner not levelled: plumb is to be estimated",
        (Chain(corners, walls),),
        ((1.2, 1.1, 1.4), (3.4, 2.9, 1.5)),
        (CeilingPlan(2.55),),
        tilt_deg=2.0,
        scan_tilt_deg=1.6,
    )


def curved() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 4.2), (2.6, 5.4), (5.4, 4.6), (5.4, 1.2), (4.2, 0.0))
    walls = (
        WallPlan((bow(0.002, 2.1, 4.2),), (service(1.6, 0.4, 0.08, 0.08),)),
        WallPlan((), (OpeningPlan("window", 0.8, 1.0, 1.2, 0.9, behind="pane"),)),
        WallPlan((ripple(0.0008, 1.1),), (), radius=3.4),
        WallPlan((slope(0, 0.0015),), (OpeningPlan("door", 1.2, 0.95, 2.1),)),
        WallPlan((bow(0.0005, 1.35, 2.7, "v"),), (), radius=-1.4),
        WallPlan((bow(-0.003, 2.1, 4.2),), (service(2.0, 1.1, 0.12, 0.08),)),
    )
    column = Chain(((2.4, 2.1),), (WallPlan(radius=-0.22),))
    return RoomPlan(
        "curved",
        "concave and convex walls and a round column",
        (Chain(corners, walls), column),
        ((1.0, 1.0, 1.5), (4.2, 2.4, 1.5), (1.3, 3.7, 1.6), (3.2, 1.3, 1.5)),
        (CeilingPlan(2.7),),
        path=((1.0, 1.0, 1.5), (3.2, 1.3, 1.5), (4.2, 2.4, 1.5), (1.3, 3.7, 1.6)),  # around the column
    )


def bulkhead() -> RoomPlan:
    breast = ((1.7, 4.0), (1.7, 3.85), (3.0, 3.85), (3.0, 4.0))
    corners = ((0.0, 0.0), (0.0, 4.0), *breast, (4.8, 4.0), (4.8, 0.0))
    walls = (
        WallPlan((bow(0.0025, 2.0, 4.0),), (OpeningPlan("niche", 1.1, 0.8, 0.5, 1.3, 0.15, "solid"),)),
        WallPlan((slope(0, 0.002),), (service(0.7, 0.3, 0.08, 0.08),)),
        WallPlan(),
        WallPlan((bow(0.001, 0.65, 1.3),), (OpeningPlan("niche", 0.35, 0.6, 0.6, 0.2, 0.14, "solid"),)),
        WallPlan(),
        WallPlan((bow(-0.0015, 0.9, 1.8),), (OpeningPlan("window", 0.4, 1.0, 1.1, 0.95, behind="pane"),)),
        WallPlan((twist(0.002, 2.0, 1.3, 4.0, 2.6),), (OpeningPlan("door", 2.4, 0.9, 2.05, casing=(0.07, 0.018)),)),
        WallPlan((ripple(0.0006, 1.0, 90),), (service(3.2, 1.1, 0.071, 0.115), service(3.4, 1.1, 0.071, 0.115))),
    )
    drop = CeilingPlan(2.25, area=((-0.05, -0.05), (-0.05, 0.6), (4.85, 0.6), (4.85, -0.05)), faces=True)
    return RoomPlan(
        "bulkhead",
        "stub walls of 150 mm, niches and a bulkhead along a wall",
        (Chain(corners, walls),),
        ((1.2, 1.4, 1.5), (3.7, 2.8, 1.4), (2.3, 2.2, 1.6)),
        (CeilingPlan(2.6), drop),
    )


def two_rooms() -> RoomPlan:
    left = ((0.0, 0.0), (0.0, 3.6), (3.4, 3.6), (3.4, 0.0))
    right = ((3.52, 0.4), (3.52, 4.4), (7.2, 4.4), (7.2, 0.4))
    here = OpeningPlan("door", 1.6, 0.9, 2.05, depth=0.06, behind="nothing")  # x = 3.4, y from 2.0 down to 1.1
    there = OpeningPlan("door", 0.7, 0.9, 2.05, depth=0.06, behind="nothing")  # x = 3.52, y from 1.1 up to 2.0
    walls = (
        WallPlan((bow(0.002, 1.8, 3.6),), (OpeningPlan("window", 1.0, 1.3, 1.2, 0.9, behind="pane"),)),
        WallPlan((slope(0, 0.001),), (service(2.2, 0.3, 0.08, 0.08),)),
        WallPlan((bow(-0.001, 1.8, 3.6),), (here,)),
        WallPlan((bow(0.001, 1.7, 3.4),), (OpeningPlan("door", 0.4, 0.8, 2.0, behind="solid", depth=0.04),)),
    )
    others = (
        WallPlan((), (there, service(2.9, 1.1, 0.09, 0.15))),
        WallPlan((ripple(0.0005, 0.9),), (OpeningPlan("window", 1.1, 1.4, 1.2, 0.9, behind="pane"),)),
        WallPlan((bow(0.004, 2.0, 4.0),)),
        WallPlan((slope(0, -0.0015),), (service(1.0, 0.3, 0.08, 0.08),)),
    )
    return RoomPlan(
        "two_rooms",
        "two rooms joined by an open door",
        (Chain(left, walls), Chain(right, others)),
        ((1.3, 1.5, 1.5), (2.4, 2.6, 1.5), (5.0, 1.6, 1.5), (6.0, 3.2, 1.5)),
        (CeilingPlan(2.5),),
        boxes=(Box((6.6, 1.0), (0.8, 0.5, 0.75)),),
        path=((1.3, 1.5, 1.5), (2.2, 2.6, 1.5), (2.5, 1.55, 1.5), (4.4, 1.55, 1.5), (5.0, 1.8, 1.5), (6.0, 3.2, 1.5)),
    )


def foyer_wall() -> RoomPlan:
    openings = (OpeningPlan("door", 1.0, 1.8, 2.4), service(3.6, 1.1, 0.09, 0.15), service(4.6, 0.3, 0.08, 0.08))
    wall = WallPlan((bow(0.006, 2.9, 5.8), bow(-0.004, 3.5, 7.0, "v"), ripple(0.0004, 1.4, 60)), openings)
    strip = ((0.0, 0.0), (5.8, 0.0), (5.8, -2.2), (0.0, -2.2))
    return RoomPlan(
        "foyer_wall",
        "one wall 7 m high with a strip of floor",
        (Chain(((0.0, 0.0), (5.8, 0.0)), (wall,), False),),
        ((1.6, -4.5, 1.6), (4.4, -4.0, 1.7)),
        floor_area=strip,
        wall_top=7.0,
        people=(Person(1, (2.5, -1.5)),),
    )


def alcove() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 0.9), (2.4, 0.9), (2.4, 0.0))
    walls = (
        WallPlan((slope(0, 0.0015),)),
        WallPlan(
            (bow(0.0025, 1.2, 2.4), twist(0.001, 1.2, 1.2, 2.4, 2.4)),
            (service(0.5, 1.1, 0.08, 0.08), service(1.7, 0.4, 0.12, 0.08)),
        ),
        WallPlan((bow(-0.001, 1.2, 2.4, "v"),), (OpeningPlan("niche", 0.2, 0.4, 0.6, 1.2, 0.1, "solid"),)),
    )
    floor = ((-0.05, 0.95), (2.45, 0.95), (2.45, -1.2), (-0.05, -1.2))
    return RoomPlan(
        "alcove",
        "an alcove and its two cheeks",
        (Chain(corners, walls, False),),
        ((0.8, -1.2, 1.5), (1.7, -0.9, 1.4)),
        (CeilingPlan(2.4, area=floor),),
        floor_area=floor,
    )
