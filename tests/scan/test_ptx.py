"""PTX: the row-vector matrix against published values, several stations, misses and their directions."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.scan.rooms import box_points, read_all
from unfold.arrays import Floats
from unfold.errors import ScanError

# A converter's page on the PTX format, 2015, gives this matrix and points before and after; recomputed here.
PUBLISHED_ROWS = """-0.955179 0.296021 -0.002106 0
-0.296023 -0.955180 0.001152 0
-0.001670 0.001724 0.999997 0
3.847211 12.235314 -0.425777 1"""
PUBLISHED_POINTS = {
    (1.111111, 2.111111, 3.111): (2.156, 10.553, 2.685),
    (1.222222, 2.222222, 3.222): (2.017, 10.480, 2.796),
    (1.666666, 2.666666, 3.666): (1.460, 10.188, 3.240),
}


def ptx(points: Floats, columns: int, rows: int, matrix: str = "1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1") -> str:
    """Return one scan; the header's position and axes are those of the matrix."""
    values = [line.split()[:3] for line in matrix.splitlines()]
    head = [str(columns), str(rows), " ".join(values[3]), *(" ".join(row) for row in values[:3]), matrix]
    body = [f"{x:.6f} {y:.6f} {z:.6f} {0.5 if x == y == z == 0 else 0.8} 10 20 30" for x, y, z in points]
    return "\n".join(head + body) + "\n"


def test_published_points(tmp_path: Path) -> None:
    filler = box_points(1197)
    points = np.vstack((list(PUBLISHED_POINTS), filler))
    (tmp_path / "a.ptx").write_text(ptx(points, 30, 40, PUBLISHED_ROWS))
    scan = read_all([tmp_path / "a.ptx"])
    np.testing.assert_allclose(scan.points_m[:3], list(PUBLISHED_POINTS.values()), atol=6e-4)
    station = scan.stations[0]
    assert station.position_m is not None and station.axis is not None
    np.testing.assert_allclose(station.position_m + scan.origin_m, [3.847211, 12.235314, -0.425777], atol=1e-9)
    np.testing.assert_allclose(station.axis, [-0.001670, 0.001724, 0.999997], atol=1e-6)


def grid_scan(columns: int, rows: int) -> tuple[Floats, Floats]:
    """Return a scan of a 5 x 4 x 2.7 m box from inside, column by column (n, 3), and its unit directions."""
    azimuth = np.linspace(np.pi, -np.pi, columns, endpoint=False)[:, None]
    elevation = np.linspace(-1.0, 1.2, rows)[None, :]
    level = np.cos(elevation) * np.ones_like(azimuth)
    rays = np.stack((level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation) * np.ones_like(azimuth)), -1)
    rays = rays.reshape(-1, 3)
    reach = np.min(np.array([2.5, 2.0, 1.35]) / np.maximum(np.abs(rays), 1e-12), axis=1)
    return rays * reach[:, None], rays


def test_misses_have_the_direction_of_their_grid_cell(tmp_path: Path) -> None:
    points, rays = grid_scan(120, 60)
    missed = (rays[:, 0] > 0.8) & (np.abs(rays[:, 2]) < 0.4)  # a whole window
    missed[7::13] = True
    turned = Rotation.from_euler("ZYX", [70, 4, -3], degrees=True)
    matrix = "\n".join(" ".join(f"{value:.9f}" for value in row) + " 0" for row in turned.as_matrix().T)
    (tmp_path / "a.ptx").write_text(ptx(np.where(missed[:, None], 0, points), 120, 60, matrix + "\n5 6 1.5 1"))
    scan = read_all([tmp_path / "a.ptx"])
    np.testing.assert_allclose(scan.points_m, turned.apply(points[~missed]) + np.array([5, 6, 1.5]), atol=3e-6)
    assert len(scan.escaped) == missed.sum()
    np.testing.assert_allclose(scan.escaped, turned.apply(rays[missed]), atol=1e-5)
    assert any(f"{missed.sum()} rays that met nothing" in finding.text for finding in scan.findings)


def test_a_grid_that_its_points_do_not_bear_out_gives_no_direction(tmp_path: Path) -> None:
    points, _ = grid_scan(60, 40)
    shuffled = np.random.default_rng(3).permutation(points)
    shuffled[::9] = 0
    (tmp_path / "a.ptx").write_text(ptx(shuffled, 60, 40))
    assert len(read_all([tmp_path / "a.ptx"]).escaped) == 0


def test_several_scans_and_an_empty_one(tmp_path: Path) -> None:
    points, _ = grid_scan(60, 40)
    moved = "1 0 0 0\n0 1 0 0\n0 0 1 0\n10 0 0 1"
    (tmp_path / "a.ptx").write_text(ptx(points, 60, 40) + ptx(np.zeros((12, 3)), 4, 3) + ptx(points, 60, 40, moved))
    scan = read_all([tmp_path / "a.ptx"])
    np.testing.assert_allclose(scan.points_m, np.vstack((points, points + np.array([10, 0, 0]))), atol=2e-6)
    assert [station.points for station in scan.stations] == [2400, 0, 2400]


@pytest.mark.parametrize(
    ("edit", "complaint"),
    [
        (lambda text: text[: len(text) * 9 // 10], "scan 2 of .* (is cut short|has a broken line)"),
        (lambda text: text.replace("10 0 0 1\n", "10 0 zero 1\n"), "the header of scan 2"),
        (lambda text: text + "5\n", "the header of scan 3"),
        (lambda text: text.replace("1 0 0 0\n0 1 0 0", "0 0 0 0\n0 0 0 0"), "matrix of scan 1"),
    ],
)
def test_a_broken_scan_is_named(tmp_path: Path, edit: "object", complaint: str) -> None:
    points, _ = grid_scan(60, 40)
    text = ptx(points, 60, 40) + ptx(points, 60, 40, "1 0 0 0\n0 1 0 0\n0 0 1 0\n10 0 0 1")
    (tmp_path / "a.ptx").write_text(edit(text))  # type: ignore[operator]
    with pytest.raises(ScanError, match=complaint):
        read_all([tmp_path / "a.ptx"])
