"""What the elevation stage gives: each wall unfolded to 2D, with its scribed outline, openings and unseen areas.

Lengths in millimetres in the wall's frame; rings are (n, 2) arrays of [u, v], not repeated at the end. Outlines and
rings run counter-clockwise seen from inside the room. Fields follow the published `elevations.json`.
"""

from dataclasses import dataclass
from typing import Literal

from unfold.arrays import Floats
from unfold.findings import Finding

EdgeKind = Literal["floor", "ceiling", "inside_corner", "outside_corner", "end"]
OpeningKind = Literal["door", "window", "opening", "niche", "service"]


@dataclass(frozen=True, slots=True)
class Edge:
    """A run of the outline: its points outline[first] .. outline[last] in ring order; the last run ends at 0."""

    kind: EdgeKind
    neighbour: str | None  # "W2", "floor", "ceiling" or None
    first: int
    last: int
    bow_mm: float
    standard_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Opening:
    """A door, window, opening, niche or service box."""

    id: str  # "W1-O1"
    kind: OpeningKind
    ring_mm: Floats  # (n, 2) bounds the visible wall face
    shape: Literal["rectangle", "circle", "polygon"]
    size_mm: tuple[float, ...]  # (width, height) or (diameter,)
    depth_mm: float | None
    evidence: Literal["through", "recess", "absence"]
    standard_uncertainty_mm: float
    clear_ring_mm: Floats | None  # inside the casing, where there is one


@dataclass(frozen=True, slots=True)
class WallElevation:
    """One wall unfolded. Frame vectors are in scan axes, so that a job folder alone is enough to place it."""

    id: str
    origin_scan_m: Floats  # (3,)
    right: Floats  # (3,)
    up: Floats  # (3,)
    inward: Floats  # (3,)
    shape: Literal["plane", "cylinder"]
    radius_mm: float | None  # signed as WallFrame.radius_m: positive concave, negative convex
    outline_mm: Floats  # (n, 2)
    edges: tuple[Edge, ...]
    openings: tuple[Opening, ...]
    unseen_mm: tuple[Floats, ...]
    area_mm2: float  # outline less openings
    seen_share: float
    level_v_mm: float  # v of the room's level datum on this wall
    plumb_u_mm: float  # u of a plumb datum line on this wall
    loop: int = 0  # walls of one chain share it


@dataclass(frozen=True, slots=True)
class Elevations:
    """All walls of the job, unfolded."""

    walls: tuple[WallElevation, ...]
    up_scan: Floats  # (3,)
    scan_from_level: Floats  # (4, 4) rigid, metres
    plumb_source: Literal["scanner", "datum", "estimated"]
    plumb_standard_uncertainty_deg: float
    floor_area_mm2: float
    findings: tuple[Finding, ...]
