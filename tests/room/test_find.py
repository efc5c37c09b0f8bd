"""The room stage from end to end, on scans made in memory and on simulated rooms whose truth is known."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.room.scenes import BOX_ROOM, HEIGHT_M, L_ROOM, room_points, scan_of, turned
from tests.simulate.generate import room_named, simulate
from tests.simulate.scanner import PROFILES
from unfold.arrays import Floats
from unfold.errors import UnfoldError
from unfold.room import find_room
from unfold.room.result import Room, Wall
from unfold.scan import open_scan
from unfold.settings.room import RoomSettings
from unfold.settings.scan import ScanSettings

SIMULATED = {"bay": 10, "two_rooms": 8, "curved": 7}


def ends(wall: Wall) -> Floats:
    """Both lower corners in plan, at the wall's middle height."""
    v = 0.5 * wall.top_m
    return wall.frame.level_from_uvh(np.array([[0, v, 0], [wall.width_m, v, 0]]))[:, :2]


def test_an_l_room_gives_its_six_walls_clockwise_with_frames_that_look_inward() -> None:
    room = find_room(scan_of([room_points(L_ROOM)], [np.array([1.2, 1.2, 1.4])]), RoomSettings())
    assert [wall.id for wall in room.walls] == ["W1", "W2", "W3", "W4", "W5", "W6"]
    found = np.array([ends(wall) for wall in room.walls])
    np.testing.assert_allclose(found[:, 1], np.roll(found[:, 0], -1, axis=0), atol=1e-6)
    for corner in L_ROOM:
        assert np.hypot(*(found[:, 0] - corner).T).min() < 0.005
    signed = 0.5 * np.sum(found[:, 0, 0] * found[:, 1, 1] - found[:, 1, 0] * found[:, 0, 1])
    assert signed == pytest.approx(-18.75, abs=0.05)  # clockwise; 5 x 3 + 2.5 x 1.5 m
    assert room.floor_area_m2 == pytest.approx(18.75, abs=0.05)
    for wall in room.walls:
        np.testing.assert_allclose(np.cross(wall.frame.right, wall.frame.up), wall.frame.inward, atol=1e-12)
        assert wall.frame.right[2] == 0.0
        assert wall.top_m - wall.bottom_m == pytest.approx(2.5, abs=0.01)
    kinds = [wall.right.kind for wall in room.walls]
    assert kinds.count("outside_corner") == 1 and kinds.count("inside_corner") == 5


@pytest.mark.parametrize("degrees", [17.0, 45.0, 131.0])
def test_a_scan_turned_about_z_has_the_same_walls(degrees: float) -> None:
    points, place = room_points(L_ROOM), np.array([1.2, 1.2, 1.4])
    straight = find_room(scan_of([points], [place]), RoomSettings())
    skew = find_room(scan_of([turned(points, degrees)], [turned(place[None], degrees)[0]]), RoomSettings())
    assert len(straight.walls) == len(skew.walls)
    for one, other in zip(straight.walls, skew.walls, strict=True):
        assert one.width_m == pytest.approx(other.width_m, abs=0.002)
        assert (one.left, one.right, one.shape) == (other.left, other.right, other.shape)


@pytest.mark.parametrize("chunk_points", [997, 20_000])
def test_the_cut_of_the_chunks_changes_nothing(chunk_points: int) -> None:
    points, place = room_points(BOX_ROOM), np.array([1.0, 1.2, 1.4])
    whole = find_room(scan_of([points], [place]), RoomSettings())
    cut = find_room(scan_of([points], [place], chunk_points), RoomSettings())
    for one, other in zip(whole.walls, cut.walls, strict=True):
        np.testing.assert_array_equal(one.frame.origin_m, other.frame.origin_m)
        assert one.width_m == other.width_m


def test_without_stations_a_plain_room_is_found_all_the_same() -> None:
    room = find_room(scan_of([room_points(L_ROOM)], [None]), RoomSettings())
    assert len(room.walls) == 6 and room.plumb.source == "estimated"


BREAST = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [1.3, 3.0], [1.3, 2.85], [0.6, 2.85], [0.6, 3.0], [0.0, 3.0]])


def widths(room: Room) -> list[float]:
    return sorted(round(wall.width_m, 2) for wall in room.walls)


def test_a_wall_reaches_a_sloped_ceiling_far_above_where_most_of_it_lies() -> None:
    points = room_points(BOX_ROOM)
    height = 2.3 + 0.02 * points[:, 0] ** 3  # 2.3 m at x = 0, 3.58 m at x = 4
    points[:, 2] *= height / HEIGHT_M
    room = find_room(scan_of([points], [np.array([2.0, 1.5, 1.4])]), RoomSettings())
    far = [wall for wall in room.walls if ends(wall)[:, 0].min() > 3.9]
    assert len(far) == 1 and far[0].top_m == pytest.approx(3.58, abs=0.1)


def test_the_front_of_a_pilaster_is_a_wall_also_where_no_ray_reached_its_cheeks() -> None:
    points = room_points(BREAST)
    x, y, z = points.T
    cheek = (y > 2.87) & (y < 2.98) & ((np.abs(x - 0.6) < 0.02) | (np.abs(x - 1.3) < 0.02)) & (z > 0.02) & (z < 2.48)
    room = find_room(scan_of([points[~cheek]], [np.array([3.0, 1.0, 1.4])]), RoomSettings())
    assert widths(room) == pytest.approx([0.6, 0.7, 2.7, 3.0, 3.0, 4.0], abs=0.06)


