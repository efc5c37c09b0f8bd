"""The user's own joints that do not run from end to end: T-meetings, joints at openings, and wrong ones."""

from pathlib import Path

import numpy as np
import pytest

from tests.layout.sample_walls import Sample, elevation, one_wall, opening, rectangle_corners, ticket_hall
from tests.layout.test_schemes import laid, plain_wall
from unfold.errors import SettingsError
from unfold.layout import lay_panels
from unfold.settings import load_settings

J = 25.4 / 8


def refused(sample: Sample, text: str, tmp_path: Path) -> str:
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        lay_panels(sample.elevations, sample.surfaces, load_settings(path).layout)
    return str(caught.value)


def test_a_t_meeting() -> None:
    # A level joint at 1500 from end to end; over it one upright joint at 1000, under it one at 2000.
    joints = [
        {"wall": "W1", "v": 1500.0},
        {"wall": "W1", "u": 1000.0, "start": 1500.0},
        {"wall": "W1", "u": 2000.0, "end": 1500.0},
    ]
    (wall,) = laid(plain_wall(3000.0), own_joint=joints).walls
    assert len(wall.panels) == 4
    sizes = {(panel.row, panel.column): np.ptp(panel.ring_mm, axis=0) for panel in wall.panels}
    lower, upper = 1500.0 - J / 2 - J, 2700.0 - 2 * J - 1500.0 - J / 2  # floor gap 1/8 in, ceiling gap 1/4 in
    assert sizes[1, 1] == pytest.approx([2000.0 - J / 2 - J, lower])
    assert sizes[1, 3] == pytest.approx([1000.0 - J / 2 - J, lower])
    assert sizes[2, 1] == pytest.approx([1000.0 - J / 2 - J, upper])
    assert sizes[2, 2] == pytest.approx([2000.0 - J / 2 - J, upper])
    balance = wall.balance
    parts = balance.panels + balance.joints + balance.gaps + balance.openings + balance.unclad
    assert parts == pytest.approx(balance.wall, abs=1.0)
    assert sorted(round(float(np.hypot(*np.diff(joint.line_mm, axis=0)[0]))) for joint in wall.joints) == [
        1194, 1497, 2994
    ]  # fmt: skip
    assert wall.scheme == "own joints"


def test_joints_that_end_at_a_door() -> None:
    # From the door's head a joint runs up, from its left jamb one to the wall's end.
    door = opening("W1-O1", "door", 1000.0, 0.0, 900.0, 2050.0)
    sample = one_wall(elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2"), [door]))
    joints = [
        {"wall": "W1", "u": 1450.0, "start": 2050.0},
        {"wall": "W1", "v": 1200.0, "end": 1000.0},
    ]
    (wall,) = laid(sample, own_joint=joints).walls
    assert len(wall.panels) == 3
    left = [panel for panel in wall.panels if panel.ring_mm[:, 0].max() < 1000.0]
    assert len(left) == 1 and np.ptp(left[0].ring_mm[:, 1]) == pytest.approx(1200.0 - J / 2 - J)


def test_joints_one_by_one_go_with_lists(tmp_path: Path) -> None:
    joints = [{"wall": "W1", "u": 1000.0, "start": 1500.0}]
    (wall,) = laid(plain_wall(3000.0), own_joint=joints, wall=[{"wall": "W1", "joints_v": [1500.0]}]).walls
    assert len(wall.panels) == 3


def test_joints_in_an_l_leave_an_l_shaped_panel() -> None:
    joints = [{"wall": "W1", "v": 900.0, "start": 1800.0}, {"wall": "W1", "u": 1800.0, "start": 900.0}]
    (wall,) = laid(plain_wall(3000.0, 1500.0), own_joint=joints).walls
    assert len(wall.panels) == 2
    assert any("L-shaped" in note for panel in wall.panels for note in panel.notes)


def test_an_end_within_a_panel_is_refused(tmp_path: Path) -> None:
    text = '[[layout.own_joint]]\nwall = "W1"\nv = 1500\n[[layout.own_joint]]\nwall = "W1"\nu = 1000\nend = 1200\n'
    said = refused(plain_wall(3000.0), text, tmp_path)
    assert "job.toml:7: layout.own_joint[2].end: the joint ends at 1200 mm, within a panel of W1" in said


def test_a_panel_too_large_is_refused_with_the_line(tmp_path: Path) -> None:
    said = refused(plain_wall(4000.0), '[[layout.own_joint]]\nwall = "W1"\nu = 1000\n', tmp_path)
    assert "job.toml:1: layout.own_joint[1]: W1 gets a panel of" in said and "larger than any sheet" in said


def test_a_joint_outside_the_wall_is_refused(tmp_path: Path) -> None:
    said = refused(plain_wall(3000.0), '[[layout.own_joint]]\nwall = "W1"\nu = 3100\n', tmp_path)
    assert "job.toml:3: layout.own_joint[1].u" in said and "between 3 and 2997 mm" in said
    said = refused(plain_wall(3000.0), '[[layout.own_joint]]\nwall = "W7"\nu = 100\n', tmp_path)
    assert "job.toml:2" in said and "use one of W1" in said


def test_walls_that_do_not_meet_have_no_corner(tmp_path: Path) -> None:
    text = '[[layout.corner]]\nwalls = ["W1", "W3"]\nruns_through = "W1"\n'
    said = refused(ticket_hall(), text, tmp_path)
    assert "job.toml:2: layout.corner[1].walls: W1 and W3 do not meet" in said and "W1-W2" in said


def test_joints_of_a_wall_without_panels_are_said_to_be_unused() -> None:
    layout = laid(ticket_hall(), own_joint=[{"wall": "W4", "u": 1000.0}])
    assert ("joints-unused", "W4") in {(one.code, one.wall) for one in layout.findings}


def test_level_joints_follow_the_heads_of_two_windows_where_the_largest_has_none_in_reach() -> None:
    # The door's head at 2100 is out of reach of two rows of 1560; the windows' heads at 1500 and sills at 1200 are not.
    wall = [
        opening("W1-O1", "door", 400.0, 0.0, 900.0, 2100.0), opening("W1-O2", "window", 2000.0, 1200.0, 600.0, 300.0),
        opening("W1-O3", "window", 3000.0, 900.0, 600.0, 600.0),
    ]  # fmt: skip
    sample = one_wall(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"), wall))
    (found,) = laid(sample, joints={"scheme": "openings", "orientation": "lying", "bond": "straight"}).walls
    levels = {round(float(joint.line_mm[0, 1])) for joint in found.joints if np.ptp(joint.line_mm[:, 1]) < 1.0}
    assert levels == {round(1500.0 + J - J / 2 + 0.01)}
