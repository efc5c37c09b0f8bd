"""Rooms of upright plane walls with the usual openings."""

from tests.simulate.heights import bow, bump, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, OpeningPlan, Person, RoomPlan, WallPlan
from tests.simulate.rooms.parts import service


def box_room() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 3.2), (4.2, 3.2), (4.2, 0.0))
    walls = (
        WallPlan(
            (bow(0.004, 1.6, 3.2), slope(0, 0.001)), (service(0.5, 0.3, 0.08, 0.08), service(2.4, 1.1, 0.09, 0.15))
        ),
        WallPlan(
            (bow(-0.003, 2.1, 4.2), ripple(0.0003, 0.9)), (OpeningPlan("window", 1.2, 1.4, 1.2, 0.95, behind="pane"),)
        ),
        WallPlan((slope(0, -0.002), bow(0.0015, 1.35, 2.7, "v")), (OpeningPlan("door", 1.6, 0.9, 2.05),)),
        WallPlan(
            (twist(0.003, 2.1, 1.35, 4.2, 2.7),), (service(1.0, 0.35, 0.05, 0.05), service(3.2, 1.2, 0.071, 0.115))
        ),
    )
    return RoomPlan(
        "box",
        "box room with a door, a window and outlets",
        (Chain(corners, walls),),
        ((1.1, 1.0, 1.5), (3.1, 2.2, 1.4)),
        floor_terms=(slope(0.001, -0.0005),),
    )


def bay_room() -> RoomPlan:
    corners = (
        (0.0, 0.0),
        (0.0, 5.0),
        (2.2, 5.0),
        (2.2, 3.4),
        (3.4, 3.4),
        (4.0, 4.1),
        (5.2, 4.1),
        (5.8, 3.4),
        (6.6, 3.4),
        (6.6, 0.0),
    )
    door = OpeningPlan("door", 2.2, 0.95, 2.1, casing=(0.07, 0.015))
    walls = (
        WallPlan(
            (bow(0.006, 2.5, 5.0),),
            (service(1.2, 0.4, 0.08, 0.08), OpeningPlan("niche", 2.9, 0.5, 0.7, 1.1, 0.12, "solid")),
        ),
        WallPlan((bow(0.001, 1.1, 2.2),), (OpeningPlan("window", 0.5, 1.2, 1.3, 0.9, behind="pane"),)),
        WallPlan((slope(0, 0.003),), (service(0.7, 1.1, 0.09, 0.15),)),
        WallPlan((bow(-0.001, 0.6, 1.2),)),
        WallPlan((slope(0, -0.001),)),
        WallPlan((), (OpeningPlan("window", 0.25, 0.7, 1.3, 0.9, behind="pane"),)),
        WallPlan((bow(0.0008, 0.46, 0.92),)),
        WallPlan(()),
        WallPlan(
            (bow(-0.004, 1.7, 3.4), twist(0.001, 1.7, 1.4, 3.4, 2.8)), (OpeningPlan("opening", 1.2, 0.9, 0.7, 1.0),)
        ),
        WallPlan((ripple(0.0012, 1.2, 40), bow(0.002, 3.3, 6.6)), (door, service(4.5, 0.3, 0.12, 0.08))),
    )
    return RoomPlan(
        "bay",
        "L-shaped room with a bay and outside corners",
        (Chain(corners, walls),),
        ((1.1, 3.6, 1.5), (1.5, 1.3, 1.6), (4.5, 2.4, 1.5), (5.5, 1.0, 1.4)),
        (CeilingPlan(2.8),),
    )


def column_room() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 4.4), (5.6, 4.4), (5.6, 0.0))
    walls = (
        WallPlan(
            (bow(0.003, 2.2, 4.4), bump(0.0015, 1.2, 1.4, 0.3)),
            (service(0.6, 0.3, 0.08, 0.08),),
            skirting=(0.08, 0.012),
        ),
        WallPlan(
            (slope(0, 0.0015), bow(0.005, 1.3, 2.6, "v")), (OpeningPlan("window", 2.0, 1.6, 1.1, 1.0, behind="pane"),)
        ),
        WallPlan((bow(-0.002, 2.2, 4.4),), (OpeningPlan("door", 1.2, 0.85, 2.0, behind="solid", depth=0.05),)),
        WallPlan(
            (ripple(0.0006, 0.7, 90),),
            (
                OpeningPlan("service", 2.0, 0.11, 0.11, 2.1, 0.2, "nothing", circle=True),
                service(4.0, 1.1, 0.075, 0.12),
            ),
        ),
    )
    square = ((3.4, 1.8), (3.75, 1.8), (3.75, 2.15), (3.4, 2.15))
    column = Chain(square, tuple(WallPlan() for _ in square))
    boxes = (
        Box((0.9, 4.05), (1.2, 0.6, 0.75)),
        Box((5.25, 2.6), (0.6, 0.9, 1.9)),
        Box((2.2, 1.6), (0.9, 0.7, 0.74), 24.0),
        Box((0.35, 1.0), (0.45, 0.5, 0.9), 12.0),
    )
    return RoomPlan(
        "column",
        "room with a square column and furniture",
        (Chain(corners, walls), column),
        ((1.2, 2.8, 1.6), (4.5, 3.2, 1.5), (3.6, 0.9, 1.6), (1.1, 0.9, 1.5)),
        (CeilingPlan(2.6),),
        boxes=boxes,
        people=(Person(0, (2.3, 3.3)), Person(2, (4.6, 1.3))),
    )


