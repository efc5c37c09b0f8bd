"""What the layout stage gives: per wall a treatment, a finished face, gaps, joints and panels; and the sheets.

Lengths in millimetres in the wall's frame; fields follow the published `layout.json`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from unfold.arrays import Floats
from unfold.findings import Finding

Treatment = Literal["clad", "patch", "cover", "rebuild", "undecided"]


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of sheet: `count` is how many the job uses."""

    id: str
    size_mm: tuple[float, float]  # length, width
    thickness_mm: float
    density_kg_m3: float
    count: int
    directional: bool


@dataclass(frozen=True, slots=True)
class PatchSpot:
    """An area to fill or a high spot to take down before cladding."""

    kind: Literal["fill", "take_down"]
    ring_mm: Floats  # (n, 2)
    area_mm2: float
    volume_litres: float
    most_mm: float


Patches = Mapping[str, tuple[PatchSpot, ...]]
"""What is patched on each wall, by wall id."""


@dataclass(frozen=True, slots=True)
class Cover:
    """Backer board on shims, where a wall is covered before cladding."""

    board_size_mm: tuple[float, float]  # length, width
    board_thickness_mm: float
    boards: int
    shims: int  # places of half a millimetre and more at the shim spacing
    most_shim_mm: float


@dataclass(frozen=True, slots=True)
class Bed:
    """The adhesive bed between the wall and the panels."""

    least_mm: float
    mean_mm: float
    most_mm: float
    volume_litres: float


@dataclass(frozen=True, slots=True)
class Gap:
    edge: int  # index into the elevation's edges
    width_mm: float
    reason: str  # the kind of place that asks for it
    butts_against: str | None = None  # the wall whose finished face the gap is taken from, in place of the edge


@dataclass(frozen=True, slots=True)
class Joint:
    kind: Literal["joint", "movement"]
    line_mm: Floats  # (2, 2)
    width_mm: float


@dataclass(frozen=True, slots=True)
class Cutout:
    of: str  # opening id
    ring_mm: Floats  # (n, 2) clockwise


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a panel is cut from: the panel's local origin on the sheet, quarter-turned or not."""

    stock: str
    sheet: int  # 1, 2, ... within the stock
    origin_mm: tuple[float, float]
    turned: bool


@dataclass(frozen=True, slots=True)
class Mitre:
    """A bevelled edge at an outside corner: the ring is the face, the back ends thickness x tan(bevel) before it."""

    neighbour: str  # the wall that it meets
    bevel_deg: float  # from square
    line_mm: Floats  # (2, 2) the face's edge, from below up


@dataclass(frozen=True, slots=True)
class Panel:
    id: str  # "W1-P1"
    ring_mm: Floats  # (n, 2) counter-clockwise, true scribed shape on the wall
    cutouts: tuple[Cutout, ...]
    row: int
    column: int
    area_mm2: float
    mass_kg: float
    placed: Placement | None  # `from` in layout.json
    fits_in: bool | None
    notes: tuple[str, ...]
    label: str = ""  # wall, row, column and which way is up
    mitres: tuple[Mitre, ...] = ()


@dataclass(frozen=True, slots=True)
class Balance:
    """Areas in mm2: wall is the sum of the rest, without `beyond`: what mitred panels reach past the wall's edge."""

    wall: float
    panels: float
    joints: float
    gaps: float
    openings: float
    unclad: float
    beyond: float = 0.0


@dataclass(frozen=True, slots=True)
class WallLayout:
    id: str
    treatment: Treatment
    reason: str  # one sentence with the figures behind the treatment
    patches: tuple[PatchSpot, ...]
    face_offset_mm: float | None
    bed: Bed | None
    field_mm: tuple[Floats, ...]  # rings; usually one
    gaps: tuple[Gap, ...]
    joints: tuple[Joint, ...]
    panels: tuple[Panel, ...]
    balance: Balance
    cover: Cover | None = None
    face_slope_mm_per_m: float = 0.0  # mm of face offset per m of v: the face leans against the wall's plane
    scheme: str | None = None  # name of the scheme that its joints follow
    provisional: bool = False  # laid on a wall whose treatment is not decided: nothing of it is to be cut yet


@dataclass(frozen=True, slots=True)
class Scheme:
    """One proposal for the joints of the whole job."""

    name: str
    panels: int
    sheets: int
    used_share: float
    least_strip_mm: float
    joint_mm: float
    chosen: bool
    why: str


@dataclass(frozen=True, slots=True)
class Totals:
    area_mm2: float
    panels: int
    sheets: int
    used_share: float
    joint_mm: float
    cut_mm: float
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Layout:
    stock: tuple[Stock, ...]
    walls: tuple[WallLayout, ...]
    totals: Totals
    schemes: tuple[Scheme, ...]
    findings: tuple[Finding, ...]
