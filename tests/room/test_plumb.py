"""Which way is up: estimated from surfaces in any pose, from a levelled scanner, from marks."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from unfold.arrays import Floats
from unfold.room.plumb import angle_deg, estimate_up, find_plumb, rotation_to_up
from unfold.scan.result import Station
from unfold.settings.room import RoomSettings

RANDOM = np.random.default_rng(5)


def room_normals(lean_deg: float = 0.0) -> tuple[Floats, Floats]:
    """Normals and positions of a 5 x 4 x 2.6 m room's surfaces with a degree of noise; its walls lean to +x and +y."""
    size = np.array([5.0, 4.0, 2.6])
    normals, places = [], []
    for axis in range(3):
        for side in (0.0, 1.0):
            area = np.prod(np.delete(size, axis))
            number = int(400 * area)
            place = RANDOM.uniform(0, 1, (number, 3)) * size
            place[:, axis] = side * size[axis]
            normal = np.zeros(3)
            normal[axis] = 1.0 - 2.0 * side
            if axis < 2:
                normal[2] = -np.tan(np.radians(lean_deg)) * normal[axis]
            normals.append(normal / np.linalg.norm(normal) + RANDOM.normal(0, 0.017, (number, 3)))
            places.append(place)
    stacked = np.concatenate(normals)
    signs = RANDOM.choice([-1.0, 1.0], (len(stacked), 1))
    return signs * stacked / np.linalg.norm(stacked, axis=1)[:, None], np.concatenate(places)


@pytest.mark.parametrize("pose", [(0, 0, 0), (5, -3, 40), (-8, 6, 10), (90, 0, 0), (0, 90, 20), (93, 2, 5)])
def test_up_is_found_to_a_tenth_of_a_degree_in_any_pose(pose: tuple[float, float, float]) -> None:
    normals, places = room_normals()
    turn = Rotation.from_euler("xyz", pose, degrees=True).as_matrix()
    found = estimate_up(normals @ turn.T, places @ turn.T)
    assert min(angle_deg(found.up, turn[:, 2]), angle_deg(found.up, -turn[:, 2])) < 0.1


def test_walls_that_disagree_with_the_floor_widen_the_uncertainty() -> None:
    straight, leaning = estimate_up(*room_normals()), estimate_up(*room_normals(0.6))
    off = angle_deg(leaning.up, np.array([0.0, 0.0, 1.0]))
    assert leaning.standard_uncertainty_deg > 3 * straight.standard_uncertainty_deg
    assert off < 3 * leaning.standard_uncertainty_deg


def built_room(random: np.random.Generator, fall_deg: float = 0.0) -> tuple[Floats, Floats]:
    """Normals and positions of a room whose surfaces were each built 1 mm/m out of true, and whose floor falls."""
    normals, places = room_normals()
    which = np.repeat(np.arange(6), [int(400 * area) for area in (10.4, 10.4, 13.0, 13.0, 20.0, 20.0)])
    wrong = random.normal(0, 0.001, (6, 3))
    wrong[4, 0] += np.radians(fall_deg)
    signs = np.sign(np.sum(normals * np.repeat([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]], 2, axis=0)[which], axis=1))
    normals = normals * signs[:, None] + wrong[which]
    return normals / np.linalg.norm(normals, axis=1)[:, None], places


def test_the_stated_uncertainty_covers_how_rooms_are_built() -> None:
    random, inside = np.random.default_rng(11), []
    for _ in range(60):
        found = estimate_up(*built_room(random))
        inside += list(np.abs(np.degrees(found.up[:2])) < 2.0 * found.standard_uncertainty_deg)
    assert 0.9 <= np.mean(inside) <= 1.0


def test_a_floor_laid_to_fall_is_outvoted_by_the_other_surfaces() -> None:
    random = np.random.default_rng(12)
    off = [angle_deg(estimate_up(*built_room(random, 0.75)).up, np.array([0, 0, 1.0])) for _ in range(20)]
    assert np.sqrt(np.mean(np.square(off))) < 0.1


def test_rotation_takes_up_to_z_and_turns_no_further() -> None:
    for _ in range(20):
        up = RANDOM.normal(size=3)
        up /= np.linalg.norm(up)
        turn = rotation_to_up(up)
        np.testing.assert_allclose(turn @ up, [0, 0, 1], atol=1e-12)
        np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
        assert np.degrees(Rotation.from_matrix(turn).magnitude()) == pytest.approx(angle_deg(up, np.array([0, 0, 1.0])))


def station(axis: Floats | None) -> Station:
    return Station("S1", 0, np.zeros(3), axis, 1)


@pytest.mark.parametrize(
    ("axis", "source"), [((0.0, 0.0, 1.0), "scanner"), ((0.0, 0.1, 0.995), "estimated"), (None, "estimated")]
)
def test_a_scanners_axis_is_taken_exactly_when_it_agrees_with_the_room(
    axis: tuple[float, float, float] | None, source: str
) -> None:
    normals, places = room_normals()
    unit = None if axis is None else np.array(axis) / np.linalg.norm(axis)
    plumb, findings = find_plumb((station(unit),), normals, places, RoomSettings())
    assert plumb.source == source
    if source == "scanner":
        np.testing.assert_array_equal(plumb.up_local, unit)
    else:
        assert "plumb-estimated" in [finding.code for finding in findings]


def test_marks_come_before_everything() -> None:
    up = np.array([0.02, -0.01, 1.0]) / np.linalg.norm([0.02, -0.01, 1.0])
    line = ((1.0, 1.0, 0.0), tuple(float(v) for v in np.array([1.0, 1.0, 0.0]) + 2.0 * up))
    settings = RoomSettings(plumb_marks=(line,))
    plumb, _ = find_plumb((station(np.array([0.0, 0.0, 1.0])),), *room_normals(), settings)
    assert plumb.source == "datum" and angle_deg(plumb.up_local, up) < 1e-6
    # 1 mm at either end of 2 m
    assert plumb.standard_uncertainty_deg == pytest.approx(np.degrees(np.sqrt(2) * 1e-3 / 2.0), rel=1e-6)


def test_two_level_lines_pin_up_down_and_one_does_not() -> None:
    settings = {"level_marks": (((0, 0, 1), (3, 0, 1.03)), ((0, 0, 1), (0, 2, 1)))}
    both, _ = find_plumb((), *room_normals(), RoomSettings(**settings))
    assert both.source == "datum" and angle_deg(both.up_local, np.array([-0.01, 0.0, 1.0]) / np.hypot(1, 0.01)) < 1e-5
    one, _ = find_plumb((), *room_normals(), RoomSettings(level_marks=settings["level_marks"][:1]))
    assert one.source == "estimated"
