"""The ticket hall of a small ferry terminal: the project's own example, from a bay window to a ticket hatch."""

from tests.simulate.heights import bow, bump, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, OpeningPlan, Person, RoomPlan, WallPlan
from tests.simulate.rooms.parts import service

HEIGHT_M = 3.0


def ferry_terminal() -> RoomPlan:
    """A hall 7.6 m by 5.4 m with a bay to the quay, a wall to patch, a wall to rebuild, and a square column."""
    corners = (
        (0.0, 0.0), (0.0, 5.4), (4.6, 5.4), (4.6, 4.6), (7.6, 4.6), (7.6, 0.0),
        (5.2, 0.0), (4.8, -0.7), (3.2, -0.7), (2.8, 0.0),
    )  # fmt: skip
    hall = Chain(corners, (*_landward(), *_quayside()))
    post = ((3.9, 2.5), (4.3, 2.5), (4.3, 2.9), (3.9, 2.9))
    column = Chain(post, tuple(WallPlan((slope(0, 0.001),)) for _ in post))
    return RoomPlan(
        "ferry_terminal",
        "the ticket hall of a small ferry terminal",
        (hall, column),
        ((1.5, 1.3, 1.5), (2.2, 4.1, 1.55), (6.0, 3.4, 1.5), (5.3, 1.2, 1.6)),
        (CeilingPlan(HEIGHT_M, (0.001, 0.0)),),
        floor_terms=(slope(0.0015, -0.001, 3.8, 2.3), bow(-0.002, 3.8, 7.6)),
        boxes=_furniture(),
        people=(Person(1, (3.2, 2.0)), Person(2, (5.0, 1.9)), Person(3, (2.6, 3.1))),
        yaw_deg=12.0,
    )


def _landward() -> tuple[WallPlan, ...]:
    """From the entrance, clockwise: entrance wall, long wall, return, ticket office wall, staff wall."""
    entrance = OpeningPlan("door", 1.7, 1.6, 2.2, depth=0.2)
    hatch = OpeningPlan("opening", 0.9, 1.2, 0.9, 1.05, depth=0.14, space_side=0.7)
    staff = OpeningPlan("door", 0.7, 0.9, 2.05, behind="solid", depth=0.05)
    return (
        WallPlan(
            (bow(0.0022, 2.7, 5.4), slope(0, 0.001)),
            (entrance, service(1.3, 1.1, 0.08, 0.12), service(3.8, 0.3, 0.12, 0.08)),
        ),
        WallPlan((bow(0.0012, 2.3, 4.6), ripple(0.0002, 1.1, 20)), (service(0.5, 0.3, 0.08, 0.08),)),
        WallPlan((slope(0, -0.001),)),
        WallPlan((bow(-0.0015, 1.5, 3.0),), (hatch, service(2.4, 1.1, 0.08, 0.08))),
        WallPlan((twist(0.016, 2.3, 1.5, 4.6, HEIGHT_M), bow(-0.02, 2.3, 4.6)), (staff, service(2.4, 0.3, 0.08, 0.08))),
    )


def _quayside() -> tuple[WallPlan, ...]:
    """The wall to patch, the bay's three sides with its window, and the last wall."""
    window = OpeningPlan("window", 0.2, 1.2, 1.4, 0.85, depth=0.16, behind="pane")
    pipe = OpeningPlan("service", 0.5, 0.11, 0.11, 2.3, 0.2, "nothing", circle=True)
    return (
        WallPlan((bump(0.0045, 0.9, 1.3, 0.9), bump(-0.004, 1.7, 1.9, 0.7))),
        WallPlan((bow(0.0006, 0.4, 0.8),)),
        WallPlan((bow(0.001, 0.8, 1.6),), (window,)),
        WallPlan((slope(0, 0.0008),)),
        WallPlan((bow(0.0015, 1.4, 2.8),), (service(1.9, 0.3, 0.08, 0.08), pipe)),
    )


def _furniture() -> tuple[Box, ...]:
    return (
        Box((1.6, 5.05), (1.5, 0.5, 0.45)),  # bench
        Box((7.1, 1.5), (0.5, 1.6, 0.45)),  # bench
        Box((0.4, 4.7), (0.6, 0.7, 1.65)),  # ticket machine
        Box((6.1, 4.25), (1.8, 0.5, 0.95)),  # counter before the hatch
        Box((2.3, 2.4), (0.5, 0.5, 0.85), 20.0),  # leaflet stand
    )