@pytest.mark.parametrize("back_seen_m", [0.0, 0.14])
def test_a_wall_goes_on_into_a_narrow_recess_whose_cheek_no_ray_reached(back_seen_m: float) -> None:
    recess = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.24, 3.0], [0.24, 3.38], [0.0, 3.38]])
    points = room_points(recess)
    unseen = (points[:, 1] > 3.02) & (points[:, 0] > 0.24 - (points[:, 1] - 3.0) / 0.38 * 0.1)
    back = (points[:, 1] > 3.36) & (points[:, 0] > back_seen_m)
    room = find_room(scan_of([points[~unseen & ~back]], [np.array([1.0, 0.6, 1.4])]), RoomSettings())
    seen = [back_seen_m] if back_seen_m else []
    assert widths(room) == pytest.approx([*seen, 3.0, 3.38, 3.76, 4.0], abs=0.03)


def test_a_curtain_on_the_line_of_a_pilaster_does_not_take_the_pilaster_with_it() -> None:
    points = room_points(BREAST)
    u, v = np.meshgrid(np.arange(2.0, 3.6, 0.02), np.arange(0.05, 2.2, 0.02))
    curtain = np.c_[u.ravel(), np.full(u.size, 2.85), v.ravel()]
    hidden = (points[:, 0] > 2.0) & (points[:, 0] < 3.6) & (points[:, 1] > 2.86) & (points[:, 2] < 2.1)
    room = find_room(scan_of([np.vstack([points[~hidden], curtain])], [np.array([2.5, 1.0, 1.4])]), RoomSettings())
    assert widths(room) == pytest.approx([0.15, 0.15, 0.6, 0.7, 2.7, 3.0, 3.0, 4.0], abs=0.03)


def test_a_column_of_which_two_faces_are_seen_is_parted_from_the_room() -> None:
    side, place = 0.4, np.array([2.0, 1.2])
    u, v = np.meshgrid(np.arange(0.01, side, 0.02), np.arange(0.01, 2.5, 0.02))
    along, up, flat = u.ravel(), v.ravel(), np.zeros(u.size)
    faces = [np.c_[place[0] + along, place[1] + flat, up], np.c_[place[0] + flat, place[1] + along, up]]
    points = room_points(BOX_ROOM)
    on_top = np.all((points[:, :2] > place) & (points[:, :2] < place + side), axis=1)
    room = find_room(scan_of([np.vstack([points[~on_top], *faces])], [np.array([1.0, 0.6, 1.4])]), RoomSettings())
    assert widths(room) == pytest.approx([0.4, 0.4, 3.0, 3.0, 4.0, 4.0], abs=0.05)


@pytest.mark.parametrize("what", ["floor", "noise", "sphere", "ball", "spot"])
def test_what_holds_no_wall_is_refused_with_a_remedy(what: str) -> None:
    random = np.random.default_rng(1)
    points = {
        "floor": np.c_[random.uniform(0, 5, (60_000, 2)), random.normal(0, 0.001, 60_000)],
        "noise": random.uniform(0, 3, (60_000, 3)),
        "sphere": 2.0 * (lambda d: d / np.linalg.norm(d, axis=1)[:, None])(random.normal(size=(60_000, 3))),
        "ball": (lambda d: d / np.linalg.norm(d, axis=1)[:, None])(np.random.default_rng(0).normal(size=(20_000, 3))),
        "spot": np.full((2000, 3), 1.5),
    }[what]
    for place in (None, np.array([0.4, 0.3, 1.5])):
        with pytest.raises(UnfoldError) as refused:
            find_room(scan_of([points], [place]), RoomSettings())
        assert refused.value.remedy and "\n" not in str(refused.value)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("rooms")


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SIMULATED))
def test_simulated_rooms_give_all_walls_and_none_besides(name: str, folder: Path) -> None:
    simulate(room_named(name), folder / name, replace(PROFILES["tripod"], spacing_m=0.03), 1)
    truth = json.loads((folder / name / "truth.json").read_text())
    with open_scan([folder / name / "scan.e57"], ScanSettings()) as scan:
        room = find_room(scan, RoomSettings())
        origin = np.array(scan.origin_m)
    assert len(room.walls) == len(truth["walls"]) == SIMULATED[name]
    for expected in truth["walls"]:
        if any(edge["kind"] == "inside_corner" for edge in expected["edges"]):
            start = left_corner(expected, origin, room)
            assert min(float(np.hypot(*(ends(wall)[0] - start))) for wall in room.walls) < 0.025


def left_corner(wall: dict[str, Any], origin: Floats, room: Room) -> Floats:
    """The true wall's corner at u = 0, in plan, in the room's level coordinates."""
    frame = wall["frame"]
    u = min(point[0] for point in wall["outline"]) / 1000.0
    place = np.array(frame["origin_scan_m"]) + u * np.array(frame["right"]) - origin
    return np.asarray((room.level_from_local @ place)[:2])
