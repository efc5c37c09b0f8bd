"""What cannot be read ends in a ScanError of one line that says what is wrong and what to do."""

import gzip
import os
from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from tests.scan.test_ply_pcd import ply_bytes
from tests.scan.write_e57 import cartesian, write_e57
from unfold.errors import ScanError
from unfold.scan import open_scan
from unfold.settings.scan import ScanSettings


def complaint(path: Path) -> str:
    """Read a file that must be refused and return the complaint, checked to be one line with a remedy."""
    with pytest.raises(ScanError) as caught:
        read_all([path])
    text = str(caught.value)
    assert path.name in text and "\n" not in text and caught.value.what and caught.value.remedy
    return text


def test_paths_that_are_no_files(tmp_path: Path) -> None:
    assert "No such file" in complaint(tmp_path / "missing.e57")
    assert "is a folder" in complaint(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    assert "is no plain file" in complaint(tmp_path / "pipe")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_a_file_without_permission(tmp_path: Path) -> None:
    (tmp_path / "a.xyz").write_text("1 2 3\n")
    (tmp_path / "a.xyz").chmod(0)
    assert "Permission denied" in complaint(tmp_path / "a.xyz")


@pytest.mark.parametrize("name", ["a.e57", "a.las", "a.laz", "a.ply", "a.pcd", "a.ptx", "a.pts", "a.xyz", "a.stl", "a"])
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (bytes(5000), "of no kind"),
        (np.random.default_rng(1).bytes(5000), "of no kind"),
        (b"\x89PNG\r\n\x1a\n" + bytes(500), "of no kind"),
        (b"The quick brown fox\n" * 200, "no line with three numbers"),
        (b"".join(b"1 2 %d\n" % i for i in range(100)), "only 100 usable points"),
        (b"1 2 3\n" * 5000, "all 5000 points are the same"),
        (b"nan nan nan\n" * 5000, "only 0 usable points"),
        (b"0 0 0\n" * 5000, "only 0 usable points"),
    ],
)
def test_content_decides_whatever_the_extension(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    assert says in complaint(tmp_path / name)


@pytest.mark.parametrize("name", ["room.e57", "room.las", "room.xyz", "room"])
def test_a_wrong_extension_still_reads(tmp_path: Path, name: str) -> None:
    points = box_points(2000)
    (tmp_path / name).write_bytes(ply_bytes(points, "binary_little_endian", "f4"))
    np.testing.assert_allclose(read_all([tmp_path / name]).points_m, points, atol=1e-6)


def test_broken_and_unsuitable_gzip(tmp_path: Path) -> None:
    packed = gzip.compress(b"".join(b"%d %d 3\n" % (i % 7, i % 11) for i in range(400_000)))
    (tmp_path / "a.xyz.gz").write_bytes(packed[: len(packed) // 2])
    assert "cannot be read" in complaint(tmp_path / "a.xyz.gz") or "broken gzip" in complaint(tmp_path / "a.xyz.gz")
    (tmp_path / "b.xyz.gz").write_bytes(packed[:8] + bytes(40))
    assert "broken gzip" in complaint(tmp_path / "b.xyz.gz")
    write_e57(tmp_path / "c.e57", [{"fields": cartesian(box_points(2000))}])
    (tmp_path / "c.e57.gz").write_bytes(gzip.compress((tmp_path / "c.e57").read_bytes()))
    assert "unpack it" in complaint(tmp_path / "c.e57.gz")


def test_a_corrupt_scan_of_several_is_named(tmp_path: Path) -> None:
    path = tmp_path / "three.e57"
    points = box_points(30_000)
    write_e57(path, [{"fields": cartesian(points), "translation": [i, 0, 0], "name": f"Set {i}"} for i in range(3)])
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF  # in the middle of the second scan's points
    path.write_bytes(data)
    text = complaint(path)
    assert "scan 2 (Set 1)" in text and "checksum" in text


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
def test_e57_that_ends_early(tmp_path: Path, share: float) -> None:
    write_e57(tmp_path / "a.e57", [{"fields": cartesian(box_points(30_000))}])
    data = (tmp_path / "a.e57").read_bytes()
    (tmp_path / "a.e57").write_bytes(data[: int(len(data) * share)])
    complaint(tmp_path / "a.e57")


def test_e57_without_points_and_with_few(tmp_path: Path) -> None:
    write_e57(tmp_path / "none.e57", [])
    assert "only 0 usable points" in complaint(tmp_path / "none.e57")
    write_e57(tmp_path / "few.e57", [{"fields": cartesian(box_points(20))}])
    assert "only 20 usable points" in complaint(tmp_path / "few.e57")


def test_one_bad_file_among_good_ones_is_named(tmp_path: Path) -> None:
    (tmp_path / "good.ply").write_bytes(ply_bytes(box_points(2000), "ascii", "f4"))
    (tmp_path / "bad.ply").write_bytes(ply_bytes(box_points(2000), "ascii", "f4")[:30_000])
    with pytest.raises(ScanError, match=r"bad\.ply is cut short"):
        read_all([tmp_path / "good.ply", tmp_path / "bad.ply"])


def test_no_paths_at_all() -> None:
    with pytest.raises(ScanError), open_scan([], ScanSettings()) as scan:
        list(scan.chunks())