def clutter_room() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 3.8), (5.0, 3.8), (5.0, 0.0))
    walls = (
        WallPlan(
            (bow(0.002, 1.9, 3.8),), (OpeningPlan("door", 2.6, 0.8, 2.02, casing=(0.06, 0.015)),), skirting=(0.1, 0.015)
        ),
        WallPlan(
            (slope(0, 0.002),),
            (OpeningPlan("window", 2.9, 1.2, 1.2, 0.9, depth=0.1, behind="pane"),),
            skirting=(0.1, 0.015),
        ),
        WallPlan(
            (bow(-0.0025, 1.9, 3.8),),
            (service(1.7, 0.3, 0.15, 0.08), service(3.4, 1.1, 0.08, 0.08)),
            skirting=(0.1, 0.015),
        ),
        WallPlan(
            (ripple(0.0005, 1.5),),
            (OpeningPlan("door", 3.6, 0.85, 2.02, behind="solid", depth=0.06),),
            skirting=(0.1, 0.015),
        ),
    )
    boxes = (
        Box((0.32, 1.2), (0.6, 1.4, 2.25)),
        Box((1.6, 3.45), (1.8, 0.65, 0.85)),
        Box((1.6, 3.62), (1.8, 0.32, 0.7), bottom=1.5),
        Box((4.6, 1.0), (0.7, 1.1, 0.45), 4.0),
        Box((2.6, 1.8), (1.4, 0.8, 0.74), 15.0),
        Box((2.2, 0.9), (0.45, 0.45, 0.9), 40.0),
        Box((4.8, 3.5), (0.3, 0.3, 1.3)),
    )
    people = (Person(0, (3.4, 2.4)), Person(1, (1.5, 2.6)), Person(2, (2.9, 0.7)), Person(3, (3.9, 1.7)))
    stations = ((1.1, 2.7, 1.6), (3.9, 2.9, 1.7), (3.6, 0.6, 1.5), (1.2, 0.7, 1.6))
    return RoomPlan(
        "clutter",
        "cluttered office with skirting, casings, a tall cupboard and people",
        (Chain(corners, walls),),
        stations,
        (CeilingPlan(2.6),),
        boxes=boxes,
        people=people,
    )


def corridor() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 1.4), (9.0, 1.4), (9.0, 0.0))
    doors = (
        OpeningPlan("door", 0.7, 0.82, 2.03, depth=0.12),
        OpeningPlan("door", 3.6, 0.82, 2.03, depth=0.05, behind="solid"),
        OpeningPlan("door", 6.9, 0.82, 2.03, depth=0.12),
    )
    walls = (
        WallPlan(),
        WallPlan((bow(0.008, 4.5, 9.0),), doors),
        WallPlan((), (OpeningPlan("window", 0.25, 0.9, 1.4, 0.8, behind="pane"),)),
        WallPlan(
            (ripple(0.001, 2.5), slope(0, -0.0015)),
            (
                service(1.0, 1.05, 0.08, 0.08),
                service(5.2, 0.3, 0.09, 0.09),
                OpeningPlan("niche", 6.5, 0.6, 0.9, 0.9, 0.18, "solid"),
            ),
        ),
    )
    return RoomPlan(
        "corridor",
        "corridor 1.4 m wide with many doors, seen at a grazing angle",
        (Chain(corners, walls),),
        ((1.2, 0.7, 1.5), (4.6, 0.75, 1.5), (7.9, 0.65, 1.5)),
        (CeilingPlan(2.5),),
        floor_terms=(slope(0.002, 0.0),),
    )


def bathroom() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 2.5), (1.9, 2.5), (1.9, 0.0))
    pipe = OpeningPlan("service", 0.35, 0.1, 0.1, 0.18, 0.2, "nothing", circle=True)
    walls = (
        WallPlan(
            (bow(0.0012, 1.2, 2.4, "v"),),
            (service(0.4, 1.1, 0.05, 0.05), service(0.9, 1.1, 0.05, 0.05), service(1.9, 0.55, 0.06, 0.06)),
        ),
        WallPlan(
            (twist(0.0012, 0.95, 1.2, 1.9, 2.4),), (OpeningPlan("niche", 0.7, 0.6, 0.35, 1.15, 0.1, "solid"), pipe)
        ),
        WallPlan(
            (slope(0, 0.0025),),
            (OpeningPlan("window", 1.0, 0.6, 0.6, 1.5, behind="pane"), service(0.5, 0.25, 0.09, 0.09)),
        ),
        WallPlan((), (OpeningPlan("door", 0.9, 0.72, 2.0),)),
    )
    return RoomPlan(
        "bathroom",
        "small bathroom with boxes of 50 mm, a pipe and a niche",
        (Chain(corners, walls),),
        ((0.7, 0.8, 1.4), (1.3, 1.8, 1.5)),
        (CeilingPlan(2.4),),
        boxes=(Box((0.35, 1.6), (0.6, 1.6, 0.55)),),
        floor_terms=(slope(0.01, 0.008, 0.9, 1.2),),
    )
