"""Schemes: crosses and T-meetings, where joints go, how proposals are ranked, veins, and wrong joints."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.layout.sample_walls import Sample, elevation, one_wall, opening, rectangle_corners, ticket_hall
from unfold.errors import SettingsError
from unfold.layout import lay_panels
from unfold.layout.result import Layout, WallLayout
from unfold.settings import load_settings
from unfold.settings.layout import LayoutSettings


def laid(sample: Sample, **rules: object) -> Layout:
    return lay_panels(sample.elevations, sample.surfaces, LayoutSettings.model_validate(rules))


def plain_wall(width: float, height: float = 2700.0) -> Sample:
    return one_wall(elevation("W1", rectangle_corners(width, height, "W4", "W2")))


def uprights(wall: WallLayout, row: int) -> list[float]:
    """u of the upright joints between a row's panels."""
    panels = sorted((panel for panel in wall.panels if panel.row == row), key=lambda panel: panel.column)
    return [float(a.ring_mm[:, 0].max() + b.ring_mm[:, 0].min()) / 2.0 for a, b in pairwise(panels)]


def test_staggered_rows_meet_in_t_a_third_apart() -> None:
    (wall,) = laid(plain_wall(6000.0), joints={"scheme": "equal", "orientation": "lying", "bond": "staggered"}).walls
    low, high = uprights(wall, 1), uprights(wall, 2)
    assert low == pytest.approx([3000.0])
    pitch = (6000.0 - 6.35 + 3.175) / 2.0
    assert high == pytest.approx([3.175 + pitch * (0.33 + n) - 3.175 / 2.0 for n in (0, 1)])
    assert not set(np.round(low, 3)) & set(np.round(high, 3))


def test_a_joint_or_a_panel_on_the_walls_middle() -> None:
    (joint,) = laid(plain_wall(5000.0), joints={"scheme": "centred joint", "orientation": "upright"}).walls
    assert any(place == pytest.approx(2500.0) for place in uprights(joint, 1))
    (panel,) = laid(plain_wall(5000.0), joints={"scheme": "centred panel", "orientation": "upright"}).walls
    assert not any(place == pytest.approx(2500.0, abs=100.0) for place in uprights(panel, 1))
    assert np.add(uprights(panel, 1), uprights(panel, 1)[::-1]) == pytest.approx(5000.0)


