"""One wall's joints by one rule, judged: what the proposals are ranked by."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from unfold.layout.own_joints import OwnJoints
from unfold.layout.pattern import Pattern
from unfold.layout.site import Site
from unfold.layout.wall_face import polygon_list
from unfold.settings.layout import LayoutSettings

ALIGNED_MM = 15.0  # a joint this close to an opening's side or middle reads as lined up with it

BOX_POINTS = 5  # of a closed rectangle


@dataclass(frozen=True, slots=True)
class Proposal:
    """One wall's joints by one rule, with the figures that it is ranked by."""

    name: str
    pattern: Pattern | OwnJoints
    sizes_mm: tuple[tuple[float, float], ...]  # the panels' bounding sizes
    narrow: int  # panels narrower than wanted
    least_strip_mm: float
    boxes_hit: int
    asymmetry: float  # 0: the joints mirror about the wall's middle
    aligned: int
    joint_mm: float
    too_large: int  # panels that no sheet gives

    @property
    def rank(self) -> tuple[float, ...]:
        """Smaller is better; sheets are put in by whoever can count them."""
        return (
            self.boxes_hit, round(self.asymmetry, 2), -self.aligned, -round(self.least_strip_mm), round(self.joint_mm)
        )  # fmt: skip


def longest_run_mm(site: Site, pattern: Pattern | OwnJoints) -> float:
    """The longest run between movement joints, or from one to an end of the field, either way."""
    left, low, right, high = site.ground.region.bounds
    across = np.diff([left, *sorted(pattern.movement_u), right])
    up = np.diff([low, *sorted(pattern.movement_v), high])
    return float(max(across.max(), up.max()))


def judge(site: Site, name: str, pattern: Pattern | OwnJoints, settings: LayoutSettings) -> Proposal:
    """Work out the figures of one pattern on one wall."""
    region, bounds = site.coarse, site.ground.region.bounds
    pieces = []
    for _, _, cell in pattern.cells():
        is_box = len(cell.exterior.coords) == BOX_POINTS
        pieces += polygon_list(shapely.clip_by_rect(region, *cell.bounds) if is_box else region.intersection(cell))
    sizes = tuple(_size_within(piece.bounds, bounds) for piece in pieces)
    strips = [min(size) for size in sizes]
    return Proposal(
        name=name,
        pattern=pattern,
        sizes_mm=sizes,
        narrow=sum(strip < settings.joints.least_strip for strip in strips),
        least_strip_mm=min(strips, default=0.0),
        boxes_hit=_boxes_hit(site, pattern, settings),
        asymmetry=_asymmetry(site, pattern),
        aligned=_aligned(site, pattern),
        joint_mm=_joint_length(region, pattern),
        too_large=sum(not site.limits.fits(*size) for size in sizes),
    )


def _size_within(piece: tuple[float, ...], bounds: tuple[float, ...]) -> tuple[float, float]:
    """Width and height of a piece of the coarse region, which may reach out of the true one by a little."""
    left, low = max(piece[0], bounds[0]), max(piece[1], bounds[1])
    return min(piece[2], bounds[2]) - left, min(piece[3], bounds[3]) - low


def _boxes_hit(site: Site, pattern: Pattern | OwnJoints, settings: LayoutSettings) -> int:
    """Boxes that a joint runs through, or past nearer than the least bridge."""
    lines = [line for _, line, _ in pattern.strips()]
    if not lines:
        return 0
    joints = shapely.union_all(lines)
    reach = settings.cutting.least_bridge + settings.gaps.box + settings.joints.width / 2.0
    return sum(bool(shapely.dwithin(site.ground.face.openings[name], joints, reach)) for name in site.boxes)


def _asymmetry(site: Site, pattern: Pattern | OwnJoints) -> float:
    """Mean distance of each upright joint from the nearest mirrored one, as a share of the wall's width."""
    left, _, right, _ = site.ground.region.bounds
    places = np.array(pattern.upright_places())
    if not len(places):
        return 0.0
    mirrored = left + right - places
    return float(np.abs(places[:, None] - mirrored[None, :]).min(axis=1).mean() / (right - left))


def _aligned(site: Site, pattern: Pattern | OwnJoints) -> int:
    """Sides and middles, heads and sills of openings that a joint is in line with."""
    upright, level = pattern.upright_places(), pattern.level_places()
    count = 0
    for name in site.large_openings:
        left, low, right, high = site.ground.face.openings[name].bounds
        sides = _near(upright, left) + _near(upright, right)
        count += sides or _near(upright, (left + right) / 2.0)
        count += _near(level, low) + _near(level, high)
    return count


def _near(places: tuple[float, ...], line: float) -> int:
    return int(any(abs(place - line) <= ALIGNED_MM for place in places))


def _joint_length(region: BaseGeometry, pattern: Pattern | OwnJoints) -> float:
    lines = [line for _, line, _ in pattern.strips()]
    return float(shapely.length(shapely.intersection(region, shapely.union_all(lines)))) if lines else 0.0
