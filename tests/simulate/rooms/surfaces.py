"""Rooms whose walls' surfaces, fittings or coordinates are the difficulty."""

from tests.simulate.heights import bow, bump, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, Mirror, OpeningPlan, Person, Plant, Pole, RoomPlan, WallPlan
from tests.simulate.rooms.parts import service


def near_tolerance() -> RoomPlan:
    """Walls whose worst gap is a little within or a little over 3.175 mm in 3048 mm or 1.5875 mm in 609.6 mm."""
    corners = ((0.0, 0.0), (0.0, 4.0), (4.0, 4.0), (4.0, 2.0), (6.5, 2.0), (6.5, 0.0))
    walls = (
        WallPlan((bow(0.0047, 2.0, 4.0),)),  # 2.73 mm under the long edge
        WallPlan((bow(-0.0062, 2.0, 4.0),), (service(2.6, 0.3, 0.08, 0.08),)),  # 3.60 mm
        WallPlan((bow(0.0019, 1.4, 2.8, "v"),)),
        WallPlan((ripple(0.0014, 1.2),)),  # 1.43 mm under the short edge, 2.8 mm under the long one
        WallPlan((ripple(0.0018, 1.2, 90),)),  # 1.84 mm under the short edge
        WallPlan((bow(0.0105, 3.25, 6.5), slope(0, 0.006)), (OpeningPlan("door", 2.2, 0.9, 2.05),)),  # 2.31 mm
    )
    return RoomPlan(
        "near_tolerance",
        "walls close to the flatness tolerance on either side",
        (Chain(corners, walls),),
        ((1.4, 1.4, 1.5), (2.6, 2.9, 1.6), (4.9, 0.9, 1.5)),
        (CeilingPlan(2.8),),
    )


def diagonal() -> RoomPlan:
    """A twisted wall and a wall that is wavy along a diagonal: straight along rows or columns, or nearly so."""
    corners = ((0.0, 0.0), (0.0, 4.4), (5.0, 4.4), (5.0, 0.0))
    walls = (
        WallPlan((twist(0.011, 2.2, 1.5, 4.4, 3.0),)),
        WallPlan((ripple(0.002, 2.2, 45), ripple(-0.0003, 0.7, 135)), (service(1.2, 0.3, 0.08, 0.08),)),
        WallPlan((slope(0, 0.012),), (OpeningPlan("door", 2.2, 0.95, 2.1),)),
        WallPlan((twist(-0.004, 2.5, 1.5, 5.0, 3.0),), (OpeningPlan("window", 1.6, 1.8, 1.3, 0.9, behind="pane"),)),
    )
    return RoomPlan(
        "diagonal",
        "twisted and diagonally wavy walls, one out of plumb",
        (Chain(corners, walls),),
        ((1.3, 1.4, 1.5), (3.6, 3.0, 1.6)),
        (CeilingPlan(3.0),),
    )


def bumps() -> RoomPlan:
    """Small bumps and dents on otherwise flat walls: what is the smallest that is told from flat?"""
    corners = ((0.0, 0.0), (0.0, 3.0), (3.6, 3.0), (3.6, 0.0))
    grid = [(0.6 + 0.6 * i, 0.7 + 0.5 * j) for j in range(3) for i in range(4)]
    small = tuple(
        bump(height, *place, 0.03) for height, place in zip((0.0005, 0.001, 0.0015, 0.002) * 3, grid, strict=True)
    )
    wide = tuple(
        bump(height, *place, 0.15) for height, place in zip((0.0004, -0.0006, 0.001, -0.0015) * 3, grid, strict=True)
    )
    walls = (
        WallPlan(small),
        WallPlan(wide),
        WallPlan((bow(0.001, 1.5, 3.0),)),
        WallPlan((), (OpeningPlan("door", 1.2, 0.9, 2.05), service(2.8, 0.3, 0.05, 0.05))),
    )
    return RoomPlan(
        "bumps",
        "flat walls with small bumps and dents",
        (Chain(corners, walls),),
        ((1.2, 1.1, 1.4), (2.5, 1.9, 1.5)),
        (CeilingPlan(2.5),),
    )


