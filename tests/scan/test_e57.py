"""E57: poses, invalid states, number kinds and coordinate systems, against files whose content is known."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.scan.rooms import box_points, read_all
from tests.scan.write_e57 import cartesian, write_e57


@pytest.mark.parametrize(("kind", "tolerance"), [("double", 2e-6), ("single", 2e-6), ("scaled", 6e-5)])
def test_number_kinds_all_give_the_same_points(tmp_path: Path, kind: str, tolerance: float) -> None:
    points = box_points(5000)
    write_e57(tmp_path / "a.e57", [{"fields": cartesian(points, kind=kind)}])
    scan = read_all([tmp_path / "a.e57"])
    np.testing.assert_allclose(scan.points_m, points, atol=tolerance)
    assert scan.sources[0].length_unit == "m" and scan.sources[0].unit_source == "format"


def test_poses_of_several_scans_turn_then_move(tmp_path: Path) -> None:
    points = box_points(4000)
    scans, axes, positions = [], [], []
    for turn, shift in (([0.02, -0.01, 1.1], [1.0, -0.8, 0.5]), ([0.0, 0.0, -2.0], [-0.9, 0.7, 0.4])):
        rotation = Rotation.from_rotvec(turn)
        x, y, z, w = rotation.as_quat()
        own = rotation.inv().apply(points - shift)
        scans.append({"fields": cartesian(own), "rotation": [w, x, y, z], "translation": shift})
        axes.append(rotation.apply([0, 0, 1]))
        positions.append(shift)
    write_e57(tmp_path / "two.e57", scans)
    scan = read_all([tmp_path / "two.e57"])
    np.testing.assert_allclose(scan.points_m, np.vstack((points, points)), atol=2e-6)
    assert [station.points for station in scan.stations] == [4000, 4000]
    for station, axis, position in zip(scan.stations, axes, positions, strict=True):
        assert station.axis is not None and station.position_m is not None
        np.testing.assert_allclose(station.axis, axis, atol=1e-12)
        np.testing.assert_allclose(station.position_m + scan.origin_m, position, atol=1e-9)


def test_invalid_states_are_no_points_and_a_direction_only_is_a_ray(tmp_path: Path) -> None:
    points = box_points(4000)
    state = np.zeros(4000, np.int8)
    state[::4], state[1::4] = 1, 2
    rotation = Rotation.from_rotvec([0, 0, np.pi / 2])
    x, y, z, w = rotation.as_quat()
    write_e57(
        tmp_path / "a.e57", [{"fields": cartesian(points, state), "rotation": [w, x, y, z], "translation": [9, 8, 7]}]
    )
    scan = read_all([tmp_path / "a.e57"])
    np.testing.assert_allclose(scan.points_m, rotation.apply(points[state == 0]) + np.array([9, 8, 7]), atol=3e-6)
    lengths = np.linalg.norm(points[::4], axis=1, keepdims=True)
    np.testing.assert_allclose(scan.escaped, rotation.apply(points[::4] / lengths), atol=1e-6)
    assert any("1000 invalid points" in finding.text for finding in scan.findings)


def test_spherical_coordinates(tmp_path: Path) -> None:
    points = box_points(4000)
    reach = np.linalg.norm(points, axis=1)
    azimuth, elevation = np.arctan2(points[:, 1], points[:, 0]), np.arcsin(points[:, 2] / reach)
    state = np.zeros(4000)
    state[::10] = 1
    stored = np.where(state == 1, 0.0, reach)
    fields = {
        "sphericalRange": (stored, "double"),
        "sphericalAzimuth": (azimuth, "double"),
        "sphericalElevation": (elevation, "double"),
        "sphericalInvalidState": (state.astype(np.int8), "state"),
    }
    write_e57(tmp_path / "s.e57", [{"fields": fields}])
    scan = read_all([tmp_path / "s.e57"])
    np.testing.assert_allclose(scan.points_m, points[state == 0], atol=2e-6)
    np.testing.assert_allclose(scan.escaped, (points / reach[:, None])[state == 1], atol=1e-6)


@pytest.mark.parametrize("kind", ["single", "double", "scaled"])
def test_invalid_state_stored_as_another_kind_of_number(tmp_path: Path, kind: str) -> None:
    # seen in the wild by other readers: the standard asks for an integer
    points = box_points(4000)
    state = (np.arange(4000) % 4).clip(0, 2).astype(np.float64)
    fields = {**cartesian(points), "cartesianInvalidState": (state, kind)}
    write_e57(tmp_path / "a.e57", [{"fields": fields}])
    np.testing.assert_allclose(read_all([tmp_path / "a.e57"]).points_m, points[state == 0], atol=2e-6)


def test_intensity_colour_and_grid_are_passed_over_and_the_grid_states_a_station(tmp_path: Path) -> None:
    points = box_points(4000)
    fields = {
        "intensity": (np.linspace(0, 1, 4000), "single"),
        "rowIndex": (np.arange(4000) % 50, "index"),
        **cartesian(points),
        "columnIndex": (np.arange(4000) // 50, "index"),
        "colorRed": (np.full(4000, 200), "byte"),
    }
    write_e57(tmp_path / "a.e57", [{"fields": fields}])
    scan = read_all([tmp_path / "a.e57"])
    np.testing.assert_allclose(scan.points_m, points, atol=2e-6)
    assert scan.stations[0].position_m is not None
    assert scan.stations[0].axis is not None


def test_a_scan_without_points_among_others(tmp_path: Path) -> None:
    points, none = box_points(4000), np.empty((0, 3))
    write_e57(
        tmp_path / "a.e57", [{"fields": cartesian(none)}, {"fields": cartesian(points), "translation": [0, 0, 0.1]}]
    )
    scan = read_all([tmp_path / "a.e57"])
    assert [station.points for station in scan.stations] == [0, 4000]
