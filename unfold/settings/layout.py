"""[layout]: which walls are clad, on what bed, with which gaps, joints and sheets.

Sources named in the descriptions: "looked up" was read in a public page that quotes the standard, "from memory" was
not verified, "common practice" has no published source.
"""

from typing import Literal

from pydantic import Field, PrivateAttr, model_validator

from unfold.settings.length import Millimetres
from unfold.settings.source import SettingsSource
from unfold.settings.table import Table

INCH = 25.4
FaceCondition = Literal["sound", "painted", "papered", "glazed", "dusty", "loose", "damp", "cracked", "hollow"]
TreatmentName = Literal["clad", "patch", "cover", "rebuild", "undecided"]
SchemeName = Literal[
    "best",
    "best of each wall",
    "equal",
    "centred joint",
    "centred panel",
    "from left",
    "from right",
    "datum",
    "openings",
    "centred opening",
]
Orientation = Literal["any", "upright", "lying"]
Bond = Literal["any", "straight", "staggered"]


class BedSettings(Table):
    """The adhesive bed, and what it may level out."""

    least: Millimetres = Field(3.0, ge=0, le=50, description="least bed anywhere, mm; common practice")
    most: Millimetres = Field(
        INCH / 2, gt=0, le=100, description="most bed anywhere, mm: 1/2 in for a large-format mortar; from memory"
    )
    face: Literal["along the wall", "plumb"] = Field(
        "along the wall",
        description="the finished face keeps parallel to the wall's plane, or stands plumb; a wall that leans more "
        "than allowed is laid plumb if the bed can take it; common practice",
    )

    @model_validator(mode="after")
    def _ordered(self) -> "BedSettings":
        if self.most < self.least:
            raise ValueError(f"most ({self.most:g} mm) must be at least the least bed ({self.least:g} mm)")
        return self


class TreatmentSettings(Table):
    """From when on a wall is patched, covered with board or rebuilt."""

    most_lean_mm_per_m: float = Field(
        round(INCH / 8 / 2.4384, 3), gt=0, le=50,
        description="most lean, mm per m: 1/8 in in 8 ft under thin-set tile (US federal guide, looked up)",
    )  # fmt: skip
    most_patch_share: float = Field(
        0.35, ge=0, le=1, description="share of the wall up to which patching pays; common practice"
    )
    most_fill: Millimetres = Field(10.0, ge=0, le=100, description="deepest fill of a patch, mm; common practice")
    most_take_down: Millimetres = Field(10.0, ge=0, le=50, description="highest spot ground off, mm; common practice")
    most_shim: Millimetres = Field(
        25.0, ge=0, le=200, description="most that shims behind backer board level out, mm; common practice"
    )
    shim_spacing: Millimetres = Field(
        406.4, gt=50, le=2000, description="spacing of the shims both ways, mm: stud spacing; common practice"
    )
    board_length: Millimetres = Field(
        2438.4, gt=100, le=5000, description="backer board's length, mm (8 ft); from memory"
    )
    board_width: Millimetres = Field(
        1219.2, gt=100, le=5000, description="backer board's width, mm (4 ft); from memory"
    )
    board_thickness: Millimetres = Field(
        INCH / 2, gt=1, le=50, description="backer board's thickness, mm; common practice"
    )
    most_unseen_share: float = Field(
        0.25, ge=0, le=1,
        description="share of the wall's face that may be unseen before the treatment stays undecided; common practice",
    )  # fmt: skip


class Face(Table):
    """What the user knows of a wall's face that no scan tells."""

    wall: str = Field(description="the wall's id, as W3")
    condition: FaceCondition = Field(
        "sound",
        description="painted, papered, glazed and dusty faces are covered with board; loose, damp, cracked and hollow "
        "ones are rebuilt; common practice",
    )
    treatment: TreatmentName | None = Field(
        None, description="decide it yourself; the reason then says what the scan alone says"
    )


class GapSettings(Table):
    """Open strips between the panels and what they meet."""

    change_of_plane: Millimetres = Field(
        INCH / 8, ge=0, le=50, description="at inside corners, mm (1/8 in); soft joints belong there (EJ171, looked up)"
    )
    outside_corner: Millimetres = Field(
        INCH / 8, ge=0, le=50,
        description="at outside corners, mm (1/8 in): to the wall's edge, or across a mitre; common practice",
    )  # fmt: skip
    floor: Millimetres = Field(INCH / 8, ge=0, le=100, description="over the floor, mm (1/8 in); common practice")
    ceiling: Millimetres = Field(
        INCH / 4, ge=0, le=100,
        description="under the ceiling, mm (1/4 in); common practice; a slab that deflects needs the engineer's figure",
    )  # fmt: skip
    end: Millimetres = Field(0.0, ge=0, le=100, description="where the wall's measured part ends, mm")
    opening: Millimetres = Field(
        INCH / 8, ge=0, le=50, description="around doors, windows and niches, mm (1/8 in); 2-3 mm is common practice"
    )
    box: Millimetres = Field(
        5.0, ge=0, le=50, description="clearance around outlet boxes and pipes, mm; common practice"
    )
    floor_edge: Literal["follow", "level"] = Field(
        "follow", description="panels follow the scribed floor, or end level above its highest point"
    )