def mirrors() -> RoomPlan:
    """Mirrors show rooms that are not there; panes let rays out and others not."""
    corners = ((0.0, 0.0), (0.0, 4.2), (5.2, 4.2), (5.2, 0.0))
    walls = (
        WallPlan((bow(0.003, 2.1, 4.2),), (service(3.4, 1.1, 0.08, 0.08),), skirting=(0.07, 0.012)),
        WallPlan(
            (slope(0, -0.001),),
            (
                OpeningPlan("window", 0.5, 1.8, 2.1, 0.25, behind="pane", pane_returns=0.3),
                OpeningPlan("window", 3.0, 1.4, 1.3, 0.9, behind="pane", pane_returns=0.08),
            ),
        ),
        WallPlan((bow(0.0015, 2.1, 4.2),)),
        WallPlan(
            (ripple(0.0005, 1.3),),
            (OpeningPlan("door", 0.5, 0.9, 2.05, casing=(0.08, 0.015)), service(1.8, 0.3, 0.08, 0.08)),
            skirting=(0.07, 0.012),
        ),
    )
    return RoomPlan(
        "mirrors",
        "two mirrors, a glass front, skirting and a door casing",
        (Chain(corners, walls),),
        ((1.4, 1.5, 1.5), (3.8, 2.6, 1.5), (2.4, 3.1, 1.6)),
        (CeilingPlan(2.7),),
        boxes=(Box((4.9, 1.2), (0.5, 1.0, 0.9)),),
        mirrors=(Mirror(0, 0, 0.8, 0.9, 1.2, 1.0), Mirror(0, 2, 1.6, 1.0, 0.8, 1.3)),
    )


def heating() -> RoomPlan:
    """A radiator, pipes before the walls and a plant: what stands a hand's breadth before a wall is no wall."""
    corners = ((0.0, 0.0), (0.0, 3.6), (4.8, 3.6), (4.8, 0.0))
    walls = (
        WallPlan((bow(0.002, 1.8, 3.6), slope(0, 0.001)), (service(2.6, 0.3, 0.08, 0.08),)),
        WallPlan((ripple(0.0005, 1.2),), (OpeningPlan("window", 1.5, 1.6, 1.3, 0.95, behind="pane"),)),
        WallPlan(
            (bow(-0.0018, 1.8, 3.6),), (OpeningPlan("service", 0.9, 0.08, 0.08, 2.2, 0.2, "nothing", circle=True),)
        ),
        WallPlan(
            (twist(0.001, 2.4, 1.3, 4.8, 2.6),), (OpeningPlan("door", 3.4, 0.9, 2.05), service(3.1, 1.1, 0.08, 0.08))
        ),
    )
    return RoomPlan(
        "heating",
        "a radiator, pipes and a plant close to the walls",
        (Chain(corners, walls),),
        ((1.2, 1.2, 1.5), (3.6, 1.3, 1.5), (2.6, 2.5, 1.6)),
        (CeilingPlan(2.6),),
        boxes=(Box((2.3, 3.5), (1.4, 0.1, 0.6), bottom=0.15), Box((0.45, 0.5), (0.5, 0.5, 0.4))),
        poles=(Pole((1.35, 3.53), 0.012, 2.6), Pole((4.73, 0.4), 0.05, 2.6)),
        plants=(Plant((0.45, 0.5, 0.9), 0.4), Plant((4.4, 3.2, 1.1), 0.35)),
    )


def mapped() -> RoomPlan:
    """Map coordinates: millions of metres, so that single precision loses everything."""
    corners = ((0.0, 0.0), (0.0, 3.4), (4.4, 3.4), (4.4, 0.0))
    walls = (
        WallPlan((bow(0.002, 1.7, 3.4),), (service(1.0, 0.3, 0.08, 0.08),)),
        WallPlan((bow(-0.003, 2.2, 4.4),), (OpeningPlan("window", 1.5, 1.3, 1.2, 0.9, behind="pane"),)),
        WallPlan((slope(0, 0.002),)),
        WallPlan((twist(0.001, 2.2, 1.3, 4.4, 2.6),), (OpeningPlan("door", 2.6, 0.9, 2.05),)),
    )
    return RoomPlan(
        "mapped",
        "map coordinates in millions of metres",
        (Chain(corners, walls),),
        ((1.2, 1.2, 1.5), (3.2, 2.2, 1.5)),
        (CeilingPlan(2.6),),
        offset=(3_512_345.678, 5_432_100.25, 87.5),
        yaw_deg=33.0,
    )


def in_feet() -> RoomPlan:
    """A text file without stations whose numbers are feet."""
    corners = ((0.0, 0.0), (0.0, 3.7), (4.9, 3.7), (4.9, 0.0))
    walls = (
        WallPlan((bow(0.002, 1.85, 3.7),), (service(1.4, 0.3, 0.08, 0.12),)),
        WallPlan((bow(0.0025, 2.45, 4.9),), (OpeningPlan("window", 1.7, 1.5, 1.2, 0.9, behind="pane"),)),
        WallPlan((slope(0, 0.001),), (OpeningPlan("niche", 1.2, 0.6, 0.8, 1.0, 0.12, "solid"),)),
        WallPlan((ripple(0.0006, 1.1),), (OpeningPlan("door", 2.6, 0.9, 2.05),)),
    )
    return RoomPlan(
        "in_feet",
        "a file in feet that states neither unit nor stations",
        (Chain(corners, walls),),
        ((1.3, 1.2, 1.5), (3.6, 2.5, 1.5)),
        (CeilingPlan(2.74),),
        boxes=(Box((4.5, 0.6), (0.6, 0.8, 0.75)),),
        unit="ft",
        suffix="ply",
        people=(Person(0, (2.6, 2.2)),),
    )
