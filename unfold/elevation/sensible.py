"""Of the openings measured on a wall, those that are sure of their size, lie on the wall, and are not the same one."""

from collections.abc import Sequence

from shapely.geometry import Polygon

from unfold.elevation.outline import Outline
from unfold.elevation.result import Opening

MOST_UNCERTAIN = 0.2  # of its smaller size: what is less certain may not be there at all
MOST_UNCERTAIN_DEEP, SURELY_DEEP = 0.35, 20.0  # the same for a back this many standard deviations of the noise deep
ON_WALL_SHARE = 0.85
OVERLAP_SHARE = 0.2
BESIDE_MM = 40.0  # narrower strips of wall beside an opening are none
SAME_SHARE = 0.6  # of both together that two rings of one opening share


def sensible(openings: Sequence[Opening], outline: Outline, noise_mm: float) -> list[Opening]:
    """Leave out what lies largely off the wall, on another opening, or is hardly wider than it is uncertain.

    A box whose back lies many times the noise behind the wall is there, however roughly sparse rays tell its size.
    """
    face = Polygon(outline.ring)
    kept: list[Opening] = []
    for opening in sorted(_surest(openings), key=lambda one: -Polygon(one.ring_mm).area):
        ring = Polygon(opening.ring_mm)
        sure = opening.depth_mm is not None and opening.depth_mm > SURELY_DEEP * noise_mm
        share = MOST_UNCERTAIN_DEEP if sure else MOST_UNCERTAIN
        if opening.standard_uncertainty_mm > share * min(opening.size_mm):
            continue
        if ring.intersection(face).area < ON_WALL_SHARE * ring.area:
            continue
        if _wall_ends_there(opening, outline):
            continue
        if any(ring.intersection(Polygon(other.ring_mm)).area > OVERLAP_SHARE * ring.area for other in kept):
            continue
        kept.append(opening)
    return kept


def _wall_ends_there(opening: Opening, outline: Outline) -> bool:
    """Whether it takes a wall's end from floor to ceiling: no wall bounds it, the wall just ends before its outline."""
    below = opening.ring_mm.min(axis=0) - outline.ring.min(axis=0) < BESIDE_MM
    above = outline.ring.max(axis=0) - opening.ring_mm.max(axis=0) < BESIDE_MM
    return bool((below[0] or above[0]) and below[1] and above[1])


def _surest(openings: Sequence[Opening]) -> list[Opening]:
    """Of openings that are the same one, measured from two kinds of evidence, the one that is surest of its size."""
    kept: list[Opening] = []
    for opening in sorted(openings, key=lambda one: one.standard_uncertainty_mm):
        ring = Polygon(opening.ring_mm)
        others = [Polygon(other.ring_mm) for other in kept]
        if all(ring.intersection(other).area <= SAME_SHARE * ring.union(other).area for other in others):
            kept.append(opening)
    return kept
