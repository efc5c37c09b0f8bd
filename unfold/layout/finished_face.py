"""The finished face: a plane (or cylinder) before the wall that keeps at least the least bed on every measured spot.

The bed is kept even where the surface stands as proud as its uncertainty allows: heights enter with their upper bound.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.layout.result import Bed
from unfold.layout.wall_heights import WallHeights


@dataclass(frozen=True, slots=True)
class FinishedFace:
    """Height of the finished face over the wall's base surface: offset_mm + slope_v * v."""

    offset_mm: float  # at v = 0
    slope_v: float  # mm per mm; 0 when parallel to the wall
    thickness_mm: float  # of the panels
    backing_mm: float = 0.0  # board and shims behind the bed

    def height_mm(self, u: Floats, v: Floats) -> Floats:
        """Height at points of the wall; any shape."""
        height: Floats = self.offset_mm + self.slope_v * v + 0.0 * u
        return height


def finished_face(
    heights: WallHeights, least_bed_mm: float, thickness_mm: float, slope_v: float = 0.0, board_mm: float = 0.0
) -> FinishedFace:
    """Set the finished face as close to the wall as the least bed allows.

    Parameters
    ----------
    heights : WallHeights
        Measured heights (after patching, where the wall is patched); at least one must be known.
    least_bed_mm, thickness_mm : float
        Least bed and panel thickness, millimetres.
    slope_v : float
        How much the face leans against the wall's base surface, mm per mm.
    board_mm : float
        Thickness of backer board between the wall's highest spot and the bed; 0 without board.

    Raises
    ------
    ValueError
        No height is known.
    """
    if not heights.measured.any():
        raise ValueError("a finished face needs at least one measured height")
    proudest = float(np.nanmax(heights.above(slope_v).upper_mm))
    return FinishedFace(proudest + board_mm + least_bed_mm + thickness_mm, slope_v, thickness_mm, board_mm)


def bed_of(face: FinishedFace, heights: WallHeights, clad_area_mm2: float, least_bed_mm: float) -> Bed:
    """Return the bed's depth and its volume over the clad area; unmeasured parts count with the mean depth.

    On backer board the bed is as deep as the least bed everywhere, for the board is flat.
    """
    if face.backing_mm > 0.0:
        return Bed(least_bed_mm, least_bed_mm, least_bed_mm, least_bed_mm * clad_area_mm2 * 1e-6)
    behind = face.offset_mm - face.thickness_mm - heights.above(face.slope_v).height_mm
    depths = behind[np.isfinite(behind)]
    mean = float(depths.mean())
    return Bed(float(depths.min()), mean, float(depths.max()), mean * clad_area_mm2 * 1e-6)


def faceted_bed(bed: Bed, radius_mm: float, width_mm: float, clad_area_mm2: float) -> Bed:
    """Deepen a bed by what flat panels of a width stand off a cylinder: their sagitta, c^2 / (8 R).

    Before a concave wall (radius above zero) the deep place is a panel's middle, before a convex one its edges; a
    parabola's mean height is two thirds of its sagitta.
    """
    sagitta = width_mm**2 / (8.0 * abs(radius_mm))
    mean = bed.mean_mm + sagitta * (2.0 / 3.0 if radius_mm > 0.0 else 1.0 / 3.0)
    return Bed(bed.least_mm, mean, bed.most_mm + sagitta, mean * clad_area_mm2 * 1e-6)


def widest_facet_mm(radius_mm: float, play_mm: float) -> float:
    """Widest flat panel on a cylinder whose sagitta keeps within some play of the bed."""
    return float(np.sqrt(8.0 * radius_mm * max(play_mm, 0.0)))


def plumb_slope(up_scan: Floats, up: Floats, inward: Floats) -> float:
    """Slope (mm of height per mm of v) of a plumb plane in a wall's frame; all arguments unit vectors (3,)."""
    return float(np.dot(up_scan, inward) / np.dot(up_scan, up))