class CornerSettings(Table):
    """Which of two clad walls runs through an inside corner; the other one butts against it."""

    walls: tuple[str, str] = Field(description="the two walls' ids")
    runs_through: str = Field(description="the id of the wall that runs through")

    @model_validator(mode="after")
    def _one_of_both(self) -> "CornerSettings":
        if self.runs_through not in self.walls:
            raise ValueError(f"runs_through must be {self.walls[0]!r} or {self.walls[1]!r}")
        return self


class MovementSettings(Table):
    """Soft joints that let the cladding move."""

    exposure: Literal["interior", "sun or moisture"] = Field(
        "interior", description="movement joints every 25 ft, or every 12 ft with sun or moisture (EJ171, looked up)"
    )
    spacing: Millimetres | None = Field(None, gt=300, le=20000, description="other spacing, mm; none: by exposure")
    expansion_per_K: float = Field(
        6.5e-6, ge=0, le=5e-5, description="panels' thermal expansion, 1/K; porcelain 6.0e-6 to 7.2e-6, looked up"
    )
    temperature_range_K: float = Field(20.0, ge=0, le=150, description="change of temperature, K; common practice")
    moisture_mm_per_m: float = Field(
        0.0, ge=0, le=2, description="panels' moisture movement, mm per m; porcelain absorbs at most 0.5 % (looked up)"
    )
    sealant_movement: float = Field(
        0.25, gt=0, le=1, description="movement capability of the sealant, share of the joint's width; looked up"
    )
    least_width: Millimetres = Field(
        INCH / 4, gt=0, le=50, description="least width of a movement joint, mm (1/4 in; EJ171, looked up)"
    )


class JointSettings(Table):
    """Joints between panels, and the scheme that they follow."""

    width: Millimetres = Field(
        INCH / 8, ge=0, le=50,
        description="joint width, mm (1/8 in); never under 1/16 in (ANSI A108.02 4.3.8, looked up)",
    )  # fmt: skip
    scheme: SchemeName = Field(
        "best",
        description="where joints go; best: the best ranked for the whole job; from left: whole sheets from the left",
    )
    orientation: Orientation = Field("any", description="panels upright, lying, or whichever ranks better")
    bond: Bond = Field("any", description="joints meet in crosses (straight) or in T (staggered)")
    stagger: float = Field(
        0.33,
        gt=0,
        le=0.5,
        description="offset of staggered rows, share of a panel; at most 0.33 (ANSI A108.02, looked up)",
    )
    least_strip: Millimetres = Field(
        150.0,
        ge=0,
        le=1000,
        description="narrowest panel that is not flagged, mm; 50 is the least cut; common practice",
    )


class WallJoints(Table):
    """A scheme or joints of one's own for one wall."""

    wall: str = Field(description="the wall's id, as W3")
    scheme: SchemeName | None = Field(None, description="the scheme of this wall")
    orientation: Orientation | None = Field(None, description="upright or lying panels on this wall")
    bond: Bond | None = Field(None, description="straight or staggered on this wall")
    joints_u: tuple[Millimetres, ...] | None = Field(
        None, description="own upright joints: u of their centres from the wall's left, mm"
    )
    joints_v: tuple[Millimetres, ...] | None = Field(
        None, description="own level joints: v of their centres, as on the elevation, mm"
    )


class JointOfOwn(Table):
    """One joint of one's own on a wall; joints may meet in T, and end at openings."""

    wall: str = Field(description="the wall's id, as W3")
    u: Millimetres | None = Field(None, description="an upright joint: u of its centre from the wall's left, mm")
    v: Millimetres | None = Field(None, description="a level joint: v of its centre, as on the elevation, mm")
    start: Millimetres | None = Field(
        None, description="where it starts along its run: on another joint or an opening's edge, mm; none: at the end"
    )
    end: Millimetres | None = Field(None, description="where it ends along its run, mm; none: at the other end")

    @model_validator(mode="after")
    def _one_line(self) -> "JointOfOwn":
        if (self.u is None) == (self.v is None):
            raise ValueError("give u for an upright joint or v for a level one, not both")
        if self.start is not None and self.end is not None and self.start >= self.end:
            raise ValueError(f"start ({self.start:g} mm) must be less than end ({self.end:g} mm)")
        return self


