"""Text: every way in which people write rows of coordinates."""

import gzip
from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from unfold.errors import ScanError

POINTS = np.round(box_points(3000), 4)


def rows(form: str, point: str = ".") -> str:
    lines = [form.format(x=x, y=y, z=z, i=i) for i, (x, y, z) in enumerate(POINTS)]
    return "\n".join(lines).replace(".", point) + "\n"


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        (rows("{x:.4f} {y:.4f} {z:.4f}"), None),
        (rows("  {x:.4f}\t{y:.4f}   {z:.4f}\r"), None),
        (rows("{x:.4f},{y:.4f},{z:.4f}"), None),
        (rows("{x:.4f}, {y:.4f}, {z:.4f}, 17, 18, 19"), None),
        (rows("{x:.4f};{y:.4f};{z:.4f}", ","), None),
        (rows("{x:.4f}\t{y:.4f}\t{z:.4f}\t128", ","), None),
        (rows("{x:.4f} {y:.4f} {z:.4f} 0,5 255 255 255", ","), None),
        (rows("{x:.6e}|{y:.6e}|{z:.6E}"), None),
        ("x y z\n" + rows("{x:.4f} {y:.4f} {z:.4f}"), None),
        ("// X,Y,Z,R,G,B\n" + rows("{x:.4f},{y:.4f},{z:.4f},1,2,3"), None),
        ("# made by a scanner\n# 3000 points\n" + rows("{x:.4f} {y:.4f} {z:.4f}"), None),
        ("\ufeff" + rows("{x:.4f} {y:.4f} {z:.4f}"), None),
        ("intensity,Z,X,Y\n" + rows("7,{z:.4f},{x:.4f},{y:.4f}"), None),
        ('"id";"Easting";"Northing";"Elevation"\n' + rows("{i};{x:.4f};{y:.4f};{z:.4f}", ","), None),
        ("X [m],Y [m],Z [m]\n" + rows("{x:.4f},{y:.4f},{z:.4f}"), "m"),
        (rows('"{x:.4f}","{y:.4f}","{z:.4f}"'), None),
        (rows('"{x:.4f}";"{y:.4f}";"{z:.4f}"', ","), None),
        (rows("{i} {x:.4f} {y:.4f} {z:.4f}"), None),
        (rows("P{i} {x:.4f} {y:.4f} {z:.4f}"), None),
    ],
)
def test_any_separator_header_and_decimal_mark(tmp_path: Path, text: str, unit: str | None) -> None:
    (tmp_path / "a.txt").write_text(text, encoding="utf-8", newline="")
    scan = read_all([tmp_path / "a.txt"])
    np.testing.assert_allclose(scan.points_m, POINTS, atol=1e-6)
    assert scan.sources[0].unit_source == ("format" if unit else "inferred")


def test_the_unit_in_a_header_is_used(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("X (mm);Y (mm);Z (mm)\n" + rows("{x:.1f};{y:.1f};{z:.1f}"))
    thousand = "\n".join(f"{x:.1f};{y:.1f};{z:.1f}" for x, y, z in POINTS * 1000)
    (tmp_path / "a.csv").write_text("X (mm);Y (mm);Z (mm)\n" + thousand)
    scan = read_all([tmp_path / "a.csv"])
    assert (scan.sources[0].length_unit, scan.sources[0].unit_source) == ("mm", "format")
    np.testing.assert_allclose(scan.points_m, POINTS, atol=1e-6)


def test_packed_text(tmp_path: Path) -> None:
    (tmp_path / "a.xyz.gz").write_bytes(gzip.compress(rows("{x:.4f} {y:.4f} {z:.4f}").encode()))
    np.testing.assert_allclose(read_all([tmp_path / "a.xyz.gz"]).points_m, POINTS, atol=1e-6)


def test_lines_that_hold_no_point_are_counted_and_odd_numbers_dropped(tmp_path: Path) -> None:
    text = rows("{x:.4f} {y:.4f} {z:.4f}") + "nan nan nan\n1.0 inf 2.0\nend\n1.0 2.0\n0 0 0\n"
    (tmp_path / "a.xyz").write_text(text)
    scan = read_all([tmp_path / "a.xyz"])
    np.testing.assert_allclose(scan.points_m, POINTS, atol=1e-6)
    found = " ".join(finding.text for finding in scan.findings)
    assert "2 lines without three numbers" in found and "2 points that are not finite" in found
    assert "1 points at 0 0 0" in found


def test_thousands_separators_are_refused_not_misread(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("1,234.50 2,345.60 3.20\n" * 2000)
    with pytest.raises(ScanError, match="thousands"):
        read_all([tmp_path / "a.txt"])


def test_pts_with_two_blocks(tmp_path: Path) -> None:
    line = "{x:.4f} {y:.4f} {z:.4f} -1250 12 13 14"
    both = rows(line).splitlines(keepends=True)
    (tmp_path / "a.pts").write_text("2000\n" + "".join(both[:2000]) + "1000\n" + "".join(both[2000:]))
    scan = read_all([tmp_path / "a.pts"])
    np.testing.assert_allclose(scan.points_m, POINTS, atol=1e-6)
    assert [station.points for station in scan.stations] == [2000, 1000]


@pytest.mark.parametrize("kept", [2500, 2999])
def test_pts_that_ends_early_names_the_block(tmp_path: Path, kept: int) -> None:
    text = "1000\n" + "".join(rows("{x:.4f} {y:.4f} {z:.4f} 1").splitlines(keepends=True)[:1000])
    text += "2000\n" + "".join(rows("{x:.4f} {y:.4f} {z:.4f} 1").splitlines(keepends=True)[1000:kept])
    (tmp_path / "a.pts").write_text(text)
    with pytest.raises(ScanError, match="block 2 of .* is cut short"):
        read_all([tmp_path / "a.pts"])
