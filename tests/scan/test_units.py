"""Inferring the length unit: rooms of many sizes in every unit, and what is stated beats what is inferred."""

from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from tests.scan.write_e57 import cartesian, write_e57
from unfold.scan.units import METRES_PER_UNIT, SURE, guess_unit
from unfold.settings.scan import LengthUnit, ScanSettings

ROOMS = [
    (2.0, 1.6, 2.4),
    (3.2, 2.6, 2.5),
    (5, 4, 2.7),
    (8, 6, 3.0),
    (14, 9, 3.5),
    (25, 14, 4.2),
    (7, 0.6, 7),
    (40, 18, 6),
]
METRIC: list[LengthUnit] = ["m", "mm", "cm"]


@pytest.mark.parametrize("size", ROOMS)
@pytest.mark.parametrize("unit", ["m", "mm"])
def test_rooms_from_closet_to_hall_in_the_common_units(size: tuple[float, float, float], unit: LengthUnit) -> None:
    points = box_points(5000, size=size) / METRES_PER_UNIT[unit]
    assert guess_unit(points).unit == unit


@pytest.mark.parametrize("size", ROOMS[:5])
@pytest.mark.parametrize("unit", ["cm", "in", "ft"])
def test_where_an_uncommon_unit_is_taken_for_another_it_is_not_called_sure(
    size: tuple[float, float, float], unit: LengthUnit
) -> None:
    guess = guess_unit(box_points(5000, size=size) / METRES_PER_UNIT[unit])
    assert guess.unit == unit or guess.probability < SURE or (unit == "ft" and guess.unit == "m")


def test_feet_and_metres_that_both_make_sense_are_metres() -> None:
    assert guess_unit(box_points(5000, size=(30, 24, 9))).unit == "m"  # or 9.1 x 7.3 x 2.7 m in feet


def test_stray_points_do_not_change_the_unit() -> None:
    points = box_points(5000)
    points[:20] *= 300  # reflections in glass
    assert guess_unit(points).unit == "m"


def write_xyz(path: Path, points: np.ndarray) -> None:  # type: ignore[type-arg]
    np.savetxt(path, points, fmt="%.5f")


@pytest.mark.parametrize("unit", METRES_PER_UNIT)
def test_the_users_unit_is_used_for_a_file_that_states_none(tmp_path: Path, unit: LengthUnit) -> None:
    points = box_points(3000)
    write_xyz(tmp_path / "a.xyz", points / METRES_PER_UNIT[unit])
    scan = read_all([tmp_path / "a.xyz"], ScanSettings(unit=unit))
    np.testing.assert_allclose(scan.points_m, points, atol=1e-5)
    assert (scan.sources[0].length_unit, scan.sources[0].unit_source) == (unit, "user")
    assert not any(finding.code == "unit-inferred" for finding in scan.findings)


def test_the_format_beats_the_user_and_says_so(tmp_path: Path) -> None:
    write_e57(tmp_path / "a.e57", [{"fields": cartesian(box_points(3000))}])
    scan = read_all([tmp_path / "a.e57"], ScanSettings(unit="mm"))
    np.testing.assert_allclose(scan.points_m, box_points(3000), atol=2e-6)
    assert any(finding.code == "unit-setting-unused" and finding.level == "warning" for finding in scan.findings)


def test_files_in_different_units_share_one_frame(tmp_path: Path) -> None:
    shift = np.array([310.0, 220.0, 100.0])
    points = box_points(3000) + shift
    write_xyz(tmp_path / "a.xyz", points * 1000)
    write_e57(tmp_path / "b.e57", [{"fields": cartesian(points)}])
    scan = read_all([tmp_path / "a.xyz", tmp_path / "b.e57"])
    np.testing.assert_allclose(scan.points_m, np.vstack((points, points)), atol=2e-5)
    assert [source.length_unit for source in scan.sources] == ["mm", "m"]
    assert [station.source for station in scan.stations] == [0, 1]
    assert np.max(np.abs(scan.local_m)) < 10
