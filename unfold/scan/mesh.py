"""Meshes (OBJ, STL, GLB, PLY with faces and others): points spread evenly over their triangles."""

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from unfold.arrays import Floats
from unfold.errors import ScanError
from unfold.scan import kernels
from unfold.scan.compressed import open_bytes
from unfold.scan.reader import BATCH_POINTS, Batch, Part
from unfold.settings.scan import LengthUnit

MOST_POINTS = 40_000_000
REMOTE = 100.0
GRID_SHIFT = 0.3819660112501051  # of a spacing: faces and edges at round coordinates then fall between the grid lines


class MeshReader:
    """One mesh file, whole in memory; its points are made, on a spacing, not measured one by one."""

    def __init__(self, path: Path, kind: str, spacing_m: float) -> None:
        self.path = path
        self.unit: LengthUnit | None = "m" if kind in ("glb", "gltf") else None  # glTF 2.0, section 3.4: metres
        self.metres_per_unit = 1.0
        self.parts: list[Part] = [Part(path.stem, measured=False)]
        self.dropped: Counter[str] = Counter()
        self._spacing_m, self._remote = spacing_m, 0
        self._corners = _triangles(path, kind)
        self._leave_out_remote()
        self._area = _areas(self._corners)
        if not self._area.sum() > 0:
            raise ScanError(f"{path} is a mesh without area", "export it with its faces, or as points")

    def _leave_out_remote(self) -> None:
        """Leave out triangles that reach a hundred times further than nearly all others: broken coordinates."""
        if len(self._corners) == 0:
            return
        away = np.max(np.abs(self._corners - np.median(self._corners, axis=(0, 1))), axis=(1, 2))
        kept = away <= REMOTE * np.percentile(away, 99)
        self._remote = int(np.count_nonzero(~kept))
        self._corners = self._corners[kept]

    def batches(self) -> Iterator[Batch]:
        """Yield points on the triangles, the same ones every time: where the lines of a grid pierce them."""
        self.dropped = Counter({"triangles far from all others": self._remote})
        spacing = max(self._spacing_m / self.metres_per_unit, float(np.sqrt(self._area.sum() / MOST_POINTS)))
        yield from self._spread(spacing)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield about as many points, spread over the whole mesh."""
        yield from self._spread(float(np.sqrt(self._area.sum() / points)))

    def _spread(self, spacing: float) -> Iterator[Batch]:
        state = np.zeros(3, np.int64)
        while True:
            xyz = np.empty((BATCH_POINTS, 3))
            count = kernels.spread_points(self._corners, spacing, GRID_SHIFT, state, xyz)
            if count:
                yield Batch(0, xyz[:count, 0], xyz[:count, 1], xyz[:count, 2], zero_is_miss=False)
            if count < BATCH_POINTS:
                return


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


def obj_has_faces(path: Path) -> bool:
    """Tell an OBJ mesh from an OBJ file of points."""
    rest = b"\n"
    with open_bytes(path) as stream:
        while block := stream.read(1 << 20):
            if re.search(rb"\nf[ \t]", rest + block):
                return True
            rest = block[-2:]
    return False


def _is_packed(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(2) == b"\x1f\x8b"


def _areas(corners: Floats) -> Floats:
    edges = corners[:, 1:] - corners[:, :1]
    areas: Floats = 0.5 * np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    return areas
