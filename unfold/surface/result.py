"""What the surface stage gives: each wall's height map, the ray evidence on the same grid, and the flatness figures.

All lengths in millimetres, in the wall's frame (u, v, h). Cell [i, j] is centred on u = u0_mm + j * cell_mm and
v = v0_mm + i * cell_mm, and reaches half a cell around it.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Counts, Floats
from unfold.findings import Finding
from unfold.quantity import Quantity, Verdict


@dataclass(frozen=True, slots=True)
class Grid:
    """A raster over the wall's plane; it reaches beyond the wall's rough extent on every side."""

    u0_mm: float
    v0_mm: float
    cell_mm: float
    rows: int
    columns: int

    @property
    def u_mm(self) -> Floats:
        """Centres of the columns, (columns,)."""
        return np.asarray(self.u0_mm + self.cell_mm * np.arange(self.columns), dtype=np.float64)

    @property
    def v_mm(self) -> Floats:
        """Centres of the rows, (rows,)."""
        return np.asarray(self.v0_mm + self.cell_mm * np.arange(self.rows), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class RayCounts:
    """What rays from known stations proved at each cell of the wall's plane; arrays of shape (rows, columns).

    A point without a known station counts as `hit`, `recess` or `proud` by where it lies, and never as `through`.
    """

    hit: Counts  # the ray ended on the wall's own surface
    recess: Counts  # the ray crossed the surface here and ended behind it, within reach of the wall
    through: Counts  # the ray crossed the surface here and ended farther behind, or met nothing
    proud: Counts  # the ray ended just in front of the surface: casing, plate, skirting, pipe
    blocked: Counts  # the ray would have crossed here, and ended farther in front
    recess_depth_mm: Floats  # mean depth behind the surface of the recess points; NaN where none
    lost: Counts | None = (
        None  # those of `through` that met nothing: weaker evidence, a dark or glossy wall may do it too
    )


@dataclass(frozen=True, slots=True)
class Straightedge:
    """The worst of a straightedge laid anywhere on the wall, and what one rule says of it."""

    rule: str
    length_mm: float
    tolerance_mm: float
    worst: Quantity | None  # mm; None where too little was measured
    u_mm: float | None  # centre of the straightedge where the worst lies
    v_mm: float | None
    angle_deg: float | None  # counter-clockwise from `right`
    used_length_mm: float | None  # shorter than length_mm where the wall is
    share_over: float | None  # share of the measured area whose worst straightedge is over the tolerance
    verdict: Verdict
    template_radius_mm: float | None = None  # where the worst is under a template of the wall's own radius


@dataclass(frozen=True, slots=True)
class Lump:
    """A rounded lump or hollow told from flat; mm in the wall's frame."""

    u_mm: float  # of its middle
    v_mm: float
    across_mm: float  # at its foot
    flat_share: float  # share of the radius over which it is flat; beyond it falls as a cosine
    height_mm: float  # of its top over the wall around it; below 0: a hollow
    standard_uncertainty_mm: float  # of the height
    doubtful: bool = False  # it may be a thing on the wall instead


@dataclass(frozen=True, slots=True)
class WallSurface:
    """One wall as measured."""

    wall: str
    grid: Grid
    height_mm: Floats  # (rows, columns) best estimate of the surface along `inward`; NaN where not measured
    standard_error_mm: Floats  # (rows, columns); NaN where not measured
    count: Counts  # (rows, columns) of the wall's own points
    is_wall: Bools  # (rows, columns) the wall's own surface was measured here
    rays: RayCounts
    noise_mm: float  # 1-sigma scatter of single points about the surface
    registration_mm: float  # standard uncertainty of the wall's height from the stations' disagreement, or the default
    lean_mm_per_m: Quantity | None  # positive: the top leans into the room
    bow_horizontal_mm: Quantity | None
    bow_vertical_mm: Quantity | None
    flatness_least_squares_mm: float | None
    flatness_minimum_zone_mm: float | None
    straightedges: tuple[Straightedge, ...]
    verdict: Verdict
    uncertainty_parts: dict[str, float]  # named parts of the straightedge's standard uncertainty, mm
    lumps: tuple[Lump, ...] = ()  # told from flat, and doubtful ones
    smallest_lumps: tuple[tuple[float, float], ...] = ()  # across and height of rounded lumps that are found in 98 %


@dataclass(frozen=True, slots=True)
class Surfaces:
    """All walls, in the order of Room.walls."""

    tolerance_set: str
    walls: tuple[WallSurface, ...]
    findings: tuple[Finding, ...]
