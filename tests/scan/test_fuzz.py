"""Broken files: whatever bytes are changed, a reader gives points or a ScanError, never another error."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.scan.rooms import box_points
from tests.scan.test_las import write_las
from tests.scan.test_ply_pcd import ply_bytes
from tests.scan.test_ptx import grid_scan, ptx
from tests.scan.write_e57 import cartesian, write_e57
from tests.scan.write_pcd import write_pcd
from unfold.errors import ScanError
from unfold.scan import open_scan
from unfold.settings.scan import ScanSettings

POINTS = box_points(1500)


def _write_e57(path: Path) -> None:
    state = (np.arange(1500) % 7 == 0).astype(np.int8)
    write_e57(path, [{"fields": cartesian(POINTS, state), "translation": [1, 2, 3]}] * 2)


def _write_pts(path: Path) -> None:
    path.write_text("1500\n" + "".join(f"{x:.4f} {y:.4f} {z:.4f} 5 6 7 8\n" for x, y, z in POINTS))


WRITERS: dict[str, Callable[[Path], object]] = {
    "e57": _write_e57,
    "las": lambda path: write_las(path, POINTS),
    "laz": lambda path: write_las(path, POINTS, "1.4", 6),
    "ascii.ply": lambda path: path.write_bytes(ply_bytes(POINTS, "ascii", "f4")),
    "little.ply": lambda path: path.write_bytes(ply_bytes(POINTS, "binary_little_endian", "f4")),
    "big.ply": lambda path: path.write_bytes(ply_bytes(POINTS, "binary_big_endian", "f8")),
    "ascii.pcd": lambda path: write_pcd(path, POINTS, "ascii", "F4"),
    "binary.pcd": lambda path: write_pcd(path, POINTS, "binary", "F4"),
    "packed.pcd": lambda path: write_pcd(path, POINTS, "binary_compressed", "F4"),
    "ptx": lambda path: path.write_text(ptx(grid_scan(50, 30)[0], 50, 30)),
    "pts": _write_pts,
    "csv": lambda path: path.write_text("x;y;z\n" + "".join(f"{x:.4f};{y:.4f};{z:.4f}\n" for x, y, z in POINTS)),
    "stl": lambda path: trimesh.creation.icosphere(4).export(path),
    "glb": lambda path: trimesh.creation.icosphere(4).export(path),
    "obj": lambda path: trimesh.creation.icosphere(3).export(path),
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    for name, write in WRITERS.items():
        write(folder / f"a.{name}")
    return {name: (folder / f"a.{name}").read_bytes() for name in WRITERS}


@pytest.mark.parametrize("name", WRITERS)
@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_broken_files_end_in_points_or_a_scan_error(
    name: str, whole: dict[str, bytes], tmp_path: Path, data: st.DataObject
) -> None:
    broken = bytearray(whole[name])
    head = data.draw(st.booleans())  # breaking the header finds more than breaking coordinates
    within = min(len(broken), 600) if head else len(broken)
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, within - 1))
        broken[place] = data.draw(st.integers(0, 255) | st.sampled_from(list(b"0123456789 -.\n")))
    if data.draw(st.booleans()):
        del broken[data.draw(st.integers(0, len(broken))) :]
    path = tmp_path / f"a.{name}"
    path.write_bytes(broken)
    try:
        with open_scan([path], ScanSettings(mesh_spacing_mm=100)) as scan:
            points = [chunk.points_m for chunk in scan.chunks()]
    except ScanError as error:
        assert "\n" not in str(error)
    else:
        assert all(np.isfinite(chunk).all() for chunk in points)
