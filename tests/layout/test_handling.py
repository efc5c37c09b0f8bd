"""Mass, lifting classes, and the judgement whether a panel comes in."""

import pytest

from unfold.layout.handling import HandlingResult, PanelBody, Place, assess_handling, lifting_class, panel_mass_kg
from unfold.layout.passage import Passage
from unfold.layout.tip_in import LiftingFrame

PANEL_MM2 = 1600.0 * 3200.0
DOOR = Passage("the door", 915.0, 2040.0)


@pytest.mark.parametrize(
    ("thickness", "density", "per_m2", "panel"),
    [
        # Mass of a panel of 1.6 x 3.2 m: density times thickness; density 2400 from memory, range 2200 to 2550.
        (3.5, 2400.0, 8.40, 43.0),
        (6.0, 2400.0, 14.40, 73.7),
        (6.5, 2400.0, 15.60, 79.9),
        (9.0, 2400.0, 21.60, 110.6),
        (12.0, 2400.0, 28.80, 147.5),
        (3.5, 2550.0, 8.93, 45.7),
        (6.0, 2550.0, 15.30, 78.3),
        (12.0, 2550.0, 30.60, 156.7),
    ],
)
def test_mass_by_thickness(thickness: float, density: float, per_m2: float, panel: float) -> None:
    assert panel_mass_kg(1e6, thickness, density) == pytest.approx(per_m2, abs=0.006)
    assert panel_mass_kg(PANEL_MM2, thickness, density) == pytest.approx(panel, abs=0.06)


def test_a_bare_large_panel_is_no_hand_lift_for_two() -> None:
    assert "mechanical lifting aid" in lifting_class(panel_mass_kg(PANEL_MM2, 6.0, 2400.0))
    assert lifting_class(panel_mass_kg(1e6 * 3.0, 3.5, 2400.0)) == "two people with a lifting frame"  # 25 kg


def test_a_long_panel_is_no_lift_for_one() -> None:
    assert lifting_class(10.0, 1000.0) == "one person"
    assert lifting_class(10.0, 1600.0) == "two people with a lifting frame"


def recommended_weight_limit_lb(h_in: float, v_in: float, d_in: float, coupling: float) -> float:
    """Revised NIOSH lifting equation in inches and pounds, no twisting, seldom lifts: LC HM VM DM CM (from memory)."""
    return 51.0 * (10.0 / h_in) * (1.0 - 0.0075 * abs(v_in - 30.0)) * (0.82 + 1.8 / d_in) * coupling


def test_two_people_class_against_the_lifting_equation() -> None:
    # NIOSH example 1 (from memory; factors recomputed): H 23, V 15, D 48 in, fair coupling .95: unrounded 16.03 lb,
    # and at the end, V 63 in, 14.31 lb. The load constant alone, for an ideal lift, is 23 kg (51 lb), looked up.
    assert recommended_weight_limit_lb(23.0, 15.0, 48.0, 0.95) == pytest.approx(16.03, abs=0.01)
    assert recommended_weight_limit_lb(23.0, 63.0, 48.0, 1.0) == pytest.approx(14.31, abs=0.01)  # fair over 30 in: 1.00
    ideal_for_two = 2.0 * 23.0 * 2.0 / 3.0  # two people lift two thirds of their sum (HSE rule of thumb, from memory)
    assert lifting_class(ideal_for_two) != "two people with a lifting frame"
    assert lifting_class(30.0) == "two people with a lifting frame"


def body(width: float, height: float, thickness: float = 6.0) -> PanelBody:
    return PanelBody(width, height, thickness, panel_mass_kg(width * height, thickness, 2400.0))


def test_a_panel_that_passes_and_tips_in_fits() -> None:
    result = assess_handling(body(1200.0, 2690.0), [DOOR], Place(3.0, 7.0, room_length_mm=5000.0))
    assert result.fits_in is True
    assert any("kg" in note and "brittle" in note and "local codes" in note for note in result.notes)


@pytest.mark.parametrize(
    ("route", "place", "fits", "says"),
    [
        ([Passage("the hatch", 500.0, 700.0)], Place(3.0, 7.0), False, "the hatch"),
        ([DOOR], Place(0.0, 0.0), False, "tipped in"),
        ([DOOR], Place(3.0, 7.0, room_length_mm=1000.0), False, "laid down"),
        (None, Place(3.0, 7.0), None, "way in"),
        ([DOOR], None, None, "free height"),
        ([DOOR], Place(None, 7.0), None, "free height"),
        ([Passage("the hatch", 500.0, 700.0)], None, False, "the hatch"),  # one certain no is enough
    ],
)
def test_what_does_not_fit_and_what_is_not_known(
    route: list[Passage] | None, place: Place | None, fits: bool | None, says: str
) -> None:
    result = assess_handling(body(1200.0, 2690.0), route, place)
    assert result.fits_in is fits
    assert any(says in note for note in result.notes)


def test_a_deep_lifting_frame_takes_the_gap() -> None:
    # hypot(2690, 6 + 250) = 2702.15, 12.15 over the panel's height; the gaps leave 10.
    panel, place = body(1200.0, 2690.0), Place(3.0, 7.0)
    assert assess_handling(panel, [DOOR], place).fits_in is True
    assert assess_handling(panel, [DOOR], place, LiftingFrame(250.0, 0.0)).fits_in is False
    assert assess_handling(panel, [DOOR], place, LiftingFrame(250.0, 400.0)) == HandlingResult(
        True, assess_handling(panel, [DOOR], place).notes
    )


@pytest.mark.parametrize("values", [(-1.0, 6.0, 2400.0), (1.0, -6.0, 2400.0), (1.0, 6.0, -2400.0)])
def test_negative_sizes_are_faults(values: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="negative"):
        panel_mass_kg(*values)
