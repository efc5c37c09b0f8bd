"""The way in and the free heights around a panel."""

import numpy as np
import pytest

from tests.layout.sample_walls import Corner, elevation, elevations, one_wall, opening, rectangle_corners, ticket_hall
from unfold.layout import lay_panels
from unfold.layout.place import place_of, way_in
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import LayoutSettings, PassageSettings


def test_a_panel_on_a_sloping_floor_has_its_gap_all_along() -> None:
    # Floor and ceiling rise 30 mm over 1500: the gaps stay 3.175 and 6.35, though the bounding box touches both.
    corners = [
        Corner(0.0, 0.0, "floor", "floor"), Corner(1500.0, 30.0, "inside_corner", "W2"),
        Corner(1500.0, 2530.0, "ceiling", "ceiling"), Corner(0.0, 2500.0, "inside_corner", "W4"),
    ]  # fmt: skip
    sample = one_wall(elevation("W1", corners))
    (panel,) = lay_panels(sample.elevations, sample.surfaces, LayoutSettings()).walls[0].panels
    place = place_of(panel.ring_mm, WallFace(sample.elevations.walls[0]))
    slope = np.hypot(1.0, 0.02)  # the gap is square to the edge
    assert place.gap_below_mm == pytest.approx(3.175 * slope, abs=1e-6)
    assert place.gap_above_mm == pytest.approx(6.35 * slope, abs=1e-6)


def test_an_upper_panel_may_be_lowered_to_the_floor() -> None:
    wall = WallFace(elevation("W1", rectangle_corners(3000.0, 2700.0, "W4", "W2")))
    place = place_of(np.array([[100.0, 1500.0], [900.0, 1500.0], [900.0, 2690.0], [100.0, 2690.0]]), wall)
    assert (place.gap_below_mm, place.gap_above_mm) == pytest.approx((1500.0, 10.0))


def test_without_a_measured_ceiling_the_free_height_is_not_known() -> None:
    corners = [
        Corner(0.0, 0.0, "floor", "floor"), Corner(1500.0, 0.0, "inside_corner", "W2"),
        Corner(1500.0, 2500.0, "end"), Corner(0.0, 2500.0, "inside_corner", "W4"),
    ]  # fmt: skip
    sample = one_wall(elevation("W1", corners))
    (panel,) = lay_panels(sample.elevations, sample.surfaces, LayoutSettings()).walls[0].panels
    assert place_of(panel.ring_mm, WallFace(sample.elevations.walls[0])).gap_above_mm is None
    assert panel.fits_in is None


def test_the_declared_route_goes_before_the_scanned_door() -> None:
    hall = ticket_hall().elevations
    scanned = way_in(hall, LayoutSettings())
    assert scanned is not None and (scanned[0].name, scanned[0].width_mm, scanned[0].height_mm) == (
        "W2-O1",
        910.0,
        2050.0,
    )
    lift = PassageSettings(name="lift door", width=800.0, height=2000.0)
    declared = way_in(hall, LayoutSettings(route=(lift,)))
    assert declared is not None and [one.name for one in declared] == ["lift door"]


def test_no_door_no_answer() -> None:
    window = opening("W1-O1", "window", 500.0, 900.0, 1000.0, 1000.0)
    assert way_in(elevations(elevation("W1", rectangle_corners(3000.0, 2700.0), [window])), LayoutSettings()) is None


def test_a_door_too_small_keeps_large_panels_out() -> None:
    hatch = LayoutSettings(route=(PassageSettings(name="hatch", width=600.0, height=600.0),))
    hall = ticket_hall()
    layout = lay_panels(hall.elevations, hall.surfaces, hatch)
    assert any(panel.fits_in is False for wall in layout.walls for panel in wall.panels)
