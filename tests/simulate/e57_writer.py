"""Write stations as an E57 file (ASTM E2807): scaled integers, poses, and rays that met nothing as directions.

The same scans give the same bytes: identifiers come from names, times are zero.
"""

import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from tests.simulate.scanner import StationScan
from unfold.arrays import AnyArray, Floats

SCALE_M = 1e-5
POINT_ONLY, DIRECTION_ONLY = 0, 1  # cartesianInvalidState of a measured point and of a ray that met nothing


def write_e57(
    path: Path, scans: Sequence[StationScan], description: str, scale_m: float = SCALE_M, intensity: bool = True
) -> int:
    """Write scans with their poses; returns the number of valid points."""
    from pye57 import libe57

    path.unlink(missing_ok=True)
    file = libe57.ImageFile(str(path), "w")
    _header(libe57, file, description)
    for scan in scans:
        _scan(libe57, file, scan, description, scale_m, intensity)
    file.close()
    return sum(len(scan.points) for scan in scans)


def _header(library: Any, file: Any, description: str) -> None:
    root = file.root()
    file.extensionsAdd("", library.E57_V1_0_URI)
    root.set("formatName", library.StringNode(file, "ASTM E57 3D Imaging Data File"))
    root.set("guid", library.StringNode(file, _identifier(description)))
    root.set("versionMajor", library.IntegerNode(file, library.E57_FORMAT_MAJOR))
    root.set("versionMinor", library.IntegerNode(file, library.E57_FORMAT_MINOR))
    root.set("e57LibraryVersion", library.StringNode(file, library.E57_LIBRARY_ID))
    root.set("coordinateMetadata", library.StringNode(file, ""))
    root.set("creationDateTime", _structure(library, file, {"dateTimeValue": 0.0, "isAtomicClockReferenced": 0}))
    root.set("data3D", library.VectorNode(file, True))
    root.set("images2D", library.VectorNode(file, True))


def _scan(library: Any, file: Any, scan: StationScan, description: str, scale_m: float, intensity: bool) -> None:
    node = library.StructureNode(file)
    file.root()["data3D"].append(node)
    node.set("guid", library.StringNode(file, _identifier(description + scan.name)))
    node.set("name", library.StringNode(file, f"{scan.name} (simulated)"))
    node.set("description", library.StringNode(file, f"simulated: {description}"))
    node.set("pose", _pose(library, file, scan))
    columns = _columns(scan, intensity)
    prototype = library.StructureNode(file)
    for name in ("cartesianX", "cartesianY", "cartesianZ"):
        low, high = np.floor(columns[name].min() / scale_m), np.ceil(columns[name].max() / scale_m)
        prototype.set(name, library.ScaledIntegerNode(file, 0, int(min(low, 0)), int(max(high, 0)), scale_m, 0.0))
    prototype.set("cartesianInvalidState", library.IntegerNode(file, 0, 0, 2))
    if intensity:
        prototype.set("intensity", library.IntegerNode(file, 0, 0, 255))
        node.set("intensityLimits", _structure(library, file, {"intensityMinimum": 0, "intensityMaximum": 255}))
    points = library.CompressedVectorNode(file, prototype, library.VectorNode(file, True))
    node.set("points", points)
    buffers = library.VectorSourceDestBuffer()
    count = len(columns["cartesianX"])
    for name, values in columns.items():
        buffers.append(library.SourceDestBuffer(file, name, values, count, True, True))
    writer = points.writer(buffers)
    writer.write(count)
    writer.close()


def _columns(scan: StationScan, intensity: bool) -> dict[str, AnyArray]:
    xyz = np.concatenate([scan.points, scan.escaped])
    missed = np.zeros(len(scan.escaped))
    columns = {f"cartesian{axis}": np.ascontiguousarray(xyz[:, k]) for k, axis in enumerate("XYZ")}
    columns["cartesianInvalidState"] = np.r_[np.full(len(scan.points), POINT_ONLY), missed + DIRECTION_ONLY].astype(
        float
    )
    if intensity:
        columns["intensity"] = np.round(np.r_[scan.intensity, missed] * 255)
    return columns


def _pose(library: Any, file: Any, scan: StationScan) -> Any:
    pose = library.StructureNode(file)
    w, x, y, z = quaternion(scan.turn)
    pose.set("rotation", _structure(library, file, {"w": w, "x": x, "y": y, "z": z}))
    px, py, pz = scan.position.tolist()
    pose.set("translation", _structure(library, file, {"x": px, "y": py, "z": pz}))
    return pose


def _structure(library: Any, file: Any, values: dict[str, float | int]) -> Any:
    node = library.StructureNode(file)
    for name, value in values.items():
        make = library.IntegerNode if isinstance(value, int) else library.FloatNode
        node.set(name, make(file, value))
    return node


def _identifier(text: str) -> str:
    return "{" + str(uuid.uuid5(uuid.NAMESPACE_OID, text)) + "}"


def quaternion(turn: Floats) -> tuple[float, float, float, float]:
    """A rotation matrix as the unit quaternion w, x, y, z."""
    x, y, z, w = Rotation.from_matrix(turn).as_quat().tolist()
    return w, x, y, z
