"""Rules that make patterns of joints for a wall: the proposals that are then judged and ranked."""

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, product
from typing import TypeAlias

from unfold.layout import division
from unfold.layout.division import Span
from unfold.layout.movement import choose_movement_joints, movement_spacing_mm
from unfold.layout.own_joints import OwnJoints
from unfold.layout.pattern import FAR_MM, Pattern
from unfold.layout.proposal import Proposal, judge
from unfold.layout.site import Orientation, Site
from unfold.settings.layout import LayoutSettings, SchemeName, WallJoints

Choice: TypeAlias = tuple[SchemeName, Orientation, str]
RULES: tuple[SchemeName, ...] = (
    "equal", "centred joint", "centred panel", "from left", "from right", "datum", "openings", "centred opening",
)  # fmt: skip
MOST_OPENINGS = 4  # the largest ones, whose heads and sills level joints are tried at
SAME_LINE_MM = 1.0
CLEAR_OF_GAP_MM = 0.01  # a joint in line with an opening leaves its panel this much short of the opening's gap


def propose(site: Site, settings: LayoutSettings) -> dict[str, Proposal]:
    """Make every proposal for one wall that the settings leave open, by name; rules that agree share one."""
    own = site.own
    if not site.partial and own is not None and (own.joints_u is not None or own.joints_v is not None):
        return {"own joints": judge(site, "own joints", _own_pattern(site, settings), settings)}
    if site.partial:
        return {"own joints": judge(site, "own joints", _own_joints(site, settings), settings)}
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
            judged[pattern] = judge(site, name, pattern, settings)
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
    """The level joints by a rule: whole panels from the floor, along openings' heads and sills, or equal.

    Of the joints that take no further row those that most heads and sills are in line with, of the largest rather.
    """
    if rule in ("from left", "from right", "centred panel"):
        return division.from_low(up)
    equal = division.equal(up)
    if rule != "openings" or not equal:
        return equal
    inward = up.joint / 2.0 - CLEAR_OF_GAP_MM
    shapes = [site.ground.kept_clear[name] for name in site.large_openings]
    bounds = [shape.bounds for shape in sorted(shapes, key=lambda shape: -shape.area)]
    places = [place for _, sill, _, head in bounds[:MOST_OPENINGS] for place in (head - inward, sill + inward)]
    best, most = equal, 0
    for wanted in [(place,) for place in places] + list(combinations(places, 2)):
        along = division.joint_at(up, wanted)
        in_line = sum(any(abs(place - joint) <= SAME_LINE_MM for joint in along) for place in places)
        if len(along) == len(equal) and set(wanted) <= set(along) and in_line > most:
            best, most = along, in_line
    return best


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


def _own_joints(site: Site, settings: LayoutSettings) -> OwnJoints:
    """The user's own joints of which some do not run from end to end."""
    joints = site.partial
    left, low, right, high = site.ground.region.bounds
    spacing = movement_spacing_mm(settings.movement)
    through = [joint for joint in joints if joint.start <= -FAR_MM and joint.end >= FAR_MM]
    upright, level = ([joint.place for joint in through if joint.upright == is_upright] for is_upright in (True, False))
    return OwnJoints(
        joints, settings.joints.width, max(site.movement.width_mm, settings.joints.width),
        frozenset(choose_movement_joints(upright, left, right, spacing)),
        frozenset(choose_movement_joints(level, low, high, spacing)),
    )  # fmt: skip


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
