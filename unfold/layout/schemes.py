"""Proposals for the joints: patterns made by rule for each wall, judged, and ranked for the whole job.

Ranked by, in this order: strips narrower than wanted, sheets, boxes that a joint runs into, asymmetry, joints lined up
with openings, the narrowest panel, and the length of the joints.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from unfold.layout import division
from unfold.layout.division import Span
from unfold.layout.movement import MovementSum, choose_movement_joints, movement_spacing_mm
from unfold.layout.panels import Ground
from unfold.layout.pattern import Pattern
from unfold.layout.wall_face import polygon_list
from unfold.settings.layout import LayoutSettings, SchemeName, WallJoints

Orientation = Literal["upright", "lying"]
Choice: TypeAlias = tuple[SchemeName, Orientation, str]
RULES: tuple[SchemeName, ...] = (
    "equal", "centred joint", "centred panel", "from left", "from right", "datum", "openings", "centred opening",
)  # fmt: skip
CLEAR_OF_GAP_MM = 0.01  # a joint in line with an opening leaves its panel this much short of the opening's gap
ALIGNED_MM = 15.0  # a joint this close to an opening's side or middle reads as lined up with it


@dataclass(frozen=True, slots=True)
class PanelLimits:
    """The largest panel that the stock gives, as it hangs on the wall: (width, height) upright and lying.

    `sizes` are those of every kind of sheet, in every direction that the veins allow.
    """

    upright: tuple[float, float] | None
    lying: tuple[float, float] | None
    sizes: tuple[tuple[float, float], ...]

    def of(self, orientation: Orientation) -> tuple[float, float] | None:
        """The largest panel of an orientation."""
        return self.upright if orientation == "upright" else self.lying

    def fits(self, width: float, height: float) -> bool:
        """Tell whether some sheet gives a panel of this size."""
        return any(width <= size[0] + 1e-6 and height <= size[1] + 1e-6 for size in self.sizes)

    def no_wider_than(self, width: float) -> "PanelLimits":
        """The same limits on a wall that asks for narrow panels, as a curved one does."""
        narrowed = [None if size is None else (min(size[0], width), size[1]) for size in (self.upright, self.lying)]
        return PanelLimits(narrowed[0], narrowed[1], tuple((min(size[0], width), size[1]) for size in self.sizes))


@dataclass(frozen=True, slots=True)
class Proposal:
    """One wall's joints by one rule, with the figures that it is ranked by."""

    name: str
    pattern: Pattern
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


@dataclass(frozen=True, slots=True)
class Site:
    """What the rules need to know of one wall."""

    ground: Ground
    coarse: BaseGeometry  # the ground's region with fewer vertices, to judge proposals by
    limits: PanelLimits
    own: WallJoints | None
    movement: MovementSum

    @property
    def large_openings(self) -> tuple[str, ...]:
        """Ids of the doors, windows, niches and other openings that are no service boxes."""
        wall, shapes = self.ground.face.wall, self.ground.face.openings
        return tuple(opening.id for opening in wall.openings if opening.kind != "service" and opening.id in shapes)

    @property
    def boxes(self) -> tuple[str, ...]:
        """Ids of the service boxes and pipes."""
        return tuple(name for name in self.ground.face.openings if name not in self.large_openings)


def propose(site: Site, settings: LayoutSettings) -> dict[str, Proposal]:
    """Make every proposal for one wall that the settings leave open, by name; rules that agree share one."""
    own = site.own
    if own is not None and (own.joints_u is not None or own.joints_v is not None):
        return {"own joints": _judged(site, "own joints", _own_pattern(site, settings), settings)}
    choices = list(_open_choices(own, settings))
    proposals = _proposals(site, choices, settings)
    if not proposals:  # a rule that goes by what the wall lacks: an opening, a second row
        plain: list[Choice] = [("equal", orientation, "straight") for orientation in {one[1]: None for one in choices}]
        proposals = _proposals(site, plain, settings)
    return proposals


def _proposals(site: Site, choices: Sequence[Choice], settings: LayoutSettings) -> dict[str, Proposal]:
    judged: dict[Pattern, Proposal] = {}
    proposals: dict[str, Proposal] = {}
    for rule, orientation, bond in choices:
        pattern = _pattern(site, rule, orientation, bond, settings)
        if pattern is None:
            continue
        name = f"{orientation}, {rule}, {bond}"
        if pattern not in judged:
            judged[pattern] = _judged(site, name, pattern, settings)
        proposals[name] = judged[pattern]
    return proposals


