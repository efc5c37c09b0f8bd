"""What the room stage gives: which way is up, the floor and ceiling, and each wall's base surface and neighbours.

Everything here is in metres in *level* coordinates: local coordinates turned so that z is plumb-up. The origin is that
of local coordinates: `level = level_from_local @ local`, `scan = local + Scan.origin_m`.
"""

from dataclasses import dataclass
from typing import Literal

from unfold.arrays import Counts, Floats, Floats32
from unfold.findings import Finding
from unfold.room.frame import WallFrame


@dataclass(frozen=True, slots=True)
class Plumb:
    """Which way is up, and how well that is known."""

    source: Literal["scanner", "datum", "estimated"]
    up_local: Floats  # (3,) unit vector in local (= scan) axes
    standard_uncertainty_deg: float


@dataclass(frozen=True, slots=True)
class WallEnd:
    """What a wall meets at one of its upright ends."""

    kind: Literal["inside_corner", "outside_corner", "end"]
    neighbour: str | None  # id of the wall met there; None for an end


@dataclass(frozen=True, slots=True)
class Wall:
    """One wall's base surface (plane or upright cylinder) and its rough extent, good to a few centimetres."""

    id: str  # "W1", "W2", ... clockwise around the room seen from above
    frame: WallFrame
    width_m: float  # the wall runs over u in [0, width_m]
    bottom_m: float  # lowest v of the wall: the floor there, or where the scan ends
    top_m: float  # highest v of the wall: the ceiling there, or where the scan ends
    left: WallEnd  # at u = 0
    right: WallEnd  # at u = width_m
    loop: int  # index of the chain that it belongs to; loop 0 is the longest
    noise_m: float  # 1-sigma scatter of the cell points about the base surface

    @property
    def shape(self) -> Literal["plane", "cylinder"]:
        return "plane" if self.frame.radius_m is None else "cylinder"


@dataclass(frozen=True, slots=True)
class Slab:
    """A floor or ceiling surface: z = height_m + slope_x * x + slope_y * y over a region of the plan."""

    kind: Literal["floor", "ceiling"]
    height_m: float
    slope_x: float
    slope_y: float
    region_m: tuple[Floats, ...]  # rings (n, 2) in plan, counter-clockwise; rough, good to about 0.1 m
    rms_m: float

    def z_at(self, x: Floats, y: Floats) -> Floats:
        """Height of the slab's plane at plan positions, metres; any shape."""
        return self.height_m + self.slope_x * x + self.slope_y * y


@dataclass(frozen=True, slots=True)
class Cells:
    """The scan folded into small cubes, in level coordinates: what rough work uses in place of the points."""

    edge_m: float
    mean_m: Floats32  # (n, 3) centroid of each cell's points
    count: Counts  # (n,)


@dataclass(frozen=True, slots=True)
class Room:
    """The rooms of the scan: walls in order, floor and ceiling, and how they lie in the scan."""

    level_from_local: Floats  # (3, 3) rotation
    plumb: Plumb
    walls: tuple[Wall, ...]
    slabs: tuple[Slab, ...]
    plan_m: tuple[Floats, ...]  # one ring (n, 2) a loop in plan; loops that are open are not listed
    floor_area_m2: float
    cells: Cells
    findings: tuple[Finding, ...]
