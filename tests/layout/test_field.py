"""Edge gaps by hand, scribed edges, and the room that a neighbour's cladding takes."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from tests.layout.sample_walls import Corner, drop_corners, elevation, opening, rectangle_corners
from unfold.layout.field import lay_field, runs_through
from unfold.layout.finished_face import FinishedFace
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import CornerSettings, GapSettings, LayoutSettings

FACE = FinishedFace(9.0, 0.0, 6.0)


def two_walls(angle_deg: float = 90.0) -> dict[str, WallFace]:
    """W1 runs 5000 along x; W2, 3000 long, meets its right end; `angle_deg` is between them, inside the room."""
    corners_1 = rectangle_corners(5000.0, 2700.0, None, "W2")
    corners_2 = rectangle_corners(3000.0, 2700.0, "W1", None)
    # W1's inward is -y, so W2 turns to the viewer's right by 180 - angle: clockwise in plan.
    w1 = elevation("W1", corners_1, place=(0.0, 0.0, 0.0))
    w2 = elevation("W2", corners_2, place=(5.0, 0.0, -(180.0 - angle_deg)))
    return {"W1": WallFace(w1), "W2": WallFace(w2)}


def test_a_plain_wall_by_hand() -> None:
    # 4000 x 2700, an end at the left (gap 0), a corner at the right: 4000 - 3.175 wide, 2700 - 3.175 - 6.35 high.
    face = WallFace(elevation("W1", rectangle_corners(4000.0, 2700.0, None, "W2")))
    field = lay_field(face, {"W1": face}, {}, LayoutSettings())
    assert field.region.bounds == pytest.approx((0.0, 3.175, 3996.825, 2693.65))
    assert field.region.area == pytest.approx(3996.825 * 2690.475)
    assert [(gap.edge, gap.width_mm, gap.reason) for gap in field.gaps] == [
        (0, 3.175, "floor"), (1, 3.175, "change_of_plane"), (2, 6.35, "ceiling"), (3, 0.0, "end"),
    ]  # fmt: skip


def test_a_scribed_floor_is_followed_at_exactly_the_gap() -> None:
    face = WallFace(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2", bow=-8.0)))
    field = lay_field(face, {"W1": face}, {}, LayoutSettings())
    floor = LineString(face.edge_points(face.wall.edges[0]))
    ring = np.asarray(field.region.exterior.coords)
    low = ring[(ring[:, 1] < 100.0) & (ring[:, 0] > 20.0) & (ring[:, 0] < 3980.0)]
    assert len(low) > 350
    np.testing.assert_allclose(shapely.distance(shapely.points(low), floor), 3.175, atol=1e-4)


def test_a_level_floor_edge_stands_the_gap_above_the_highest_point() -> None:
    # The floor rises to 8 mm in the middle.
    face = WallFace(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2", bow=8.0)))
    rules = LayoutSettings(gaps=GapSettings(floor_edge="level"))
    field = lay_field(face, {"W1": face}, {}, rules)
    assert field.region.bounds[1] == pytest.approx(8.0 + 3.175)
    assert field.region.contains(Point(10.0, 11.2)) and field.region.contains(Point(2000.0, 11.2))


def test_the_highest_floor_point_in_a_door_does_not_count() -> None:
    # Floor highest (8 mm) at u = 2000, inside the door; beside it, at u = 1500, it is 4 * 8 * 0.375 * 0.625 = 7.5.
    door = opening("W1-O1", "door", 1500.0, -5.0, 1000.0, 2100.0)
    face = WallFace(elevation("W1", rectangle_corners(4000.0, 2700.0, "W4", "W2", bow=8.0), [door]))
    field = lay_field(face, {"W1": face}, {}, LayoutSettings(gaps=GapSettings(floor_edge="level")))
    assert field.region.bounds[1] == pytest.approx(7.5 + 3.175, abs=0.05)


def test_a_stepped_floor_gets_a_level_edge_a_tread() -> None:
    corners = [
        Corner(0.0, 0.0, "floor", "floor"), Corner(2000.0, 0.0, "floor", "floor"),
        Corner(2000.0, 150.0, "floor", "floor"), Corner(4000.0, 150.0, "inside_corner", "W2"),
        Corner(4000.0, 2700.0, "ceiling", "ceiling"), Corner(0.0, 2700.0, "inside_corner", "W4"),
    ]  # fmt: skip
    face = WallFace(elevation("W1", corners))
    region = lay_field(face, {"W1": face}, {}, LayoutSettings(gaps=GapSettings(floor_edge="level"))).region
    assert region.contains(Point(1000.0, 4.0)) and not region.contains(Point(1000.0, 3.0))
    assert region.contains(Point(3000.0, 154.0)) and not region.contains(Point(3000.0, 153.0))
    assert not region.contains(Point(1999.0, 100.0)) and region.contains(Point(1996.0, 100.0))


def test_the_gap_goes_round_a_drop_with_the_cutters_radius() -> None:
    face = WallFace(elevation("W1", drop_corners(4000.0, 2700.0, "W4", "W2")))
    region = lay_field(face, {"W1": face}, {}, LayoutSettings()).region
    # The drop's lower left corner is at (3300, 2300); the ceiling's gap of 6.35 goes round it. Rounded by 5 mm the
    # field comes within 6.35 sqrt(2) - 5 (sqrt(2) - 1) = 6.91 of it: 4.886 both ways.
    assert not region.contains(Point(3300.0 - 4.87, 2300.0 - 4.87)) and region.contains(
        Point(3300.0 - 4.90, 2300.0 - 4.90)
    )
    assert region.contains(Point(3300.0 - 6.4, 2310.0)) and not region.contains(Point(3300.0 - 6.3, 2310.0))


def test_no_radius_where_the_gap_leaves_no_room_for_it() -> None:
    face = WallFace(elevation("W1", drop_corners(4000.0, 2700.0, "W4", "W2")))
    field = lay_field(face, {"W1": face}, {}, LayoutSettings(gaps=GapSettings(ceiling=0.0)))
    assert field.region.difference(face.outline).area < 1e-6 and field.region.covers(Point(3299.999, 2299.99))


def test_the_longer_wall_runs_through_and_the_shorter_butts_against_its_face() -> None:
    faces = two_walls()
    finished = {"W1": FACE, "W2": FACE}
    through = lay_field(faces["W1"], faces, finished, LayoutSettings())
    assert through.region.bounds[2] == pytest.approx(5000.0 - 3.175)
    butting = lay_field(faces["W2"], faces, finished, LayoutSettings())
    # W1's face stands 9 mm before it: W2's panels start 9 + 3.175 from the corner.
    assert butting.region.bounds[0] == pytest.approx(9.0 + 3.175)
    assert (butting.gaps[3].reason, butting.gaps[3].butts_against) == ("change_of_plane", "W1")


@pytest.mark.parametrize(("rule", "runs"), [("longer", "W1"), ("shorter", "W2"), ("left", "W1"), ("right", "W2")])
def test_who_runs_through(rule: str, runs: str) -> None:
    faces = two_walls()
    rules = LayoutSettings.model_validate({"runs_through": rule})
    assert runs_through(faces["W1"], faces["W2"], faces["W1"].wall.edges[1], rules) == (runs == "W1")
    assert runs_through(faces["W2"], faces["W1"], faces["W2"].wall.edges[3], rules) == (runs == "W2")
    corner = LayoutSettings(corner=(CornerSettings(walls=("W1", "W2"), runs_through="W2"),))
    assert runs_through(faces["W2"], faces["W1"], faces["W2"].wall.edges[3], corner)


def test_a_neighbour_that_is_not_clad_takes_no_room() -> None:
    faces = two_walls()
    field = lay_field(faces["W2"], faces, {"W2": FACE}, LayoutSettings())
    assert field.region.bounds[0] == pytest.approx(3.175)


def test_a_butted_edge_is_as_straight_as_the_neighbours_face_though_the_corner_is_scribed() -> None:
    w1, w2 = two_walls().values()
    bowed = elevation("W2", rectangle_corners(3000.0, 2700.0, "W1", None, bow=3.0), place=(5.0, 0.0, -90.0))
    faces = {"W1": w1, "W2": WallFace(bowed)}
    region = lay_field(faces["W2"], faces, {"W1": FACE, "W2": FACE}, LayoutSettings()).region
    left = [u for u, v in region.exterior.coords if u < 30.0 and 20.0 < v < 2680.0]
    np.testing.assert_allclose(left, 12.175, atol=1e-6)
    del w2


@pytest.mark.parametrize("angle", [60.0, 80.0, 100.0, 135.0])
def test_at_a_skew_corner_panel_and_face_stay_the_gap_apart(angle: float) -> None:
    faces = two_walls(angle)
    region = lay_field(faces["W2"], faces, {"W1": FACE, "W2": FACE}, LayoutSettings()).region
    near = region.bounds[0]
    # In plan a point (u, h) of W2 lies u sin(angle) - h cos(angle) before W1's plane.
    turn = np.radians(angle)
    heights = [near * np.sin(turn) - depth * np.cos(turn) for depth in (3.0, 9.0)]
    assert min(heights) == pytest.approx(9.0 + 3.175, abs=1e-6)


def test_a_face_that_leans_shifts_the_butted_edge_with_height() -> None:
    faces = two_walls()
    leaning = FinishedFace(9.0, 0.004, 6.0)
    region = lay_field(faces["W2"], faces, {"W1": leaning, "W2": FACE}, LayoutSettings()).region
    low, high = (
        region.intersection(LineString([(0, 500), (100, 500)])),
        region.intersection(LineString([(0, 2500), (100, 2500)])),
    )
    assert low.bounds[0] == pytest.approx(12.175 + 2.0) and high.bounds[0] == pytest.approx(12.175 + 10.0)


def test_two_fields_do_not_meet_in_the_corner() -> None:
    faces = two_walls()
    finished = {"W1": FACE, "W2": replace(FACE, offset_mm=14.0)}
    through = lay_field(faces["W1"], faces, finished, LayoutSettings()).region.bounds[2]
    butting = lay_field(faces["W2"], faces, finished, LayoutSettings()).region.bounds[0]
    # In plan: W1's panels reach to x = through and lie 3..9 mm before y = 0; W2's begin `butting` below it.
    assert through < 5000.0 and butting > 9.0
