"""The rooms that accuracy is measured in."""

from tests.simulate.heights import bow, bump, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, OpeningPlan, Person, RoomPlan, WallPlan

SOCKET = {"depth": 0.05, "behind": "solid"}


def _service(u: float, v: float, width: float, height: float) -> OpeningPlan:
    return OpeningPlan("service", u, width, height, v, depth=0.05, behind="solid")


def box_room() -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 3.2), (4.2, 3.2), (4.2, 0.0))
    walls = (
        WallPlan(
            (bow(0.004, 1.6, 3.2), slope(0, 0.001)), (_service(0.5, 0.3, 0.08, 0.08), _service(2.4, 1.1, 0.09, 0.15))
        ),
        WallPlan(
            (bow(-0.003, 2.1, 4.2), ripple(0.0003, 0.9)), (OpeningPlan("window", 1.2, 1.4, 1.2, 0.95, behind="pane"),)
        ),
        WallPlan((slope(0, -0.002), bow(0.0015, 1.35, 2.7, "v")), (OpeningPlan("door", 1.6, 0.9, 2.05),)),
        WallPlan(
            (twist(0.003, 2.1, 1.35, 4.2, 2.7),), (_service(1.0, 0.35, 0.05, 0.05), _service(3.2, 1.2, 0.071, 0.115))
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
            (_service(1.2, 0.4, 0.08, 0.08), OpeningPlan("niche", 2.9, 0.5, 0.7, 1.1, 0.12, "solid")),
        ),
        WallPlan((bow(0.001, 1.1, 2.2),), (OpeningPlan("window", 0.5, 1.2, 1.3, 0.9, behind="pane"),)),
        WallPlan((slope(0, 0.003),), (_service(0.7, 1.1, 0.09, 0.15),)),
        WallPlan((bow(-0.001, 0.6, 1.2),)),
        WallPlan((slope(0, -0.001),)),
        WallPlan((), (OpeningPlan("window", 0.25, 0.7, 1.3, 0.9, behind="pane"),)),
        WallPlan((bow(0.0008, 0.46, 0.92),)),
        WallPlan(()),
        WallPlan(
            (bow(-0.004, 1.7, 3.4), twist(0.001, 1.7, 1.4, 3.4, 2.8)), (OpeningPlan("opening", 1.2, 0.9, 0.7, 1.0),)
        ),
        WallPlan((ripple(0.0012, 1.2, 40), bow(0.002, 3.3, 6.6)), (door, _service(4.5, 0.3, 0.12, 0.08))),
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
            (_service(0.6, 0.3, 0.08, 0.08),),
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
                _service(4.0, 1.1, 0.075, 0.12),
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


ROOMS = {maker().name: maker for maker in (box_room, bay_room, column_room)}
