"""Where points were seen from: proven by a sharp optimum, refused when the points contradict, else left open."""

from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import read_all
from tests.scan.write_e57 import cartesian, write_e57
from unfold.arrays import Floats
from unfold.errors import SettingsError
from unfold.scan import open_scan
from unfold.scan.station import find_station, hidden_points, is_contradicted, is_station
from unfold.settings.scan import ScanSettings

ROOM = np.array([2.5, 2.0, 1.35])
# furniture as boxes: middle and half size
BOXES = np.array(
    [
        [[1.2, 0.8, -0.6], [0.25, 0.3, 0.75]],
        [[-1.3, 0.9, 0.8], [0.5, 0.2, 0.2]],
        [[0.4, -1.2, -0.9], [0.6, 0.3, 0.1]],
        [[-0.9, -1.1, 0], [0.15, 0.15, 1.35]],
    ]
)


def seen_from(place: Floats, count: int, seed: int = 1, noise: float = 0.002) -> Floats:
    """Return what a scanner at `place` sees of a furnished room, in random order (count, 3)."""
    random = np.random.default_rng(seed)
    rays = random.normal(size=(count, 3))
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    reach = np.min((np.sign(rays) * ROOM - place) / rays, axis=1)
    for middle, half in BOXES:
        low, high = (middle - half - place) / rays, (middle + half - place) / rays
        enter, leave = np.minimum(low, high).max(axis=1), np.maximum(low, high).min(axis=1)
        reach = np.where((enter < leave) & (enter > 0), np.minimum(reach, enter), reach)
    points: Floats = place + rays * (reach + random.normal(0, noise, count))[:, None]
    return points


def test_the_origin_of_a_scan_in_scanner_coordinates_is_proven() -> None:
    points = seen_from(np.zeros(3), 60_000)
    assert is_station(points, np.zeros(3))
    assert hidden_points(points, np.zeros(3)).share < 0.005


@pytest.mark.parametrize("aside", [[0.3, 0, 0], [0, -0.2, 0.1], [0.6, 0.5, 0.0]])
def test_a_place_beside_the_scanner_is_not(aside: list[float]) -> None:
    assert not is_station(seen_from(np.zeros(3), 60_000), np.array(aside))


def test_a_merged_cloud_has_no_station_even_where_one_stood() -> None:
    first, second = seen_from(np.zeros(3), 60_000), seen_from(np.array([1.8, -0.6, 0.2]), 60_000, 2)
    assert not is_station(np.vstack((first, second)), np.zeros(3))


def test_an_empty_convex_room_proves_nothing() -> None:
    points = seen_from(np.zeros(3), 60_000)
    on_wall = np.min(np.abs(np.abs(points) - ROOM), axis=1) < 0.02
    assert not is_station(points[on_wall & (np.abs(points[:, 2]) > 1.3)], np.zeros(3))


def in_order(place: Floats, columns: int = 300, rows: int = 120, noise: float = 0.002) -> Floats:
    """Return an empty room as a scanner at `place` measures it, column by column (n, 3): no point is hidden."""
    azimuth = np.repeat(np.linspace(0, 2 * np.pi, columns, endpoint=False), rows)
    elevation = np.tile(np.linspace(-1.1, 1.3, rows), columns)
    level = np.cos(elevation)
    rays = np.column_stack((level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)))
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.min(np.where(rays != 0, (np.sign(rays) * ROOM - place) / rays, np.inf), axis=1)
    reach += np.random.default_rng(6).normal(0, noise, len(reach))
    points: Floats = place + rays * reach[:, None]
    return points


def test_the_order_of_measurement_is_proof() -> None:
    points = in_order(np.zeros(3))
    assert is_station(points, np.zeros(3)) and not is_station(points, np.array([0.1, 0, 0]))


@pytest.mark.parametrize("place", [[0.7, -0.4, 0.3], [-1.2, 1.1, -0.2], [0, 0, 0]])
def test_a_station_anywhere_is_found_from_the_order_of_its_points(place: list[float]) -> None:
    shift = np.array([100.0, 50.0, 20.0])
    for moved in (np.zeros(3), shift):
        found = find_station(in_order(np.array(place)) + moved)
        assert found is not None
        np.testing.assert_allclose(found - moved, place, atol=0.005)