class StockSettings(Table):
    """A kind of sheet."""

    id: str = Field("S1", description="its name")
    length: Millimetres = Field(
        3200.0, gt=50, le=6000, description="length, mm; veins run along it; 63 x 126 in, looked up"
    )
    width: Millimetres = Field(1600.0, gt=50, le=6000, description="width, mm; looked up")
    thickness: Millimetres = Field(6.0, ge=2, le=40, description="thickness, mm; 5.0-6.5 is a gauged class, looked up")
    density_kg_m3: float = Field(2400.0, gt=500, le=8000, description="kg per m3; 2200 to 2550, from memory")
    count: int | None = Field(None, ge=1, description="sheets at hand; none: as many as needed")
    directional: bool = Field(False, description="has veins or a grain along its length: panels are not turned freely")


class CuttingSettings(Table):
    """What the saw or the waterjet needs."""

    method: Literal["saw", "waterjet"] = Field("saw", description="saw: cuts from edge to edge; waterjet: free")
    kerf: Millimetres = Field(
        3.0, ge=0, le=20, description="width of the cut, mm; saw 1.6-3.5, waterjet 0.8-1.2, from memory"
    )
    trim: Millimetres = Field(20.0, ge=0, le=200, description="factory edge taken off all round, mm; looked up, varies")
    inside_radius: Millimetres = Field(
        5.0, ge=0, le=50, description="radius of inside corners, mm; at least 3, better 5-10; common practice"
    )
    least_bridge: Millimetres = Field(
        50.0, ge=0, le=500, description="least material between a cutout and an edge, mm; common practice"
    )


class VeinSettings(Table):
    """How directional sheets are laid."""

    direction: Literal["up", "along"] = Field("up", description="veins run up the wall or along it")
    match: Literal["none", "run on", "book"] = Field(
        "run on", description="panels beside each other: no match, veins running on, or book-matched pairs"
    )


class PassageSettings(Table):
    """One bottleneck of the way in, in the order they are met."""

    name: str = Field(description="what it is, as 'lift door'")
    width: Millimetres = Field(gt=0, description="clear width, mm")
    height: Millimetres = Field(gt=0, description="clear height, mm")
    next_width: Millimetres | None = Field(None, gt=0, description="width of the passage that it turns into, mm")


class LiftingFrameSettings(Table):
    """The frame with suction cups that panels are stood up with; it stands out in front while a panel is tipped in."""

    depth: Millimetres = Field(150.0, ge=0, le=1000, description="how far it stands out, mm; common practice")
    above_foot: Millimetres = Field(
        200.0, ge=0, le=2000, description="from the panel's lower edge to the frame's lower end, mm; common practice"
    )


class LayoutSettings(Table):
    """Cladding, joints, panels and sheets."""

    walls: tuple[str, ...] | None = Field(
        None, description="ids of the walls to clad; none: every wall to clad, patch or cover"
    )
    leave_out: tuple[str, ...] = Field((), description="ids of walls that stay as they are")
    runs_through: Literal["longer", "shorter", "left", "right"] = Field(
        "longer",
        description="which of two clad walls runs through an inside corner, the other butting; common practice",
    )
    outside_corners: Literal["profile", "mitre"] = Field(
        "profile",
        description="where two clad walls meet in an outside corner both stop at their wall's edge for a profile, or "
        "run on to a mitre, bevelled at half the corner's turn; common practice",
    )
    bed: BedSettings = Field(default_factory=BedSettings)
    treatment: TreatmentSettings = Field(default_factory=TreatmentSettings)
    gaps: GapSettings = Field(default_factory=GapSettings)
    joints: JointSettings = Field(default_factory=JointSettings)
    movement: MovementSettings = Field(default_factory=MovementSettings)
    cutting: CuttingSettings = Field(default_factory=CuttingSettings)
    veins: VeinSettings = Field(default_factory=VeinSettings)
    stock: tuple[StockSettings, ...] = Field((StockSettings(),), min_length=1)
    face: tuple[Face, ...] = ()
    corner: tuple[CornerSettings, ...] = ()
    wall: tuple[WallJoints, ...] = ()
    own_joint: tuple[JointOfOwn, ...] = ()
    route: tuple[PassageSettings, ...] = ()
    lifting_frame: LiftingFrameSettings = Field(default_factory=LiftingFrameSettings)

    _source: SettingsSource | None = PrivateAttr(None)

    @property
    def source(self) -> SettingsSource:
        """The file that these settings were read from, so that a fault found later can name the line."""
        return self._source if self._source is not None else SettingsSource(None, "")

    def remember(self, source: SettingsSource) -> None:
        """Keep the file that these settings were read from."""
        self._source = source

    @model_validator(mode="after")
    def _distinct(self) -> "LayoutSettings":
        ids = [kind.id for kind in self.stock]
        if len(set(ids)) != len(ids):
            raise ValueError("every stock needs an id of its own")
        if len({kind.thickness for kind in self.stock}) > 1:
            raise ValueError("all stock of one job must have the same thickness: the finished face depends on it")
        return self
