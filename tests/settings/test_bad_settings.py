"""Wrong settings: exit status 2, the line in job.toml, and what is allowed."""

from pathlib import Path

import pytest

from unfold.errors import SettingsError
from unfold.settings import load_settings
from unfold.settings.source import SettingsSource

CASES = {
    "unknown unit": ('[layout.gaps]\nfloor = "3 furlong"\n', 2, "write a number and a unit (mm, cm, m, in, ft)"),
    "negative gap": ("[layout.gaps]\n\nceiling = -3\n", 3, "greater than or equal to 0"),
    "inline table": ("[layout]\ngaps = { floor = -3 }\n", 2, "layout.gaps.floor"),
    "dotted key": ("[layout]\n# a note\nbed.least = -1\n", 3, "layout.bed.least"),
    "second of two tables": (
        '[[layout.stock]]\nid = "A"\n\n[[layout.stock]]\nid = "B"\nwidth = "-3 mm"\n', 6, "layout.stock[2].width",
    ),
    "missing key": ('[layout.joints]\nwidth = 3\n[[layout.face]]\ncondition = "painted"\n', 3, "Field required"),
    "unknown table": ("[layout.gapps]\nfloor = 3\n", 1, "here stand walls, leave_out, runs_through, outside_"),
    "unknown key": ('[[layout.stock]]\nid = "A"\nlenght = 3\n', 3, "here stand id, length, width"),
    "unknown choice": ('[layout.joints]\n\n\nscheme = "zigzag"\n', 4, "'from left'"),
    "least bed over most": ("[layout.bed]\nleast = 20\nmost = 3\n", 1, "at least the least bed"),
    "two thicknesses": (
        '[[layout.stock]]\nid = "A"\n[[layout.stock]]\nid = "B"\nthickness = 12\n', 1, "same thickness",
    ),
    "joint at two places": ('[[layout.own_joint]]\nwall = "W1"\nu = 3\nv = 4\n', 1, "give u for an upright joint or v"),
    "joint at no place": ('[[layout.own_joint]]\nwall = "W1"\nstart = 4\n', 1, "give u for an upright joint or v"),
    "joint that runs backwards": (
        '[[layout.own_joint]]\nwall = "W1"\nu = 9\nstart = 40\nend = "1 in"\n', 1, "must be less than end (25.4 mm)",
    ),
    "unknown corner": ('[layout]\noutside_corners = "round"\n', 2, "'profile' or 'mitre'"),
    "corner of three": (
        '[[layout.corner]]\nwalls = ["W1", "W2", "W3"]\nruns_through = "W1"\n', 2, "at most 2 items",
    ),
    "a third wall runs through": ('[[layout.corner]]\nwalls = ["W1", "W2"]\nruns_through = "W3"\n', 1, "'W1' or 'W2'"),
    "no stock": ("[layout]\nstock = []\n", 2, "at least 1 item"),
    "stock of one name twice": (
        '[[layout.stock]]\nid = "A"\n[[layout.stock]]\nid = "A"\n', 1, "every stock needs an id of its own",
    ),
    "half a sheet": ("[[layout.stock]]\ncount = 1.5\n", 2, "valid integer"),
    "no sheet": ("[[layout.stock]]\ncount = 0\n", 2, "greater than or equal to 1"),
    "kerf of a hand": ('[layout.cutting]\nkerf = "4 in"\n', 2, "less than or equal to 20"),
    "unknown method": ('[layout.cutting]\nmethod = "laser"\n', 2, "'saw' or 'waterjet'"),
    "stagger over a half": ("[layout.joints]\nwidth = 3\nstagger = 0.6\n", 3, "less than or equal to 0.5"),
    "missing unit": ('[layout.joints]\nwidth = "3"\n', 2, "is not a length; write a number and a unit"),
    "division by nothing": ('[layout.joints]\nwidth = "1/0 in"\n', 2, "is not a length"),
    "a list for a number": ("[layout.gaps]\nfloor = [3]\n", 2, "layout.gaps.floor"),
    "a number for a list": ('[[layout.wall]]\nwall = "W1"\njoints_u = 1000\n', 3, "layout.wall[1].joints_u"),
    "a word in a list": ('[[layout.wall]]\nwall = "W1"\njoints_v = [1000, "head"]\n', 3, "layout.wall[1].joints_v[2]"),
    "sealant that stretches too far": ("[layout.movement]\nsealant_movement = 25\n", 2, "less than or equal to 1"),
    "unknown drawing unit": ('[drawing]\nunits = "yards"\n', 2, "'mm' or 'ft-in'"),
    "cut tolerance too wide": ("[cut]\ntolerance_mm = 1\n", 2, "less than or equal to 0.05"),
    "unknown treatment": ('[[layout.face]]\nwall = "W1"\ntreatment = "paint"\n', 3, "'rebuild'"),
    "passage of no width": ('[[layout.route]]\nname = "lift"\nheight = 2000\nwidth = 0\n', 4, "greater than 0"),
    "veins across": ('[layout.veins]\ndirection = "across"\n', 2, "'up' or 'along'"),
    "not a number": ("[layout.gaps]\nfloor = nan\n", 2, "finite"),
    "endless": ("[layout.stock]\n", 1, "layout.stock"),
    "a word for a number": ('[layout.cutting]\nkerf = true\n', 2, "layout.cutting.kerf"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.replace(" ", "-"))
def test_the_line_is_named_and_what_is_allowed(case: str, tmp_path: Path) -> None:
    text, line, says = CASES[case]
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_settings(path)
    assert caught.value.exit_status == 2
    assert f"{path}:{line}: " in str(caught.value) and says in str(caught.value)


def test_broken_toml_and_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text("[layout\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="line 1"):
        load_settings(path)
    with pytest.raises(SettingsError, match="readable"):
        load_settings(tmp_path / "none.toml")


def test_a_comment_is_no_setting() -> None:
    source = SettingsSource(Path("job.toml"), '# floor = 1\n[layout.gaps] # floor = 2\nceiling = 4\nfloor = "9 mm"\n')
    assert source.line_of("layout", "gaps", "floor") == 4
    assert source.line_of("layout", "joints") is None
    assert SettingsSource(None, "").place("layout", "wall", 1, "joints_u", 0) == "layout.wall[2].joints_u[1]"
