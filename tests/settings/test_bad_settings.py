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
