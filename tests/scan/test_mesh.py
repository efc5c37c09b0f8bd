"""Meshes: points lie on the surface, evenly, the same every time, in the format's unit."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial import Delaunay, cKDTree
from scipy.spatial.transform import Rotation

from tests.scan.rooms import read_all
from unfold.settings.scan import ScanSettings

SIZE = np.array([5.0, 4.0, 2.7])
SHIFT = np.array([[1.0, 0, 0, 20], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])


def box() -> trimesh.Trimesh:
    mesh: trimesh.Trimesh = trimesh.creation.box(SIZE)
    return mesh


@pytest.mark.parametrize("name", ["a.obj", "a.stl", "a.glb", "a.ply", "a.off", "text.stl", "text.ply"])
def test_every_mesh_format_gives_even_points_on_the_surface(tmp_path: Path, name: str) -> None:
    kind = {"text.stl": "stl_ascii"}.get(name, name[-3:])
    box().export(tmp_path / name, file_type=kind, **({"encoding": "ascii"} if name == "text.ply" else {}))
    scan = read_all([tmp_path / name], ScanSettings(mesh_spacing_mm=50))
    area = 2 * (5 * 4 + 5 * 2.7 + 4 * 2.7)
    assert len(scan.points_m) == pytest.approx(area / 0.05**2, rel=0.02)
    outside = np.max(np.abs(scan.points_m) - SIZE / 2, axis=1)
    np.testing.assert_allclose(outside, 0, atol=1e-6)
    wall = scan.points_m[np.abs(scan.points_m[:, 0] - 2.5) < 1e-4][:, 1:]
    middle = np.stack(np.meshgrid(np.arange(-1.9, 1.92, 0.04), np.arange(-1.2, 1.22, 0.04)), -1).reshape(-1, 2)
    reach = np.asarray(cKDTree(wall).query(middle)[0])
    assert reach.max() < 0.05 * np.sqrt(0.5) + 1e-9  # nowhere further than the middle of a square of four points
    assert scan.stations[0].position_m is None
    assert scan.sources[0].unit_source == ("format" if name == "a.glb" else "inferred")


def test_the_same_points_every_time_and_spacing_in_millimetres_of_a_mesh_in_millimetres(tmp_path: Path) -> None:
    mesh = box()
    mesh.vertices *= 1000
    mesh.export(tmp_path / "a.stl")
    one, two = (read_all([tmp_path / "a.stl"], ScanSettings(mesh_spacing_mm=50)) for _ in range(2))
    np.testing.assert_array_equal(one.points_m, two.points_m)
    assert one.sources[0].length_unit == "mm" and len(one.points_m) == pytest.approx(88.6 / 0.05**2, rel=0.02)


def test_a_scene_keeps_its_transforms(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    scene.add_geometry(box(), transform=SHIFT)
    scene.export(tmp_path / "a.glb")  # type: ignore[no-untyped-call]
    scan = read_all([tmp_path / "a.glb"], ScanSettings(mesh_spacing_mm=50))
    np.testing.assert_allclose(scan.points_m.mean(axis=0), [20, 0, 0], atol=0.02)


def test_an_obj_of_points_only(tmp_path: Path) -> None:
    points = np.random.default_rng(2).uniform(-3, 3, (2000, 3)).round(5)
    lines = "".join(f"v {x} {y} {z}\nvn 0 0 1\n" for x, y, z in points)
    (tmp_path / "a.obj").write_text("# points\n" + lines)
    np.testing.assert_allclose(read_all([tmp_path / "a.obj"]).points_m, points, atol=1e-6)


def test_a_turned_wall_is_covered_without_gaps_or_overlap(tmp_path: Path) -> None:
    random = np.random.default_rng(5)
    flat = np.stack(np.meshgrid(np.linspace(0, 3, 31), np.linspace(0, 2.5, 26)), -1).reshape(-1, 2)
    flat[(flat > 0.05).all(axis=1) & (flat < [2.95, 2.45]).all(axis=1)] += random.uniform(-0.03, 0.03)
    faces = Delaunay(flat).simplices
    turn = Rotation.from_euler("zx", [37, 4], degrees=True).as_matrix()
    corners = np.column_stack((flat[:, 0], np.zeros(len(flat)), flat[:, 1])) @ turn.T
    trimesh.Trimesh(corners, faces, process=False).export(tmp_path / "a.ply")
    own = read_all([tmp_path / "a.ply"], ScanSettings(mesh_spacing_mm=20, unit="m")).points_m @ turn
    np.testing.assert_allclose(own[:, 1], 0, atol=1e-6)
    apart = np.asarray(cKDTree(own).query(own, 2)[0])[:, 1]
    assert apart.min() > 0.0199  # the grid's own spacing, or more where the wall is turned against it
    assert len(own) == pytest.approx(3 * 2.5 * abs(turn[1, 1]) / 0.02**2, rel=0.02)  # as seen along the nearest axis


def test_a_broken_vertex_far_away_is_left_out_and_said(tmp_path: Path) -> None:
    mesh = trimesh.creation.icosphere(4)
    mesh.vertices[7] = [1e30, 0.5, -0.25]
    mesh.export(tmp_path / "a.ply")
    scan = read_all([tmp_path / "a.ply"], ScanSettings(mesh_spacing_mm=20, unit="m"))
    assert np.max(np.abs(scan.points_m)) < 1.001
    assert any("triangles far from all others" in finding.text for finding in scan.findings)
