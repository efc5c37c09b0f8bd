"""What each wall needs, by hand-made cases; and that a wall that is not decided is never clad in silence."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.sample_walls import (
    Surface,
    bow,
    dent,
    elevation,
    flat,
    one_wall,
    rectangle,
    rectangle_corners,
    surface,
)
from unfold.elevation.result import WallElevation
from unfold.layout import lay_panels
from unfold.layout.result import WallLayout
from unfold.quantity import Quantity
from unfold.settings.layout import Face, LayoutSettings
from unfold.surface.result import WallSurface

WALL = elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"))


def treated(measured: WallSurface, rules: LayoutSettings | None = None, wall: WallElevation = WALL) -> WallLayout:
    sample = one_wall(wall, measured)
    return lay_panels(sample.elevations, sample.surfaces, rules or LayoutSettings()).walls[0]


def test_a_good_wall_is_clad_and_says_by_which_figures() -> None:
    wall = treated(surface(WALL, bow(4000.0, 1.0), worst=(1.0, 0.3)))
    assert wall.treatment == "clad"
    assert "1.00 ± 0.30 mm under a 3048 mm straightedge (limit 3.17)" in wall.reason and "mm/m" in wall.reason


def test_a_dented_wall_is_patched_with_outline_area_and_volume() -> None:
    wall = treated(surface(WALL, dent(2000.0, 1300.0, 500.0, 6.0), worst=(5.9, 2.5)))
    assert wall.treatment == "patch" and wall.panels
    (spot,) = wall.patches
    assert spot.kind == "fill" and 4.0 < spot.most_mm < 6.0 and spot.area_mm2 > 0.1e6 and spot.volume_litres > 0.3
    assert "fill 1 spot" in wall.reason


def test_a_wavy_wall_is_covered_with_board_on_shims() -> None:
    wavy: Surface = lambda u, v: 8.0 * np.sin(u / 300.0) + 0.0 * v  # noqa: E731
    wall = treated(surface(WALL, wavy, worst=(15.0, 8.0)))
    assert wall.treatment == "cover" and wall.cover is not None
    # Boards of 8 x 4 ft on 4000 x 2700: two along, three up (lying), or four along, two up: six either way or less.
    assert wall.cover.boards == 6 and wall.cover.most_shim_mm == pytest.approx(16.0, abs=0.1)
    assert wall.bed is not None and wall.bed.most_mm == 3.0
    assert wall.face_offset_mm == pytest.approx(8.0 + 0.1 + 12.7 + 3.0 + 6.0, abs=0.02)


def test_a_wall_far_out_of_plane_is_rebuilt_and_gets_no_panels() -> None:
    wall = treated(surface(WALL, bow(4000.0, 45.0), worst=(30.0, 2.0)))
    assert wall.treatment == "rebuild" and not wall.panels and wall.face_offset_mm is None
    assert wall.balance.unclad == pytest.approx(wall.balance.wall)


def test_what_cannot_be_decided_stays_undecided_and_says_what_to_measure() -> None:
    wall = treated(surface(WALL, bow(4000.0, 2.0), worst=(3.0, 0.4)))
    assert wall.treatment == "undecided" and not wall.panels
    assert "lay a 3048 mm straightedge at u 1500, v 1200" in wall.reason


@settings(max_examples=15, deadline=None)
@given(st.floats(0.0, 8.0), st.floats(0.0, 3.0), st.floats(0.01, 2.0), st.floats(-4.0, 4.0))
def test_no_undecided_wall_is_ever_clad(long: float, short: float, uncertainty: float, lean: float) -> None:
    measured = surface(WALL, flat, (long, short), uncertainty=uncertainty, lean=lean)
    wall = treated(measured)
    if measured.verdict == "cannot be decided":
        assert wall.treatment == "undecided"
    if measured.verdict == "does not conform":
        assert wall.treatment != "clad"
    if wall.treatment in ("undecided", "rebuild"):
        assert not wall.panels


@pytest.mark.parametrize(
    ("condition", "treatment"),
    [("sound", "clad"), ("painted", "cover"), ("glazed", "cover"), ("damp", "rebuild"), ("loose", "rebuild")],
)
def test_what_the_user_declares_changes_the_answer(condition: str, treatment: str) -> None:
    rules = LayoutSettings.model_validate({"face": [{"wall": "W1", "condition": condition}]})
    wall = treated(surface(WALL), rules)
    assert wall.treatment == treatment
    assert condition == "sound" or f"declared {condition}" in wall.reason


def test_a_painted_wall_that_is_not_decided_stays_so() -> None:
    rules = LayoutSettings(face=(Face(wall="W1", condition="painted"),))
    assert treated(surface(WALL, worst=(3.0, 0.4)), rules).treatment == "undecided"


def test_the_user_may_decide_and_the_reason_keeps_what_the_scan_says() -> None:
    rules = LayoutSettings(face=(Face(wall="W1", treatment="clad"),))
    wall = treated(surface(WALL, bow(4000.0, 2.0), worst=(3.0, 0.4)), rules)
    assert wall.treatment == "clad" and wall.panels
    assert "the scan alone says undecided" in wall.reason and "straightedge" in wall.reason


def test_an_undecided_wall_that_is_asked_for_is_laid_provisionally_and_every_panel_says_so() -> None:
    wall = treated(surface(WALL, worst=(3.0, 0.4)), LayoutSettings(walls=("W1",)))
    assert wall.treatment == "undecided" and wall.provisional and wall.panels
    assert all(panel.notes[0].startswith("provisional") for panel in wall.panels)


def test_a_lean_that_the_bed_can_take_is_laid_plumb() -> None:
    # 2.5 mm/m over 2.7 m is 6.8 mm; the bed may vary by 9.7.
    tilt = np.arctan(0.0025)
    leaning = WallElevation(
        **{name: getattr(WALL, name) for name in WALL.__slots__}
        | {"up": np.array([0.0, -np.sin(tilt), np.cos(tilt)]), "inward": np.array([0.0, -np.cos(tilt), -np.sin(tilt)])}
    )
    wall = treated(surface(leaning, lean=2.5), wall=leaning)
    assert wall.treatment == "clad" and wall.face_slope_mm_per_m == pytest.approx(-2.5, rel=1e-3)
    assert "laid plumb" in wall.reason
    assert wall.bed is not None and wall.bed.most_mm - wall.bed.least_mm == pytest.approx(6.75, abs=0.1)


def test_a_lean_beyond_the_bed_is_covered_on_shims() -> None:
    tilt = np.arctan(0.006)
    leaning = WallElevation(
        **{name: getattr(WALL, name) for name in WALL.__slots__}
        | {"up": np.array([0.0, -np.sin(tilt), np.cos(tilt)]), "inward": np.array([0.0, -np.cos(tilt), -np.sin(tilt)])}
    )
    wall = treated(surface(leaning, lean=6.0), wall=leaning)
    assert wall.treatment == "cover" and wall.cover is not None
    assert wall.cover.most_shim_mm == pytest.approx(16.2, abs=0.2)


def test_a_bed_too_deep_is_no_silent_clad_though_every_straightedge_conforms() -> None:
    # A long gentle bow: 12 mm deep needs a bed of 15.1 mm, and 12.7 is allowed.
    wall = treated(surface(WALL, bow(4000.0, 12.0), worst=(2.0, 0.3)))
    assert wall.treatment != "clad"


def test_a_wall_that_was_mostly_not_seen_is_undecided() -> None:
    hidden = elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"), (), [rectangle(0.0, 0.0, 1600.0, 2000.0)])
    wall = treated(surface(hidden), wall=hidden)
    assert wall.treatment == "undecided" and "not seen" in wall.reason


def test_a_curved_wall_is_not_clad_in_silence_and_declared_gets_strips_that_the_bed_takes() -> None:
    # Sagitta c2 / 8R: with 12.7 - 3 = 9.7 mm of play and R = 2000, strips up to sqrt(8 * 2000 * 9.7) = 394 mm.
    curved = elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2"), radius_mm=2000.0)
    measured = surface(curved)
    assert treated(measured, wall=curved).treatment == "undecided"
    wall = treated(measured, LayoutSettings(face=(Face(wall="W1", treatment="clad"),)), wall=curved)
    assert wall.panels and max(np.ptp(panel.ring_mm[:, 0]) for panel in wall.panels) <= 393.9
    assert wall.bed is not None and wall.bed.most_mm <= 12.7


def test_too_little_seen_is_said_where_what_was_seen_conforms() -> None:
    fields = {name: getattr(surface(WALL), name) for name in WallSurface.__slots__}
    edges = tuple(replace(edge, verdict="cannot be decided") for edge in fields["straightedges"])
    unsure = WallSurface(**fields | {"straightedges": edges, "verdict": "cannot be decided"})
    wall = treated(unsure)
    assert wall.treatment == "undecided" and "too little to tell that it is flat" in wall.reason


def test_a_spot_too_small_to_plan_by_is_eased_by_hand() -> None:
    wall = treated(surface(WALL, flat, worst=(1.0, 2.5)))
    assert wall.treatment == "patch" and not wall.patches
    assert "ease the spot at u 1500, v 1200 by hand" in wall.reason


def test_nothing_measured_is_undecided() -> None:
    empty = surface(WALL, lambda u, v: np.nan * (u + v))
    wall = treated(empty, LayoutSettings(walls=("W1",)))
    assert wall.treatment == "undecided" and not wall.panels and wall.bed is None


def test_a_lean_that_is_not_known_is_said() -> None:
    fields = {name: getattr(surface(WALL), name) for name in WallSurface.__slots__}
    assert "lean is not known" in treated(WallSurface(**fields | {"lean_mm_per_m": None})).reason
    unsure = WallSurface(**fields | {"lean_mm_per_m": Quantity(1.0, 1.8)})
    assert "could take either" in treated(unsure).reason
