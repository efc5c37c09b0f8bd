"""Candidates with the rays that are to measure them, each with its own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools
from unfold.elevation.candidates import Candidate
from unfold.elevation.collect import Zone, ZoneRays
from unfold.elevation.evidence import NOISY_MM, Evidence
from unfold.elevation.local_rays import Box
from unfold.surface.result import WallSurface

EDGE_ZONE_MM = 45.0
NEIGHBOUR_MM = 60.0
ROUGH_MM = 8.0  # by how much a rough box may be too large
CASING_ZONE_MM = 190.0  # widest casing that is looked for


@dataclass(frozen=True, slots=True)
class Case:
    """A candidate with the rays around and inside it."""

    candidate: Candidate
    edge: ZoneRays
    inner: ZoneRays
    crossed_mm: float


def zones_of(wall_index: int, candidate: Candidate, evidence: Evidence, surface: WallSurface) -> tuple[Zone, Zone]:
    """The cells whose rays place a candidate's edges, and those whose rays tell what is inside."""
    u, v = np.meshgrid(
        evidence.grid.u0_mm + evidence.grid.cell_mm * np.arange(evidence.grid.columns),
        evidence.grid.v0_mm + evidence.grid.cell_mm * np.arange(evidence.grid.rows),
    )
    c, s = np.cos(np.radians(candidate.turn_deg)), np.sin(np.radians(candidate.turn_deg))
    a, b = c * u + s * v, -s * u + c * v
    u0, v0, u1, v1 = candidate.box_mm
    outward = np.maximum(np.maximum(u0 - a, a - u1), np.maximum(v0 - b, b - v1))
    reach = CASING_ZONE_MM if candidate.casing or hidden_boards(candidate, surface) else EDGE_ZONE_MM
    if candidate.source == "behind":  # an odd shape has edges inside of its box
        rim = ndimage.distance_transform_edt(candidate.cells) * evidence.grid.cell_mm
        edge = (outward < reach) & ~(candidate.cells & (rim > EDGE_ZONE_MM))
    else:
        edge = outward < reach
    inner = (outward < 0) & ~edge
    around = (outward > 0) & (outward < 150.0) & surface.is_wall & np.isfinite(surface.height_mm)
    height = float(np.median(surface.height_mm[around])) if around.any() else 0.0
    return Zone(wall_index, np.argwhere(edge), height), Zone(wall_index, np.argwhere(inner), height)


def hidden_boards(candidate: Candidate, surface: WallSurface) -> bool:
    """Whether the scan is too noisy for single cells to show a casing around an opening as large as a window."""
    box = candidate.box_mm
    large = min(box[2] - box[0], box[3] - box[1]) > 400.0 and candidate.turn_deg == 0.0
    return large and candidate.source != "plate" and surface.noise_mm > NOISY_MM


def apart(cases: Sequence[Case]) -> list[Case]:
    """Each case without the rays that cross another candidate close beside it: they tell of that one's edges."""
    found = []
    for case in cases:
        keep = np.ones(case.edge.u.size, dtype=bool)
        for other in cases:
            if other is not case and _beside(case.candidate, other.candidate):
                keep &= ~_across(case.edge, other.candidate.box_mm)
        found.append(replace(case, edge=case.edge.select(keep)))
    return found


def _beside(one: Candidate, other: Candidate) -> bool:
    """Whether two upright boxes stand beside or over each other, apart, and near enough to share rays."""
    if one.turn_deg != 0.0 or other.turn_deg != 0.0 or "absence" in (one.source, other.source):
        return False
    a, b = one.box_mm, other.box_mm
    gaps = [max(a[k] - b[k + 2], b[k] - a[k + 2]) for k in (0, 1)]
    return (0.0 <= gaps[0] < NEIGHBOUR_MM and gaps[1] < 0.0) or (0.0 <= gaps[1] < NEIGHBOUR_MM and gaps[0] < 0.0)


def _across(rays: ZoneRays, box: Box) -> Bools:
    """Rays well within a rough box: it may reach over the web between the two."""
    inside_u = (rays.u > box[0] + ROUGH_MM) & (rays.u < box[2] - ROUGH_MM)
    return inside_u & (rays.v > box[1] + ROUGH_MM) & (rays.v < box[3] - ROUGH_MM)