def test_joints_in_line_with_a_door() -> None:
    door = opening("W1-O1", "door", 1000.0, 0.0, 900.0, 2050.0)
    sample = one_wall(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"), [door]))
    (wall,) = laid(sample, joints={"scheme": "openings", "orientation": "upright", "bond": "straight"}).walls
    # The panel left of the door ends at its gap, 1000 - 3.175, over its whole height: no notch.
    assert wall.panels[0].ring_mm[:, 0].max() == pytest.approx(1000.0 - 3.175 - 0.01)
    assert not any("shaped" in note for panel in wall.panels for note in panel.notes)


def test_level_joints_carry_on_a_windows_head_where_that_costs_no_further_row() -> None:
    window = opening("W1-O1", "window", 1500.0, 900.0, 1000.0, 600.0)  # head at 1500, in reach of panels of 1560
    sample = one_wall(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"), [window]))
    (wall,) = laid(sample, joints={"scheme": "openings", "orientation": "lying", "bond": "straight"}).walls
    level = {round(float(j.line_mm[0, 1]), 3) for j in wall.joints if np.ptp(j.line_mm[:, 1]) == 0.0}
    # The joint's lower edge lies on the head's gap, 1503.175, and 0.01 clear of it.
    assert level == {round(1503.175 - 3.175 / 2.0 + 0.01, 3)}


def test_the_datum_gets_a_joint() -> None:
    from dataclasses import replace

    wall = replace(elevation("W1", rectangle_corners(5000.0, 2700.0, "W4", "W2")), plumb_u_mm=1234.0)
    (laid_wall,) = laid(one_wall(wall), joints={"scheme": "datum", "orientation": "upright"}).walls
    assert any(place == pytest.approx(1234.0) for place in uprights(laid_wall, 1))


def test_proposals_are_ranked_by_sheets_first_and_one_is_chosen() -> None:
    layout = laid(ticket_hall())
    assert sum(scheme.chosen for scheme in layout.schemes) == 1 and layout.schemes[0].chosen
    sheets = [scheme.sheets for scheme in layout.schemes]
    assert sheets == sorted(sheets) and len(layout.schemes) > 3
    assert layout.totals.sheets == layout.schemes[0].sheets == sum(kind.count for kind in layout.stock)


def test_a_joint_keeps_clear_of_a_box_where_sheets_are_the_same() -> None:
    box = opening("W1-O1", "service", 1965.0, 300.0, 70.0, 115.0)  # on the middle of the wall
    sample = one_wall(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"), [box]))
    layout = laid(sample)
    assert not any(abs(place - 2000.0) < 90.0 for place in uprights(layout.walls[0], 1))


def test_a_long_wall_gets_movement_joints_that_run_straight_through() -> None:
    for bond in ("straight", "staggered"):
        (wall,) = laid(plain_wall(16000.0), joints={"orientation": "lying", "bond": bond, "scheme": "equal"}).walls
        places = {round(float(j.line_mm[0, 0]), 3) for j in wall.joints if j.kind == "movement"}
        assert len(places) == 2  # 16 m by 25 ft
        assert np.diff([0.0, *sorted(places), 16000.0]).max() <= 7620.0 + 3.2
        for place in places:
            pieces = [j.line_mm for j in wall.joints if j.kind == "movement" and abs(j.line_mm[0, 0] - place) < 1e-3]
            assert sum(np.ptp(piece[:, 1]) for piece in pieces) > 2680.0
        assert {j.width_mm for j in wall.joints if j.kind == "movement"} == {6.35}


def test_veins_run_on_from_one_sheet() -> None:
    # Lying veins along a wall 3000 long: two panels of one row come from one sheet, side by side as on the wall.
    (wall,) = laid(
        plain_wall(3000.0, 1500.0),
        stock=[{"directional": True}],
        veins={"direction": "along"},
        wall=[{"wall": "W1", "joints_u": [1200.0]}],
    ).walls
    first, second = wall.panels
    assert first.placed is not None and second.placed is not None
    assert first.placed.sheet == second.placed.sheet and not first.placed.turned
    apart = np.subtract(second.placed.origin_mm, first.placed.origin_mm)
    np.testing.assert_allclose(apart, second.ring_mm.min(axis=0) - first.ring_mm.min(axis=0), atol=1e-3)


def test_upright_veins_turn_the_panels_and_keep_their_order() -> None:
    layout = laid(
        plain_wall(3000.0, 3000.0), stock=[{"directional": True}], wall=[{"wall": "W1", "joints_v": [1000.0]}]
    )
    columns: dict[int, list[tuple[int, float, int]]] = {}
    for panel in layout.walls[0].panels:
        assert panel.placed is not None and panel.placed.turned
        columns.setdefault(panel.column, []).append((panel.row, panel.placed.origin_mm[0], panel.placed.sheet))
    for pieces in columns.values():
        (_, low_x, low_sheet), (_, high_x, high_sheet) = sorted(pieces)
        assert low_sheet == high_sheet and high_x < low_x  # turned counter-clockwise: what is up lies left


@pytest.mark.parametrize("direction", ["up", "along"])
def test_book_matched_pairs_lie_at_mirrored_places_of_twin_sheets(direction: str) -> None:
    joints = {"wall": "W1", "joints_u": [900.0, 1800.0]} if direction == "up" else {"wall": "W1", "joints_v": [1200.0]}
    (wall,) = laid(
        plain_wall(2700.0, 2400.0),
        stock=[{"directional": True}],
        veins={"direction": direction, "match": "book"},
        wall=[joints],
    ).walls
    first, second = wall.panels[:2]
    assert first.placed is not None and second.placed is not None
    assert (first.placed.sheet, second.placed.sheet) == (1, 2)
    assert any(f"book-matched with {second.id}" in note for note in first.notes)
    # A vein d inside the first panel's joint edge lies d inside the second one's: across the sheet, of 1600 mm, the
    # joint edges are mirrored; along it both begin at the same place.
    across = 0 if direction == "up" else 1
    first_edge = first.placed.origin_mm[1] + np.ptp(first.ring_mm[:, across])
    assert second.placed.origin_mm[1] == pytest.approx(1600.0 - first_edge)
    assert second.placed.origin_mm[0] == pytest.approx(first.placed.origin_mm[0], abs=1e-3)
    assert 20.0 <= second.placed.origin_mm[1] <= 1580.0 - np.ptp(second.ring_mm[:, across]) + 1e-3


@pytest.mark.parametrize("joints", [{"scheme": "openings"}, {"bond": "staggered", "orientation": "upright"}])
def test_a_rule_that_a_wall_gives_no_ground_for_leaves_no_wall_bare(joints: dict[str, str]) -> None:
    (wall,) = laid(plain_wall(2500.0), joints=joints).walls
    assert len(wall.panels) >= 1 and wall.balance.unclad == 0.0 and wall.scheme is not None


def test_a_directional_sheet_is_never_laid_across_its_veins() -> None:
    layout = laid(ticket_hall(), stock=[{"directional": True}], veins={"direction": "along", "match": "none"})
    assert all(panel.placed is not None and not panel.placed.turned for wall in layout.walls for panel in wall.panels)


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ('[[layout.wall]]\nwall = "W1"\njoints_u = [5000.0]\n', 3, "give a place between 3 and 3997 mm"),
        ('[[layout.wall]]\nwall = "W1"\njoints_v = [-10.0]\n', 3, "lies outside W1"),
        ('[[layout.wall]]\nwall = "W1"\njoints_u = [200.0]\njoints_v = [1400.0]\n', 3, "larger than any sheet"),
        (
            '[layout.veins]\ndirection = "along"\n[layout.joints]\norientation = "upright"\n'
            "[[layout.stock]]\ndirectional = true\n", 4, "upright panels do not go with veins",
        ),
        ('[[layout.wall]]\nwall = "W9"\n', 2, "there is no wall 'W9'"),
        ('[layout]\nleave_out = ["W2"]\n', 2, "use one of W1"),
        ('[[layout.stock]]\nwidth = 100\n\n[layout.cutting]\ntrim = 60\n', 5, "leaves nothing of a sheet"),
    ],
)  # fmt: skip
def test_what_the_walls_prove_wrong_names_its_line(text: str, line: int, says: str, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    sample = plain_wall(4000.0)
    with pytest.raises(SettingsError) as caught:
        lay_panels(sample.elevations, sample.surfaces, load_settings(path).layout)
    assert f"{path}:{line}: " in str(caught.value) and says in str(caught.value) and caught.value.exit_status == 2
