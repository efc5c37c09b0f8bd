"""Panels: the area balance closes, none overlaps, none leaves the field, rings are simple and turn the right way."""

import math
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.sample_walls import (
    Corner,
    Sample,
    elevation,
    one_wall,
    opening,
    rectangle,
    rectangle_corners,
    round_opening,
    surface,
    ticket_hall,
)
from unfold.elevation.result import OpeningKind
from unfold.layout import lay_panels
from unfold.layout.result import Layout, WallLayout
from unfold.settings.layout import CuttingSettings, LayoutSettings, WallJoints


def laid(sample: Sample, rules: LayoutSettings | None = None) -> Layout:
    return lay_panels(sample.elevations, sample.surfaces, rules or LayoutSettings())


def polygon(wall: WallLayout, number: int) -> Polygon:
    panel = wall.panels[number]
    return Polygon(panel.ring_mm, [cutout.ring_mm for cutout in panel.cutouts])


def check_panels(wall: WallLayout) -> None:
    """Everything that holds for the panels of any wall."""
    balance = wall.balance
    parts = (balance.panels, balance.joints, balance.gaps, balance.openings, balance.unclad)
    assert balance.wall == pytest.approx(sum(parts), abs=1.0)
    assert min(parts) >= 0.0
    shapes = [polygon(wall, number) for number in range(len(wall.panels))]
    assert sum(shape.area for shape in shapes) == pytest.approx(balance.panels, abs=1.0)
    field = shapely.union_all([Polygon(ring) for ring in wall.field_mm])
    for panel, shape in zip(wall.panels, shapes, strict=True):
        assert shape.is_valid and Polygon(panel.ring_mm).exterior.is_simple
        assert Polygon(panel.ring_mm).exterior.is_ccw
        assert all(not Polygon(cutout.ring_mm).exterior.is_ccw for cutout in panel.cutouts)
        assert panel.area_mm2 == pytest.approx(shape.area)
        # measured, not by a field grown by 1e-6: the library's buffer goes astray between points so close together
        assert shapely.distance(field, shapely.points(shapely.get_coordinates(shape))).max() <= 1e-6
        assert shape.difference(field).area <= 1e-6
    for number, shape in enumerate(shapes):
        for other in shapes[number + 1 :]:
            assert shape.intersection(other).area == 0.0


def test_the_ticket_halls_balance_closes_on_every_wall() -> None:
    for wall in laid(ticket_hall()).walls:
        check_panels(wall)


def test_four_panels_in_one_cross_by_hand() -> None:
    # 4000 x 2700, corners at both ends, no neighbour clad: the field is 3993.65 x 2690.475. Joints at its middle:
    # four panels of (3993.65 - 3.175) / 2 by (2690.475 - 3.175) / 2.
    wall = elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2"))
    rules = LayoutSettings.model_validate({"joints": {"scheme": "equal", "orientation": "lying", "bond": "straight"}})
    (laid_wall,) = laid(one_wall(wall), rules).walls
    check_panels(laid_wall)
    assert len(laid_wall.panels) == 4
    for panel in laid_wall.panels:
        assert np.ptp(panel.ring_mm, axis=0) == pytest.approx([1995.2375, 1343.65])
    assert [(panel.row, panel.column) for panel in laid_wall.panels] == [(1, 1), (1, 2), (2, 1), (2, 2)]
    balance = laid_wall.balance
    assert balance.joints == pytest.approx(3.175 * (3993.65 + 2690.475 - 3.175))
    assert balance.gaps == pytest.approx(4000.0 * 2700.0 - 3993.65 * 2690.475)
    assert balance.panels == pytest.approx(4 * 1995.2375 * 1343.65)


def test_a_box_gets_a_cutout_with_its_clearance_and_its_own_name() -> None:
    box = opening("W1-O1", "service", 600.0, 300.0, 70.0, 115.0)
    wall = elevation(
        "W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), [box, round_opening("W1-O2", 900.0, 400.0, 60.0)]
    )
    (laid_wall,) = laid(one_wall(wall)).walls
    check_panels(laid_wall)
    (panel,) = laid_wall.panels
    assert [cutout.of for cutout in panel.cutouts] == ["W1-O1", "W1-O2"]
    assert Polygon(panel.cutouts[0].ring_mm).area == pytest.approx(70 * 115 + 5 * 370 + math.pi * 25.0, rel=1e-4)
    assert laid_wall.balance.openings == pytest.approx(70 * 115 + shapely.area(Polygon(wall.openings[1].ring_mm)))


