"""How a simulated room is described: its plan, its walls' surfaces, its openings and what stands in it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from unfold.elevation.result import OpeningKind

Place = tuple[float, float]
Terms = Sequence[tuple[float, ...]]


@dataclass(frozen=True)
class OpeningPlan:
    """An opening; u is its left edge, v its lower edge (None: it stands on the floor). Metres."""

    kind: OpeningKind
    u: float
    width: float
    height: float
    v: float | None = None
    depth: float = 0.15  # of the reveal
    behind: Literal["space", "solid", "pane", "nothing"] = "space"
    circle: bool = False  # `width` is its diameter
    casing: tuple[float, float] | None = None  # width of its face, how far it stands proud
    pane_returns: float = 0.15
    space_depth: float = 2.5
    space_side: float = 1.0  # by which the space beyond is wider on each side


@dataclass(frozen=True)
class WallPlan:
    """The wall that starts at a corner of the chain. `radius` as WallFrame.radius_m; terms shape its surface."""

    terms: Terms = ()
    openings: tuple[OpeningPlan, ...] = ()
    radius: float | None = None
    skirting: tuple[float, float] | None = None  # height, how far it stands proud


@dataclass(frozen=True)
class Chain:
    """Walls from corner to corner, each seen with the next at its right; the outer chain of a room runs clockwise.

    An open chain has one corner more than walls. A closed chain of one wall and a negative radius is a round column
    that starts at its corner.
    """

    corners: tuple[Place, ...]
    walls: tuple[WallPlan, ...]
    closed: bool = True


@dataclass(frozen=True)
class CeilingPlan:
    """A piece of ceiling: z = height + slope_x x + slope_y y over `area` (None: the whole floor).

    With `faces` the piece hangs under another one, and upright faces close it: a bulkhead.
    """

    height: float
    slope: tuple[float, float] = (0.0, 0.0)
    area: tuple[Place, ...] | None = None
    faces: bool = False
    terms: Terms = ()


@dataclass(frozen=True)
class Box:
    """A piece of furniture, turned by `yaw_deg` about its middle."""

    middle: Place
    size: tuple[float, float, float]
    yaw_deg: float = 0.0
    bottom: float = 0.0


@dataclass(frozen=True)
class Pole:
    """An upright pipe or post of furniture."""

    middle: Place
    radius: float
    top: float
    bottom: float = 0.0


@dataclass(frozen=True)
class Plant:
    """Leaves at random places within a ball, which hide what is behind them here and there."""

    middle: tuple[float, float, float]
    radius: float
    leaves: int = 40


@dataclass(frozen=True)
class Mirror:
    """A mirror hung on a wall, `proud` before its highest place."""

    chain: int
    wall: int
    u: float
    v: float
    width: float
    height: float
    proud: float = 0.006


@dataclass(frozen=True)
class Person:
    """Somebody who stands there while one station measures."""

    station: int
    place: Place


@dataclass(frozen=True)
class RoomPlan:
    """A whole scene. Metres; z = 0 is the nominal floor."""

    name: str
    description: str
    chains: tuple[Chain, ...]
    stations: tuple[tuple[float, float, float], ...]
    ceilings: tuple[CeilingPlan, ...] = (CeilingPlan(2.7),)
    floor_terms: Terms = ()
    floor_area: tuple[Place, ...] | None = None  # needed where no chain is closed
    wall_top: float | None = None  # where there is no ceiling
    boxes: tuple[Box, ...] = ()
    poles: tuple[Pole, ...] = ()
    plants: tuple[Plant, ...] = ()
    mirrors: tuple[Mirror, ...] = ()
    people: tuple[Person, ...] = ()
    tilt_deg: float = 0.0  # of the scanner; above zero it does not level itself
    scan_tilt_deg: float = 0.0  # of the scan's coordinates
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)  # of the scan's coordinates
    yaw_deg: float = 7.0  # of the scan's coordinates
    unit: Literal["m", "ft", "mm"] = "m"
    suffix: str = "e57"  # of the file that it comes in
    path: tuple[tuple[float, float, float], ...] = field(default=())  # of a handheld scanner; default: by the stations
