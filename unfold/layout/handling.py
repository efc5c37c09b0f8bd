"""What a panel weighs, how it is lifted, and whether it comes in and into its place.

These figures help planning. They do not replace the lifting frame's rating, local codes and the judgement of licensed
practice: large panels are heavy, brittle and catch the wind, and their edges cut.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from unfold.layout.passage import Passage, passes
from unfold.layout.room_in_front import Ceiling
from unfold.layout.tip_in import NO_FRAME, LiftingFrame, swept_height_mm

CAUTION = (
    "heavy and brittle: use a lifting frame or lifting aid rated for the load; local codes and licensed practice decide"
)
ONE_PERSON_KG = 15.0
TWO_PEOPLE_KG = 30.0
FOUR_PEOPLE_KG = 60.0
"""Upper ends of the lifting classes. Two people share about 30 kg at best: twice two thirds of the load constant of the
revised NIOSH lifting equation (23 kg, for ideal lifts) is 30.7 kg, by the HSE rule of thumb for two people (from
memory). Half of it for one person and twice it for four on a frame are common practice, no published source."""


ONE_PERSON_MM = 1200.0
"""A longer panel bends and breaks between one person's hands: common practice, no published source."""


@dataclass(frozen=True, slots=True)
class PanelBody:
    """A panel as a box, as it hangs on the wall: width along the wall, height up it."""

    width_mm: float
    height_mm: float
    thickness_mm: float
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where a panel ends up; None is unknown.

    `gap_below_mm` and `gap_above_mm` are the least free heights under and over its final place (floor and ceiling gap,
    or all the way to them). `ceiling` is what is known of the ceiling before the wall, `play_mm` the least room
    between side walls while the panel is tipped, less its width, and `room_length_mm` the longest clear length on the
    floor, where it is stood up.
    """

    gap_below_mm: float | None
    gap_above_mm: float | None
    ceiling: Ceiling | None = None
    play_mm: float | None = None
    room_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class HandlingResult:
    fits_in: bool | None  # None: something that decides it is not known
    notes: tuple[str, ...]


def panel_mass_kg(area_mm2: float, thickness_mm: float, density_kg_m3: float) -> float:
    """Return the mass of a plate: area times thickness times density."""
    if min(area_mm2, thickness_mm, density_kg_m3) < 0.0:
        raise ValueError("area, thickness and density cannot be negative")
    return area_mm2 * 1e-6 * thickness_mm * 1e-3 * density_kg_m3


def lifting_class(mass_kg: float, longest_side_mm: float = 0.0) -> str:
    """Say in words how a panel of this mass and length is lifted at the least."""
    if mass_kg <= ONE_PERSON_KG and longest_side_mm <= ONE_PERSON_MM:
        return "one person"
    if mass_kg <= TWO_PEOPLE_KG:
        return "two people with a lifting frame"
    if mass_kg <= FOUR_PEOPLE_KG:
        return "four people with a lifting frame"
    return "mechanical lifting aid or cart, with a lifting frame"


def assess_handling(
    panel: PanelBody, route: Sequence[Passage] | None, place: Place | None, frame: LiftingFrame = NO_FRAME
) -> HandlingResult:
    """Judge whether a panel can be carried in along `route` and stood up into `place`; what is unknown stays None.

    The route is walked with the bare panel; the lifting frame counts when it is stood up.
    """
    longest = max(panel.width_mm, panel.height_mm)
    notes = [f"{panel.mass_kg:.1f} kg: {lifting_class(panel.mass_kg, longest)}; {CAUTION}"]
    answers = [_carried_in(panel, route, notes), _stood_up(panel, place, frame, notes)]
    if False in answers:
        return HandlingResult(False, tuple(notes))
    return HandlingResult(None if None in answers else True, tuple(notes))


def _carried_in(panel: PanelBody, route: Sequence[Passage] | None, notes: list[str]) -> bool | None:
    if not route:
        notes.append("the way in is not known: measure doors and turns")
        return None
    sides = (panel.width_mm, panel.height_mm)
    answers = [(passage, passes(passage, sides, panel.thickness_mm)) for passage in route]
    for passage in [passage for passage, answer in answers if answer is None]:
        notes.append(f"may not turn behind {passage.name}: the room is {passage.depth_behind_mm:.0f} mm deep there")
    blocked = [passage for passage, answer in answers if answer is False]
    for passage in blocked:
        turn = "" if passage.next_width_mm is None else f", turning into {passage.next_width_mm:.0f} mm"
        notes.append(f"does not pass {passage.name} ({passage.width_mm:.0f} x {passage.height_mm:.0f} mm{turn})")
    if blocked:
        return False
    return None if None in [answer for _, answer in answers] else True


def _stood_up(panel: PanelBody, place: Place | None, frame: LiftingFrame, notes: list[str]) -> bool | None:
    if place is None or place.gap_below_mm is None or place.gap_above_mm is None:
        notes.append("the free height at its place is not known: it cannot be told whether it tips in")
        return None
    swept = swept_height_mm(panel.height_mm, panel.thickness_mm, frame)
    clear = panel.height_mm + place.gap_below_mm + place.gap_above_mm
    if swept > clear:
        notes.append(f"cannot be tipped in: it sweeps {swept:.1f} mm in height, {clear:.1f} mm are clear")
        return False
    if place.room_length_mm is not None and place.room_length_mm < min(panel.height_mm, panel.width_mm):
        notes.append(f"cannot be laid down to be stood up: the room is {place.room_length_mm:.0f} mm long")
        return False
    answer: bool | None = True
    if place.ceiling is not None and not place.ceiling.lets_tip_in(panel.height_mm, panel.thickness_mm, frame):
        least = float(place.ceiling.height_mm.min())
        notes.append(f"may not tip in: before the wall the ceiling comes down to {least:.0f} mm over the floor")
        answer = None
    if place.play_mm is not None and place.play_mm < 0.0:
        notes.append(f"may not tip in: its side walls close in on it by {-place.play_mm:.0f} mm as it is tipped")
        answer = None
    return answer
