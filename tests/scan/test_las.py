"""LAS and LAZ: scale and offset, withheld points, units of the reference system, and files that end early."""

from pathlib import Path

import laspy
import numpy as np
import pyproj
import pytest

from tests.scan.rooms import box_points, read_all
from unfold.arrays import Floats
from unfold.errors import ScanError


def write_las(path: Path, points: Floats, version: str = "1.2", form: int = 3, crs: object = None) -> laspy.LasData:
    header = laspy.LasHeader(point_format=form, version=version)
    header.scales, header.offsets = np.full(3, 1e-4), np.floor(points.min(axis=0))
    if crs is not None:
        header.add_crs(crs, keep_compatibility=form < 6)
    las = laspy.LasData(header)
    las.x, las.y, las.z = points.T
    las.write(path)
    return las


@pytest.mark.parametrize("name", ["a.las", "a.laz"])
@pytest.mark.parametrize(("version", "form"), [("1.2", 0), ("1.2", 3), ("1.4", 6), ("1.4", 7)])
def test_every_common_point_format(tmp_path: Path, name: str, version: str, form: int) -> None:
    points = box_points(6000)
    write_las(tmp_path / name, points, version, form)
    scan = read_all([tmp_path / name])
    np.testing.assert_allclose(scan.points_m, points, atol=6e-5)
    assert scan.stations[0].position_m is None and scan.sources[0].unit_source == "inferred"


def test_map_coordinates_of_millions_of_metres_keep_microns(tmp_path: Path) -> None:
    points = np.round(box_points(6000), 4) + np.array([2_600_000.0, 5_400_000.0, 430.0])
    write_las(tmp_path / "a.laz", points, crs=pyproj.CRS.from_epsg(32632))
    scan = read_all([tmp_path / "a.laz"])
    np.testing.assert_allclose(scan.points_m, points, atol=2e-6)
    assert np.all(np.abs(scan.local_m) < 10) and scan.sources[0].unit_source == "format"


# Units of the EPSG register: 2263 New York Long Island (US survey foot), 2222 Arizona East (international foot),
# 32632 UTM 32N (metre). One US survey foot is 1200/3937 m (US Coast and Geodetic Survey, 1893), one foot 0.3048 m.
@pytest.mark.parametrize(
    ("code", "unit", "metres"), [(2263, "us-ft", 1200 / 3937), (2222, "ft", 0.3048), (32632, "m", 1)]
)
@pytest.mark.parametrize(("version", "form"), [("1.2", 3), ("1.4", 6)])
def test_units_of_the_reference_system(
    tmp_path: Path, code: int, unit: str, metres: float, version: str, form: int
) -> None:
    points = np.round(box_points(6000, size=(15, 12, 9)), 4) + np.array([900_000.0, 200_000.0, 30.0])
    write_las(tmp_path / "a.laz", points, version, form, pyproj.CRS.from_epsg(code))
    scan = read_all([tmp_path / "a.laz"])
    assert (scan.sources[0].length_unit, scan.sources[0].unit_source) == (unit, "format")
    np.testing.assert_allclose(scan.points_m, points * metres, atol=2e-6)


def test_heights_in_feet_over_a_plan_in_metres(tmp_path: Path) -> None:
    # EPSG 6360 is NAVD88 height in US survey feet
    points = np.round(box_points(6000), 4) + np.array([500_000.0, 4_000_000.0, 90.0])
    write_las(tmp_path / "a.las", points, "1.4", 6, pyproj.CRS("EPSG:32632+6360"))
    scan = read_all([tmp_path / "a.las"])
    np.testing.assert_allclose(scan.points_m, points * [1, 1, 1200 / 3937], atol=3e-6)


def test_coarse_coordinates_are_warned_of(tmp_path: Path) -> None:
    header = laspy.LasHeader(point_format=0, version="1.2")
    header.scales = np.full(3, 0.01)
    las = laspy.LasData(header)
    las.x, las.y, las.z = box_points(6000).T
    las.write(tmp_path / "a.las")
    assert any("steps of 10 mm" in finding.text for finding in read_all([tmp_path / "a.las"]).findings)


def test_degrees_are_refused(tmp_path: Path) -> None:
    for version, form in (("1.2", 3), ("1.4", 6)):
        write_las(tmp_path / "a.las", box_points(2000), version, form, pyproj.CRS.from_epsg(4326))
        with pytest.raises(ScanError, match="degrees"):
            read_all([tmp_path / "a.las"])


@pytest.mark.parametrize("form", [3, 6])
def test_withheld_points_are_left_out_and_counted(tmp_path: Path, form: int) -> None:
    points = box_points(5000)
    las = write_las(tmp_path / "a.las", points, "1.4", form)
    las.withheld[::5] = 1
    las.write(tmp_path / "a.laz")
    scan = read_all([tmp_path / "a.laz"])
    kept = np.arange(5000) % 5 != 0
    np.testing.assert_allclose(scan.points_m, points[kept], atol=6e-5)
    assert any("1000 points flagged as withheld" in finding.text for finding in scan.findings)


@pytest.mark.parametrize("name", ["a.las", "a.laz"])
@pytest.mark.parametrize("share", [0.3, 0.9, 0.999])
def test_a_file_that_ends_early_is_an_error(tmp_path: Path, name: str, share: float) -> None:
    write_las(tmp_path / name, box_points(150_000))
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: int(len(data) * share)])
    with pytest.raises(ScanError, match=name):
        read_all([tmp_path / name])