def _open_choices(own: WallJoints | None, settings: LayoutSettings) -> Iterator[Choice]:
    scheme = (own and own.scheme) or settings.joints.scheme
    orientation = (own and own.orientation) or settings.joints.orientation
    bond = (own and own.bond) or settings.joints.bond
    yield from product(
        RULES if scheme in ("best", "best of each wall") else (scheme,),
        ("upright", "lying") if orientation == "any" else (orientation,),  # type: ignore[arg-type]
        ("straight", "staggered") if bond == "any" else (bond,),
    )


def _pattern(
    site: Site, rule: SchemeName, orientation: Orientation, bond: str, settings: LayoutSettings
) -> Pattern | None:
    """The pattern of a rule; None where the wall or the stock lacks what the rule goes by."""
    limit = site.limits.of(orientation)
    if limit is None or site.ground.region.is_empty:
        return None
    left, low, right, high = site.ground.region.bounds
    joint, least = settings.joints.width, settings.joints.least_strip
    if (
        rule not in ("openings", "centred opening")
        and site.limits.fits(right - left, high - low)
        and not _asked_of(site)
    ):
        return Pattern("columns", (), ((),), joint)
    across, up = Span(left, right, limit[0], joint, least), Span(low, high, limit[1], joint, least)
    level = _level_joints(site, rule, up)
    upright = _upright_joints(site, rule, across)
    if upright is None:
        return None
    if bond == "straight":
        return _with_movement(Pattern("columns", upright, (level,) * (len(upright) + 1), joint), site, settings)
    if rule != "equal" or not level or not upright:
        return None
    shift = settings.joints.stagger
    spacing = movement_spacing_mm(settings.movement)
    if orientation == "lying":
        rows = tuple(division.staggered_in_bays(across, spacing, shift, row) for row in range(len(level) + 1))
        return _with_movement(Pattern("rows", level, rows, joint), site, settings)
    columns = tuple(division.staggered_in_bays(up, spacing, shift, column) for column in range(len(upright) + 1))
    return _with_movement(Pattern("columns", upright, columns, joint), site, settings)


def _level_joints(site: Site, rule: SchemeName, up: Span) -> tuple[float, ...]:
    """The level joints by a rule: whole panels from the floor, along the largest opening's head or sill, or equal."""
    if rule in ("from left", "from right", "centred panel"):
        return division.from_low(up)
    equal = division.equal(up)
    if rule != "openings" or not equal or not site.large_openings:
        return equal
    largest = max(site.large_openings, key=lambda name: site.ground.face.openings[name].area)
    _, sill, _, head = site.ground.kept_clear[largest].bounds
    inward = up.joint / 2.0 - CLEAR_OF_GAP_MM
    for place in (head - inward, sill + inward):
        along = division.joint_at(up, (place,))
        if place in along and len(along) == len(equal):
            return along
    return equal


def _asked_of(site: Site) -> bool:
    """Tell whether the user asks for a scheme of this very wall; else one panel is enough where it fits."""
    return site.own is not None and (site.own.scheme is not None or site.own.orientation is not None)


def _upright_joints(site: Site, rule: SchemeName, across: Span) -> tuple[float, ...] | None:
    """The upright joints by a rule; None where the wall lacks what the rule goes by."""
    middle = (across.low + across.high) / 2.0
    rules: dict[SchemeName, Callable[[], tuple[float, ...] | None]] = {
        "equal": lambda: division.equal(across),
        "centred joint": lambda: division.joint_at(across, (middle,)),
        "centred panel": lambda: division.piece_at(across, middle),
        "from left": lambda: division.from_low(across),
        "from right": lambda: division.from_high(across),
        "datum": lambda: _at_datum(site, across),
        "openings": lambda: _at_openings(site, across),
        "centred opening": lambda: _centred_on_opening(site, across),
    }
    return rules[rule]()


def _at_datum(site: Site, across: Span) -> tuple[float, ...] | None:
    datum = site.ground.face.wall.plumb_u_mm
    return division.joint_at(across, (datum,)) if across.low < datum < across.high else None


def _at_openings(site: Site, across: Span) -> tuple[float, ...] | None:
    """Joints that carry on the sides of doors, windows and niches, so that no panel is notched round them."""
    # The panel beside an opening ends at its gap; the joint over the opening goes on from there.
    inward = across.joint / 2.0 - CLEAR_OF_GAP_MM
    shapes = [site.ground.kept_clear[name].bounds for name in site.large_openings]
    places = sorted(place for left, _, right, _ in shapes for place in (left + inward, right - inward))
    kept: list[float] = []
    for place in places:
        if not kept or place - kept[-1] >= max(across.least, 3.0 * across.joint):
            kept.append(place)
    return division.joint_at(across, kept) if kept else None


