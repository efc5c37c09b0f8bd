"""Meshes (OBJ, STL, GLB, PLY with faces and others): points spread evenly over their triangles."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from unfold.arrays import Floats, Ints
from unfold.errors import ScanError
from unfold.scan.compressed import open_bytes
from unfold.scan.reader import BATCH_POINTS, Batch, Part
from unfold.settings.scan import LengthUnit

MOST_POINTS = 40_000_000
PLASTIC = 1.32471795724474602596  # the root of x^3 = x + 1: steps 1/p and 1/p^2 fill a square evenly (Roberts 2018)


class MeshReader:
    """One mesh file, whole in memory; its points are made, on a spacing, not measured one by one."""

    def __init__(self, path: Path, kind: str, spacing_m: float) -> None:
        self.path = path
        self.unit: LengthUnit | None = "m" if kind in ("glb", "gltf") else None  # glTF 2.0, section 3.4: metres
        self.metres_per_unit = 1.0
        self.parts: list[Part] = [Part(path.stem)]
        self.dropped: Counter[str] = Counter()
        self._spacing_m = spacing_m
        self._corners = _triangles(path, kind)
        self._area = _areas(self._corners)
        if not self._area.sum() > 0:
            raise ScanError(f"{path} is a mesh without area", "export it with its faces, or as points")

    def batches(self) -> Iterator[Batch]:
        """Yield points on the triangles, the same ones every time: one for each square of the spacing."""
        until = np.cumsum(self._area)
        spacing = self._spacing_m / self.metres_per_unit
        count = int(min(max(until[-1] / spacing**2, 1.0), MOST_POINTS))
        for start in range(0, count, BATCH_POINTS):
            number = np.arange(start, min(start + BATCH_POINTS, count))
            triangle = np.searchsorted(until, (number + 0.5) * (until[-1] / count), side="right")
            xyz = _inside(self._corners[np.minimum(triangle, len(until) - 1)], number)
            yield Batch(0, xyz[:, 0], xyz[:, 1], xyz[:, 2], zero_is_miss=False)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield about as many points, spread over the whole mesh."""
        corners = self._corners
        until = np.cumsum(self._area)
        number = np.arange(points)
        triangle = np.searchsorted(until, (number + 0.5) * (until[-1] / points), side="right")
        xyz = _inside(corners[np.minimum(triangle, len(until) - 1)], number)
        yield Batch(0, xyz[:, 0], xyz[:, 1], xyz[:, 2], zero_is_miss=False)


def _triangles(path: Path, kind: str) -> Floats:
    """Return the corners of every triangle with finite ones, (n, 3 corners, 3)."""
    import trimesh

    try:
        if kind in ("gltf", "obj") and not _is_packed(path):
            mesh: Any = trimesh.load_scene(path, file_type=kind, process=False, skip_materials=True).to_mesh()
        else:
            with open_bytes(path) as stream:
                mesh = trimesh.load_scene(stream, file_type=kind, process=False, skip_materials=True).to_mesh()
        corners: Floats = np.asarray(mesh.vertices, np.float64)[np.asarray(mesh.faces, np.int64)]
    except (KeyboardInterrupt, SystemExit, ScanError):
        raise
    except Exception as error:  # the mesh readers let through whatever a broken file provokes
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise ScanError(f"{path} cannot be read as a mesh ({reason})", "export it again, or as points") from error
    return corners[np.isfinite(corners).all(axis=(1, 2))]


def _is_packed(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(2) == b"\x1f\x8b"


def _areas(corners: Floats) -> Floats:
    edges = corners[:, 1:] - corners[:, :1]
    areas: Floats = 0.5 * np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    return areas


def _inside(corners: Floats, number: Ints) -> Floats:
    """Return one point in each triangle (n, 3, 3), from the numbered members of an evenly filling sequence."""
    a, b = (0.5 + number / PLASTIC) % 1.0, (0.5 + number / PLASTIC**2) % 1.0
    beyond = a + b > 1.0
    a, b = np.where(beyond, 1 - a, a)[:, None], np.where(beyond, 1 - b, b)[:, None]
    inside: Floats = corners[:, 0] + a * (corners[:, 1] - corners[:, 0]) + b * (corners[:, 2] - corners[:, 0])
    return inside
