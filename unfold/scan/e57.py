"""E57 (ASTM E2807): several scans with poses, in metres."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from pye57 import libe57

from unfold.arrays import AnyArray, Floats
from unfold.errors import ScanError
from unfold.scan import kernels
from unfold.scan.e57_pages import pages_are_sound
from unfold.scan.reader import BATCH_POINTS, IDENTITY, Batch, Part
from unfold.settings.scan import LengthUnit

CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
DIRECTION_ONLY, INVALID = 1, 2


class E57Reader:
    """One E57 file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = "m"
        self.parts: list[Part] = []
        self.dropped: Counter[str] = Counter()
        self.metres_per_unit = 1.0

    def batches(self) -> Iterator[Batch]:
        """Yield every scan's points in order. Raises ScanError naming the scan that cannot be decoded."""
        return self._read(None, verify=not pages_are_sound(self.path))

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield the first points of every scan: libE57 cannot jump inside one."""
        return self._read(points, verify=True)

    def _read(self, points: int | None, verify: bool) -> Iterator[Batch]:
        self.parts, self.dropped = [], Counter()
        image = self._open(libe57.CHECKSUM_POLICY_ALL if verify else libe57.CHECKSUM_POLICY_NONE)
        try:
            scans = _scans(image, self.path)
            share = None if points is None else max(points // max(len(scans), 1), 1)
            for number, scan in enumerate(scans):
                yield from self._read_scan(image, scan, number, share)
        finally:
            image.close()

    def _open(self, policy: int) -> Any:
        try:
            return libe57.ImageFile(str(self.path), "r", policy)
        except libe57.E57Exception as error:
            raise ScanError(
                f"{self.path} is not a whole E57 file ({_reason(error)})", "export the scan again"
            ) from error

    def _read_scan(self, image: Any, scan: Any, number: int, limit: int | None) -> Iterator[Batch]:
        what = f"scan {number + 1}"
        try:
            name = _text(scan, "name") or what
            what = f"scan {number + 1} ({name})" if name != what else what
            matrix, posed = _pose(scan)
            points = libe57.CompressedVectorNode(scan.get("points"))
            self.parts.append(Part(name, matrix[:, 3].copy(), matrix[:, 2].copy(), stated=posed))
            yield from self._read_points(image, points, matrix, limit)
        except (libe57.E57Exception, RuntimeError, ValueError, OverflowError, MemoryError) as error:
            raise ScanError(
                f"{what} of {self.path} cannot be decoded ({_reason(error)})", "export that scan again, or leave it out"
            ) from error

    def _read_points(self, image: Any, points: Any, matrix: Floats, limit: int | None) -> Iterator[Batch]:
        wanted, part = points.childCount(), len(self.parts) - 1
        if wanted == 0:
            return
        columns = _Columns(image, points, min(wanted, limit or BATCH_POINTS, BATCH_POINTS))
        if columns.spherical or columns.gridded:
            self.parts[part].stated = True  # measured from its origin, which the pose moves
        reader, read = points.reader(columns.buffers), 0
        try:
            while count := reader.read():
                read += count
                yield self._batch(columns, count, part, matrix)
                if limit is not None and read >= limit:
                    return
        finally:
            reader.close()
        if read != wanted:
            raise ValueError(f"{read} of {wanted} points")

    def _batch(self, columns: "_Columns", count: int, part: int, matrix: Floats) -> Batch:
        x, y, z = (array[:count] for array in columns.xyz)
        state = None if columns.state is None else columns.state[:count]
        if columns.spherical:
            if state is not None:
                # the range of a miss is often stored as 0, which would lose the direction
                x[state == DIRECTION_ONLY] = 1.0
            kernels.from_spherical(x, y, z)
        escaped = None
        if state is not None and state.any():
            missed = state == DIRECTION_ONLY
            self.dropped["rays that met nothing"] += int(missed.sum())
            self.dropped["invalid points"] += int((state >= INVALID).sum())
            escaped = np.column_stack((x[missed], y[missed], z[missed])) @ matrix[:, :3].T
        return Batch(part, x, y, z, state, matrix, escaped=escaped)


class _Columns:
    """Fixed buffers that libE57 fills, a batch at a time."""

    def __init__(self, image: Any, points: Any, capacity: int) -> None:
        fields = _names(libe57.StructureNode(points.prototype()))
        self.spherical = not set(CARTESIAN) <= fields
        if self.spherical and not set(SPHERICAL) <= fields:
            raise ValueError("no coordinates in it")
        self.gridded = {"rowIndex", "columnIndex"} <= fields
        state_name = "sphericalInvalidState" if self.spherical else "cartesianInvalidState"
        self.buffers = libe57.VectorSourceDestBuffer()
        self.xyz = [
            self._add(image, name, capacity, np.float64) for name in (SPHERICAL if self.spherical else CARTESIAN)
        ]
        self.state = self._add(image, state_name, capacity, np.int8) if state_name in fields else None

    def _add(self, image: Any, name: str, capacity: int, kind: type) -> AnyArray:
        array: AnyArray = np.zeros(capacity, kind)
        self.buffers.append(libe57.SourceDestBuffer(image, name, array, capacity, True, True))
        return array


def _scans(image: Any, path: Path) -> list[Any]:
    try:
        data = libe57.VectorNode(image.root().get("data3D"))
        return [libe57.StructureNode(data.get(number)) for number in range(data.childCount())]
    except libe57.E57Exception as error:
        raise ScanError(f"{path} holds no list of scans ({_reason(error)})", "export the scan again") from error


def _names(structure: Any) -> set[str]:
    return {structure.get(number).elementName() for number in range(structure.childCount())}


def _text(structure: Any, name: str) -> str:
    return str(libe57.StringNode(structure.get(name)).value()).strip() if structure.isDefined(name) else ""


def _pose(scan: Any) -> tuple[Floats, bool]:
    """Return file_from_scanner (3, 4), and whether it differs from the identity (ASTM E2807: absent means identity)."""
    matrix = IDENTITY.copy()
    if scan.isDefined("pose/rotation"):
        matrix[:, :3] = _rotation(*(_number(scan, f"pose/rotation/{name}") for name in "wxyz"))
    if scan.isDefined("pose/translation"):
        matrix[:, 3] = [_number(scan, f"pose/translation/{name}") for name in "xyz"]
    if not np.isfinite(matrix).all():
        raise ValueError("its pose is not finite")
    return matrix, not np.allclose(matrix, IDENTITY, atol=1e-9)


def _rotation(w: float, x: float, y: float, z: float) -> Floats:
    """Return the rotation matrix of a quaternion, which is brought to unit length first."""
    length = float(np.sqrt(w * w + x * x + y * y + z * z))
    if not 0.5 < length < 2.0:
        raise ValueError(f"its rotation ({w:g}, {x:g}, {y:g}, {z:g}) is no unit quaternion")
    w, x, y, z = w / length, x / length, y / length, z / length
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )


def _number(structure: Any, path: str) -> float:
    """Read a numeric element, which writers store as a float, an integer or a scaled integer."""
    node = structure.get(path)
    if node.type() == libe57.NodeType.E57_FLOAT:
        return float(libe57.FloatNode(node).value())
    if node.type() == libe57.NodeType.E57_SCALED_INTEGER:
        return float(libe57.ScaledIntegerNode(node).scaledValue())
    return float(libe57.IntegerNode(node).value())


def _reason(error: BaseException) -> str:
    """Return libE57's own first sentence, without the source lines that follow it."""
    return str(error).split("\n")[0].strip()[:120]