def _centred_on_opening(site: Site, across: Span) -> tuple[float, ...] | None:
    """A whole panel over the middle of the largest door, window or niche."""
    shapes = [site.ground.face.openings[name] for name in site.large_openings]
    if not shapes:
        return None
    left, _, right, _ = max(shapes, key=lambda shape: shape.area).bounds
    return division.piece_at(across, (left + right) / 2.0)


def _own_pattern(site: Site, settings: LayoutSettings) -> Pattern:
    """The user's own joints; the direction that they leave open is divided equally."""
    own = site.own
    assert own is not None
    left, low, right, high = site.ground.region.bounds
    size = site.limits.upright or site.limits.lying or (0.0, 0.0)
    other = site.limits.lying or size
    joint = settings.joints.width
    upright = _given(own.joints_u) if own.joints_u is not None else division.equal(Span(left, right, size[0], joint))
    widest = max(division.pieces(Span(left, right, right - left, joint), upright), default=0.0)
    tallest = size[1] if widest <= size[0] + 1e-6 else other[1]
    level = _given(own.joints_v) if own.joints_v is not None else division.equal(Span(low, high, tallest, joint))
    return _with_movement(Pattern("columns", upright, (level,) * (len(upright) + 1), joint), site, settings)


def _given(joints: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(sorted(set(joints)))


def _with_movement(pattern: Pattern, site: Site, settings: LayoutSettings) -> Pattern:
    """Make as many of a pattern's joints movement joints as the spacing asks for."""
    left, low, right, high = site.ground.region.bounds
    spacing = movement_spacing_mm(settings.movement)
    through_ends, cross_ends = ((low, high), (left, right)) if pattern.bands == "rows" else ((left, right), (low, high))
    through = choose_movement_joints(pattern.through, *through_ends, spacing)
    common = sorted(set.intersection(*(set(band) for band in pattern.cross)))  # a movement joint runs straight through
    cross = choose_movement_joints(common, *cross_ends, spacing)
    return Pattern(
        pattern.bands, pattern.through, pattern.cross, pattern.joint_mm, max(site.movement.width_mm, pattern.joint_mm),
        frozenset(through), frozenset(cross),
    )  # fmt: skip


def longest_run_mm(site: Site, pattern: Pattern) -> float:
    """The longest run between movement joints, or from one to an end of the field, either way."""
    left, low, right, high = site.ground.region.bounds
    through_ends, cross_ends = ((low, high), (left, right)) if pattern.bands == "rows" else ((left, right), (low, high))
    through = np.diff([through_ends[0], *sorted(pattern.movement_through), through_ends[1]])
    cross = np.diff([cross_ends[0], *sorted(pattern.movement_cross), cross_ends[1]])
    return float(max(through.max(), cross.max()))


def _judged(site: Site, name: str, pattern: Pattern, settings: LayoutSettings) -> Proposal:
    region, bounds = site.coarse, site.ground.region.bounds
    pieces = []
    for _, _, (left, low, right, high) in pattern.cells():
        pieces += polygon_list(shapely.clip_by_rect(region, left, low, right, high))
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


def _boxes_hit(site: Site, pattern: Pattern, settings: LayoutSettings) -> int:
    """Boxes that a joint runs through, or past nearer than the least bridge."""
    lines = [line for _, line, _ in pattern.strips()]
    if not lines:
        return 0
    joints = shapely.union_all(lines)
    reach = settings.cutting.least_bridge + settings.gaps.box + settings.joints.width / 2.0
    return sum(bool(shapely.dwithin(site.ground.face.openings[name], joints, reach)) for name in site.boxes)


def _asymmetry(site: Site, pattern: Pattern) -> float:
    """Mean distance of each upright joint from the nearest mirrored one, as a share of the wall's width."""
    left, _, right, _ = site.ground.region.bounds
    places = np.array(pattern.upright_places())
    if not len(places):
        return 0.0
    mirrored = left + right - places
    return float(np.abs(places[:, None] - mirrored[None, :]).min(axis=1).mean() / (right - left))


def _aligned(site: Site, pattern: Pattern) -> int:
    """Sides and middles of openings that an upright joint is in line with."""
    places = np.array(pattern.upright_places())
    if not len(places):
        return 0
    count = 0
    for name in site.large_openings:
        left, _, right, _ = site.ground.face.openings[name].bounds
        sides = sum(bool(np.abs(places - side).min() <= ALIGNED_MM) for side in (left, right))
        count += sides or int(np.abs(places - (left + right) / 2.0).min() <= ALIGNED_MM)
    return count


def _joint_length(region: shapely.Geometry, pattern: Pattern) -> float:
    lines = [line for _, line, _ in pattern.strips()]
    return float(shapely.length(shapely.intersection(region, shapely.union_all(lines)))) if lines else 0.0
