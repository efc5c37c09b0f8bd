"""The stream itself: passes, stops, order, memory, counts and hashes."""

import hashlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from tests.scan.test_las import write_las
from tests.scan.test_ply_pcd import ply_bytes
from tests.scan.write_e57 import cartesian, write_e57
from unfold.errors import ScanError, UnfoldError
from unfold.scan import open_scan
from unfold.scan.ahead import read_ahead
from unfold.scan.open3d_library import load_open3d
from unfold.scan.result import CHUNK_POINTS
from unfold.scan.spill import Spill
from unfold.settings.scan import ScanSettings


def test_chunks_are_as_promised(tmp_path: Path) -> None:
    points = box_points(700_000)
    write_las(tmp_path / "a.las", points)
    with open_scan([tmp_path / "a.las"], ScanSettings()) as scan:
        for _ in range(2):
            chunks = list(scan.chunks())
            assert len(chunks) > 1 and sum(len(chunk.points_m) for chunk in chunks) == 700_000
            for chunk in chunks:
                assert len(chunk.points_m) <= CHUNK_POINTS and chunk.points_m.dtype == np.float32
                assert chunk.points_m.flags.c_contiguous and chunk.escaped.shape == (0, 3)


def test_a_pass_that_was_left_early_starts_afresh(tmp_path: Path) -> None:
    write_las(tmp_path / "a.las", box_points(700_000))
    with open_scan([tmp_path / "a.las"], ScanSettings()) as scan:
        next(iter(scan.chunks()))
        assert sum(len(chunk.points_m) for chunk in scan.chunks()) == 700_000
        next(iter(scan.chunks()))
        assert sum(len(chunk.points_m) for chunk in scan.chunks()) == 700_000
        assert scan.stations[0].points == scan.sources[0].points == 700_000


def test_hash_counts_and_names_of_the_sources(tmp_path: Path) -> None:
    data = ply_bytes(box_points(2000), "binary_little_endian", "f4")
    (tmp_path / "a.ply").write_bytes(data)
    source = read_all([tmp_path / "a.ply"]).sources[0]
    assert (source.name, source.points, source.stations) == ("a.ply", 2000, 1)
    assert source.sha256 == hashlib.sha256(data).hexdigest()


def test_no_thread_and_no_file_is_left_behind(tmp_path: Path) -> None:
    write_las(tmp_path / "a.las", box_points(700_000))
    before, files = threading.active_count(), len(os.listdir("/proc/self/fd"))
    with open_scan([tmp_path / "a.las"], ScanSettings()) as scan:
        hanging = iter(scan.chunks())
        next(hanging)
    assert threading.active_count() == before and len(os.listdir("/proc/self/fd")) == files


def test_points_stored_twice_are_read_once_and_said(tmp_path: Path) -> None:
    points = box_points(4000)
    twice = np.concatenate([np.vstack((part, part)) for part in np.array_split(points, 25)])
    (tmp_path / "a.ply").write_bytes(ply_bytes(twice, "ascii", "f8"))
    scan = read_all([tmp_path / "a.ply"])
    np.testing.assert_allclose(scan.points_m, points, atol=1e-6)
    assert any("4000 repeated points" in finding.text for finding in scan.findings)


def test_a_few_equal_points_of_a_coarse_grid_stay(tmp_path: Path) -> None:
    points = np.round(box_points(40_000), 2)
    points = points[points.any(axis=1)]
    share = 1 - len(np.unique(points, axis=0)) / len(points)
    assert 0.02 < share < 0.25
    (tmp_path / "a.ply").write_bytes(ply_bytes(points, "binary_little_endian", "f8"))
    assert len(read_all([tmp_path / "a.ply"]).points_m) == len(points)


def test_what_is_read_ahead_keeps_its_order_and_its_errors() -> None:
    def numbers() -> Iterator[int]:
        yield from range(50)
        raise KeyError("the end")

    seen: list[int] = []
    with pytest.raises(KeyError, match="the end"):
        for number in read_ahead(numbers()):
            seen.append(number)
    assert seen == list(range(50))


def test_a_full_disk_is_a_scan_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def full(self: Spill, left: memoryview) -> None:
        raise OSError(28, "No space left on device")

    write_las(tmp_path / "a.las", box_points(2000))
    monkeypatch.setattr(Spill, "_write_all", full)
    with pytest.raises(ScanError, match="No space left on device.*TMPDIR"):
        read_all([tmp_path / "a.las"])


MEASURE = """
import resource, sys
from pathlib import Path
from unfold.scan import open_scan
from unfold.settings.scan import ScanSettings
with open_scan([Path(sys.argv[1])], ScanSettings()) as scan:
    for _ in range(2):
        for chunk in scan.chunks():
            chunk.points_m.sum()
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def peak_kilobytes(path: Path) -> int:
    done = subprocess.run([sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True)
    return int(done.stdout)


def test_memory_does_not_grow_with_the_points(tmp_path: Path) -> None:
    for name, count in (("few", 600_000), ("many", 3_000_000)):
        write_e57(tmp_path / f"{name}.e57", [{"fields": cartesian(box_points(count), kind="single")}])
    peak_kilobytes(tmp_path / "few.e57")  # so that compiling is not measured
    grown = peak_kilobytes(tmp_path / "many.e57") - peak_kilobytes(tmp_path / "few.e57")
    assert grown < 6_000  # kilobytes; 2.4 million points more would be 29 MB


def test_open3d_loads() -> None:
    assert load_open3d().geometry.PointCloud().is_empty()


def test_open3d_that_cannot_load_names_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "open3d", None)
    with pytest.raises(UnfoldError, match="open3d"):
        load_open3d()