def test_shuffled_gridded_and_merged_points_have_no_station_to_find() -> None:
    first, second = in_order(np.array([0.7, -0.4, 0.3])), in_order(np.array([-1.2, 1.1, -0.2]))
    assert find_station(np.random.default_rng(1).permutation(first)) is None
    assert find_station(np.vstack((first, second))) is None
    assert find_station(np.vstack((first, second[: len(second) // 3]))) is None
    across, up = np.meshgrid(np.arange(0, 5, 0.02), np.arange(0, 2.7, 0.02), indexing="ij")
    flat = np.column_stack((across.ravel(), np.zeros(across.size), up.ravel()))
    assert find_station(np.vstack((flat, flat[:, [1, 0, 2]], flat[:, [0, 2, 1]]))) is None


def test_plain_file_gets_its_station_and_says_so(tmp_path: Path) -> None:
    np.savetxt(tmp_path / "a.xyz", seen_from(np.zeros(3), 60_000), fmt="%.4f")
    scan = read_all([tmp_path / "a.xyz"])
    position = scan.stations[0].position_m
    assert position is not None
    np.testing.assert_allclose(position + scan.origin_m, 0, atol=1e-12)
    assert any(finding.code == "station-inferred" for finding in scan.findings)
    moved = seen_from(np.zeros(3), 60_000) + np.array([1.0, 0.7, 0.2])
    np.savetxt(tmp_path / "b.xyz", moved, fmt="%.4f")
    assert read_all([tmp_path / "b.xyz"]).stations[0].position_m is None


def test_stated_pose_that_its_points_contradict_is_not_used(tmp_path: Path) -> None:
    points = np.vstack([seen_from(np.array(place), 20_000, 3) for place in ([0, 0, 0], [1.8, -0.6, 0.2], [-2, 1.5, 0])])
    outside = np.array([0.0, 3.5, 0.5])  # behind a wall
    assert is_contradicted(points, outside) and not is_contradicted(seen_from(np.zeros(3), 20_000), np.zeros(3))
    write_e57(tmp_path / "a.e57", [{"fields": cartesian(points - outside), "translation": outside}])
    scan = read_all([tmp_path / "a.e57"])
    assert scan.stations[0].position_m is None
    assert any(finding.code == "station-contradicted" and finding.level == "warning" for finding in scan.findings)


def test_an_e57_without_a_pose_is_judged_by_its_points(tmp_path: Path) -> None:
    single, merged = (
        seen_from(np.zeros(3), 40_000),
        np.vstack((seen_from(np.zeros(3), 30_000), seen_from(ROOM / 2, 30_000))),
    )
    write_e57(tmp_path / "single.e57", [{"fields": cartesian(single)}])
    write_e57(tmp_path / "merged.e57", [{"fields": cartesian(merged)}])
    assert read_all([tmp_path / "single.e57"]).stations[0].position_m is not None
    assert read_all([tmp_path / "merged.e57"]).stations[0].position_m is None


def test_declared_stations_fill_the_gaps_in_order(tmp_path: Path) -> None:
    place = np.array([1.0, 0.5, 0.2])
    merged = np.random.default_rng(4).permutation(np.vstack((seen_from(place, 9000), seen_from(-place, 9000))))
    np.savetxt(tmp_path / "a.xyz", merged, fmt="%.4f")
    write_e57(tmp_path / "b.e57", [{"fields": cartesian(merged - place), "translation": place}])
    settings = ScanSettings(stations=((0.1, 0.2, 0.3),))
    scan = read_all([tmp_path / "a.xyz", tmp_path / "b.e57"], settings)
    first, second = (station.position_m for station in scan.stations)
    assert first is not None and second is not None
    np.testing.assert_allclose(first + scan.origin_m, [0.1, 0.2, 0.3], atol=1e-12)
    np.testing.assert_allclose(second + scan.origin_m, place, atol=1e-12)


def test_more_declared_stations_than_gaps_is_a_wrong_setting(tmp_path: Path) -> None:
    np.savetxt(tmp_path / "a.xyz", seen_from(ROOM / 3, 5000), fmt="%.4f")
    with (
        pytest.raises(SettingsError, match=r"2 positions for 1 set-ups"),
        open_scan([tmp_path / "a.xyz"], ScanSettings(stations=((0, 0, 0), (1, 0, 0)))) as scan,
    ):
        list(scan.chunks())


def test_what_is_nearer_than_a_scanner_measures_is_left_out(tmp_path: Path) -> None:
    points = seen_from(np.zeros(3), 60_000)
    points[::100] *= 0.1 / np.linalg.norm(points[::100], axis=1, keepdims=True)
    np.savetxt(tmp_path / "a.xyz", points, fmt="%.4f")
    scan = read_all([tmp_path / "a.xyz"])
    assert len(scan.points_m) == 59_400
    assert any("600 points within 0.2 m of the scanner" in finding.text for finding in scan.findings)
