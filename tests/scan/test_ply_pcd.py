"""PLY and PCD: every encoding and number kind, extra properties, misses, and files that end early."""

from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from tests.scan.write_pcd import write_pcd
from unfold.arrays import Floats
from unfold.errors import ScanError

POINTS = box_points(4000)


def ply_bytes(points: Floats, form: str, kind: str) -> bytes:
    """Return a PLY file with properties before, between and after the coordinates, and an element before them."""
    order = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}[form]
    name = {"f4": "float", "f8": "double"}[kind]
    header = (
        f"ply\nformat {form} 1.0\ncomment made by a test\nelement camera 2\nproperty short view\n"
        f"element vertex {len(points)}\nproperty uchar red\nproperty {name} x\nproperty {name} y\nproperty int label\n"
        f"property {name} z\nproperty float32 nx\nelement face 0\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if form == "ascii":
        lines = [f"7 {x:.9g} {y:.9g} -3 {z:.9g} 0.5" for x, y, z in points]
        return header + ("1\n2\n" + "\n".join(lines) + "\n").encode()
    rows = np.zeros(len(points), [("r", "u1"), *((axis, order + kind) for axis in "xy"), ("l", order + "i4"),
                                  ("z", order + kind), ("n", order + "f4")])  # fmt: skip
    for number, axis in enumerate("xyz"):
        rows[axis] = points[:, number]
    return header + np.zeros(2, "i2").tobytes() + rows.tobytes()


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
@pytest.mark.parametrize("kind", ["f4", "f8"])
def test_ply_in_every_encoding(tmp_path: Path, form: str, kind: str) -> None:
    (tmp_path / "a.ply").write_bytes(ply_bytes(POINTS, form, kind))
    np.testing.assert_allclose(read_all([tmp_path / "a.ply"]).points_m, POINTS, atol=1e-6)


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian"])
def test_map_coordinates_in_double_ply_keep_microns(tmp_path: Path, form: str) -> None:
    points = POINTS + np.array([2_600_000.0, 5_400_000.0, 430.0])
    data = ply_bytes(points, form, "f8")
    if form == "ascii":
        lines = "".join(f"7 {x:.6f} {y:.6f} -3 {z:.6f} 0.5\n" for x, y, z in points)
        data = data[: data.index(b"end_header")] + ("end_header\n1\n2\n" + lines).encode()
    (tmp_path / "a.ply").write_bytes(data)
    np.testing.assert_allclose(read_all([tmp_path / "a.ply"]).points_m, points, atol=2e-6)


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_that_ends_early(tmp_path: Path, form: str) -> None:
    data = ply_bytes(POINTS, form, "f4")
    (tmp_path / "a.ply").write_bytes(data[: len(data) * 9 // 10])
    with pytest.raises(ScanError, match=r"a\.ply is cut short: \d+ of 4000 points"):
        read_all([tmp_path / "a.ply"])


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
@pytest.mark.parametrize("kind", ["F4", "F8"])
def test_pcd_in_every_encoding_without_misses(tmp_path: Path, data: str, kind: str) -> None:
    points = POINTS.copy()
    points[::10] = np.nan
    points[1::10] = 0.0
    write_pcd(tmp_path / "a.pcd", points, data, kind)
    scan = read_all([tmp_path / "a.pcd"])
    kept = np.arange(4000) % 10 > 1
    np.testing.assert_allclose(scan.points_m, POINTS[kept], atol=1e-6)
    found = " ".join(finding.text for finding in scan.findings)
    assert "400 points that are not finite" in found and "400 points at 0 0 0" in found


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
def test_pcd_that_ends_early(tmp_path: Path, data: str) -> None:
    write_pcd(tmp_path / "a.pcd", POINTS, data, "F4")
    whole = (tmp_path / "a.pcd").read_bytes()
    (tmp_path / "a.pcd").write_bytes(whole[: len(whole) * 9 // 10])
    with pytest.raises(ScanError, match=r"a\.pcd is cut short: \d+ of 4000 points"):
        read_all([tmp_path / "a.pcd"])


def test_pcd_viewpoint_is_a_station(tmp_path: Path) -> None:
    write_pcd(tmp_path / "a.pcd", POINTS, "binary", "F4", "0.5 -0.25 0.125 1 0 0 0")
    scan = read_all([tmp_path / "a.pcd"])
    position = scan.stations[0].position_m
    assert position is not None
    np.testing.assert_allclose(position + scan.origin_m, [0.5, -0.25, 0.125])


def test_pcd_default_viewpoint_says_nothing(tmp_path: Path) -> None:
    write_pcd(tmp_path / "a.pcd", POINTS, "binary", "F4")
    assert read_all([tmp_path / "a.pcd"]).stations[0].position_m is None