def test_a_door_head_makes_a_notch_with_round_corners_and_a_warning() -> None:
    door = opening("W1-O1", "door", 400.0, 0.0, 700.0, 2000.0)
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), [door])
    rules = LayoutSettings.model_validate({"joints": {"scheme": "equal", "orientation": "upright"}})
    (laid_wall,) = laid(one_wall(wall), rules).walls
    check_panels(laid_wall)
    (panel,) = laid_wall.panels
    assert panel.notes[0].startswith("U-shaped: cracks start at the inside corners at u ")
    notch = (700.0 + 6.35) * (2000.0 + 3.175 - 3.175) - 2.0 * 25.0 * (1.0 - math.pi / 4.0)
    field = (1500.0 - 6.35) * (2500.0 - 3.175 - 6.35)
    assert panel.area_mm2 == pytest.approx(field - notch, abs=0.2)


def test_a_cutout_near_an_edge_warns() -> None:
    box = opening("W1-O1", "service", 700.0, 30.0, 70.0, 115.0)
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), [box])
    (panel,) = laid(one_wall(wall)).walls[0].panels
    # 30 less the clearance of 5 and the gap of 3.175: 21.8 mm are left.
    assert any("the cutout of W1-O1 leaves 22 mm to the edge (at least 50)" in note for note in panel.notes)


def test_boxes_close_together_warn() -> None:
    boxes = [opening(f"W1-O{n}", "service", 500.0 + 100.0 * n, 500.0, 70.0, 115.0) for n in (1, 2)]
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), boxes)
    (panel,) = laid(one_wall(wall)).walls[0].panels
    assert any("20 mm are left between the cutouts of W1-O1 and W1-O2" in note for note in panel.notes)


def test_boxes_whose_clearances_meet_share_a_cutout() -> None:
    boxes = [opening(f"W1-O{n}", "service", 500.0 + 75.0 * n, 500.0, 70.0, 115.0) for n in (1, 2)]
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), boxes)
    (laid_wall,) = laid(one_wall(wall)).walls
    check_panels(laid_wall)
    assert len(laid_wall.panels[0].cutouts) == 1


def test_a_panel_over_an_unseen_area_says_so() -> None:
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), (), [rectangle(300.0, 200.0, 400.0, 500.0)])
    (panel,) = laid(one_wall(wall)).walls[0].panels
    assert any("0.200 m2 of the wall behind it were not seen" in note for note in panel.notes)


def test_an_opening_known_too_loosely_is_to_be_taped() -> None:
    box = replace(opening("W1-O1", "service", 600.0, 300.0, 70.0, 115.0), standard_uncertainty_mm=4.0)
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), [box])
    (panel,) = laid(one_wall(wall)).walls[0].panels
    assert any("W1-O1 is known to ± 8.0 mm only: tape it" in note for note in panel.notes)


def test_a_narrow_strip_is_flagged() -> None:
    own = WallJoints(wall="W1", joints_u=(100.0,))
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"))
    panels = laid(one_wall(wall), LayoutSettings(wall=(own,))).walls[0].panels
    assert any(note.startswith("narrow: 9") for note in panels[0].notes)
    assert not any(note.startswith("narrow") for note in panels[1].notes)


def test_own_joints_lie_where_they_are_put() -> None:
    own = WallJoints(wall="W1", joints_u=(1000.0, 2500.0), joints_v=(1400.0,))
    wall = elevation("W1", rectangle_corners(3500.0, 2700.0, "W4", "W2"))
    (laid_wall,) = laid(one_wall(wall), LayoutSettings(wall=(own,))).walls
    check_panels(laid_wall)
    assert len(laid_wall.panels) == 6
    upright = sorted(
        {round(float(joint.line_mm[0, 0]), 6) for joint in laid_wall.joints if np.ptp(joint.line_mm[:, 0]) == 0}
    )
    assert upright == [1000.0, 2500.0]
    assert laid_wall.panels[0].ring_mm[:, 0].max() == pytest.approx(1000.0 - 3.175 / 2.0)


def test_no_panel_is_larger_than_the_sheet_less_its_trim() -> None:
    layout = laid(ticket_hall())
    for wall in layout.walls:
        for panel in wall.panels:
            small, large = sorted(np.ptp(panel.ring_mm, axis=0))
            assert small <= 1560.0 + 1e-6 and large <= 3160.0 + 1e-6
            assert panel.placed is not None


