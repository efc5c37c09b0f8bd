"""Tolerance sets: the shipped ones, their exact inch values, and the user's own."""

import pytest

from unfold.errors import SettingsError
from unfold.settings.surface import StraightedgeRule, SurfaceSettings
from unfold.surface.tolerance import interpolated_limit_mm, load_tolerance, tolerance_names

LINE_6 = ([0.1, 1.0, 4.0, 10.0, 15.0], [3.0, 5.0, 10.0, 20.0, 25.0])
LINE_7 = ([0.1, 1.0, 4.0, 10.0, 15.0], [2.0, 3.0, 8.0, 15.0, 20.0])


def test_the_default_keeps_the_inch_values_exact() -> None:
    # ANSI A108.01/.02: 1/8 in in 10 ft and 1/16 in in 24 in
    rules = load_tolerance(SurfaceSettings()).rules
    assert [(rule.length_mm, rule.limit_mm) for rule in rules] == [(3048.0, 3.175), (609.6, 1.5875)]


def test_every_set_loads_and_says_where_it_comes_from() -> None:
    assert {"us-large", "us-small", "uk-thin", "uk-thick", "uk-sr1", "uk-sr2", "uk-sr3"} <= set(tolerance_names())
    for name in tolerance_names():
        loaded = load_tolerance(SurfaceSettings(tolerance=name))
        assert loaded.source and loaded.status.startswith("looked up") and loaded.rules
        assert all(rule.length_mm > rule.limit_mm > 0 for rule in loaded.rules)


@pytest.mark.parametrize(
    ("line", "length_m", "limit_mm"),
    [(LINE_7, 2.0, 5.0), (LINE_6, 6.0, 13.0), (LINE_7, 0.6, 3.0), (LINE_6, 4.0, 10.0), (LINE_6, 20.0, 25.0)],
)
def test_din_18202_worked_values(line: tuple[list[float], list[float]], length_m: float, limit_mm: float) -> None:
    # line 7 at 2 m: 3 + (8 - 3)(2 - 1)/(4 - 1) = 4.67 -> 5; line 6 at 6 m: 13.33 -> 13; line 7 at 0.6 m: 2.56 -> 3 (the
    # handbook's table prints 2 there, against its own rule)
    assert interpolated_limit_mm(1000 * length_m, *line) == limit_mm


def test_din_18202_line_6_agrees_with_the_printed_table() -> None:
    printed = {0.6: 4, 1.5: 6, 2.0: 7, 2.5: 8, 3.0: 8, 3.5: 9, 6.0: 13, 8.0: 17}
    for length_m, limit_mm in printed.items():
        assert interpolated_limit_mm(1000 * length_m, *LINE_6) == limit_mm


def test_the_users_own_rules() -> None:
    rule = StraightedgeRule.model_validate({"id": "ours", "length": "2 m", "limit": "1/8 in"})
    loaded = load_tolerance(SurfaceSettings(tolerance="own", rule=(rule,)))
    assert [(r.id, r.length_mm, r.limit_mm) for r in loaded.rules] == [("ours", 2000.0, 3.175)]


def test_what_is_not_allowed() -> None:
    with pytest.raises(SettingsError, match="no tolerance set 'uk-thick-bed'"):
        load_tolerance(SurfaceSettings(tolerance="uk-thick-bed"))
    with pytest.raises(ValueError, match="go together"):
        SurfaceSettings(tolerance="own")