@pytest.mark.parametrize("direction", ["up", "along"])
@pytest.mark.parametrize("match", [None, "none", "run on", "book"])
def test_panels_on_a_sheet_do_not_overlap_and_keep_the_trim(match: str | None, direction: str) -> None:
    asked = (
        {} if match is None else {"veins": {"match": match, "direction": direction}, "stock": [{"directional": True}]}
    )
    layout = laid(ticket_hall(), LayoutSettings.model_validate(asked))
    sheets: dict[int, list[Polygon]] = {}
    for wall in layout.walls:
        for panel in wall.panels:
            assert panel.placed is not None
            size = np.ptp(panel.ring_mm, axis=0)
            width, height = size[::-1] if panel.placed.turned else size
            x, y = panel.placed.origin_mm
            assert x >= 20.0 - 1e-6 and y >= 20.0 - 1e-6 and x + width <= 3180.0 + 1e-3 and y + height <= 1580.0 + 1e-3
            sheets.setdefault(panel.placed.sheet, []).append(shapely.box(x, y, x + width, y + height))
    for boxes in sheets.values():
        for number, one in enumerate(boxes):
            assert all(one.distance(other) >= 3.0 - 2e-3 for other in boxes[number + 1 :])


@st.composite
def random_walls(draw: st.DrawFn) -> Sample:
    """A wall of any size with bowed edges, perhaps a sloped ceiling or a drop, and openings that do not touch."""
    width, height = draw(st.floats(400.0, 9000.0)), draw(st.floats(2000.0, 4200.0))
    rise, bows = draw(st.sampled_from([0.0, 0.0, 600.0, -700.0])), [draw(st.floats(-6.0, 6.0)) for _ in range(4)]
    corners = [
        Corner(0.0, 0.0, "floor", "floor", bows[0]), Corner(width, 0.0, "inside_corner", "W2", bows[1]),
        Corner(width, height, "ceiling", "ceiling", bows[2]),
        Corner(0.0, height + rise, "inside_corner", "W4", bows[3]),
    ]  # fmt: skip
    openings = []
    kinds: list[OpeningKind | Literal["pipe"]] = ["door", "window", "niche", "service", "pipe"]
    slots = np.arange(100.0, width - 1100.0, 1200.0)
    for number, left in enumerate(slots, start=1):
        name, kind = f"W1-O{number}", draw(st.sampled_from(kinds))
        if kind == "pipe":
            openings.append(
                round_opening(name, left + 500.0, draw(st.floats(100.0, 1100.0)), draw(st.floats(20.0, 200.0)))
            )
        elif kind == "door":
            openings.append(
                opening(name, "door", left, draw(st.floats(-10.0, 0.0)), draw(st.floats(600.0, 1000.0)), 1900.0)
            )
        elif kind == "service":
            openings.append(
                opening(name, "service", left, draw(st.floats(20.0, 1200.0)), draw(st.floats(50.0, 300.0)), 115.0)
            )
        else:
            openings.append(
                opening(name, kind, left, draw(st.floats(400.0, 1000.0)), draw(st.floats(300.0, 1000.0)), 800.0)
            )
    wall = elevation("W1", corners, openings, radius_mm=draw(st.sampled_from([None, None, 2500.0, -1500.0])))
    rng, rough = np.random.default_rng(draw(st.integers(0, 10**6))), draw(st.sampled_from([0.0, 0.2, 2.0]))
    return one_wall(replace(wall, outline_mm=wall.outline_mm + rng.normal(0.0, rough, wall.outline_mm.shape)))


@settings(max_examples=12, deadline=None)
@given(
    random_walls(), st.sampled_from(["best", "equal", "from left", "centred panel", "openings"]), st.floats(0.0, 12.0)
)
def test_whatever_the_wall_the_balance_closes_and_no_panels_overlap(sample: Sample, scheme: str, radius: float) -> None:
    asked = {"walls": ["W1"], "joints": {"scheme": scheme}, "cutting": {"inside_radius": radius}}
    rules = LayoutSettings.model_validate(asked)
    for wall in laid(sample, rules).walls:
        check_panels(wall)


def test_a_radius_too_large_for_a_notch_is_named() -> None:
    niche = opening("W1-O1", "niche", 600.0, 600.0, 20.0, 20.0)
    wall = elevation("W1", rectangle_corners(1500.0, 2500.0, "W4", "W2"), [niche])
    rules = LayoutSettings(cutting=CuttingSettings(inside_radius=30.0))
    (laid_wall,) = laid(one_wall(wall, surface(wall)), rules).walls
    check_panels(laid_wall)
    assert any("no room for the cutter's radius" in note for note in laid_wall.panels[0].notes)
