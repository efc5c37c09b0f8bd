"""E57 files for tests, written with pye57's own low-level nodes."""

from pathlib import Path
from typing import Any

import numpy as np
import pye57
from pye57 import libe57

from unfold.arrays import AnyArray, Floats


def write_e57(path: Path, scans: list[dict[str, Any]]) -> None:
    """Write scans: each has `fields` (name to (array, node kind)), and maybe `translation` and `rotation` (w x y z)."""
    file = pye57.E57(str(path), mode="w")
    for number, scan in enumerate(scans):
        _write_scan(file, number, scan)
    file.close()


def cartesian(points: Floats, state: AnyArray | None = None, kind: str = "double") -> dict[str, tuple[AnyArray, str]]:
    """Return the fields of a cartesian scan; `kind` is "double", "single" or "scaled" (in steps of 0.1 mm)."""
    fields = {f"cartesian{axis}": (points[:, i].copy(), kind) for i, axis in enumerate("XYZ")}
    return fields if state is None else {**fields, "cartesianInvalidState": (state.astype(np.int8), "state")}


def _write_scan(file: Any, number: int, scan: dict[str, Any]) -> None:
    image = file.image_file
    node = libe57.StructureNode(image)
    node.set("guid", libe57.StringNode(image, f"{{scan-{number}}}"))
    node.set("name", libe57.StringNode(image, scan.get("name", f"Station {number + 1}")))
    if "rotation" in scan or "translation" in scan:
        node.set("pose", _pose(image, scan))
    prototype, buffers = libe57.StructureNode(image), libe57.VectorSourceDestBuffer()
    count = 0
    for name, (array, kind) in scan["fields"].items():
        prototype.set(name, _prototype(image, kind))
        count = len(array)
        buffers.append(libe57.SourceDestBuffer(image, name, array if count else np.zeros(1), max(count, 1), True, True))
    points = libe57.CompressedVectorNode(image, prototype, libe57.VectorNode(image, True))
    node.set("points", points)
    file.data3d.append(node)
    writer = points.writer(buffers)
    if count:
        writer.write(count)
    writer.close()


def _pose(image: Any, scan: dict[str, Any]) -> Any:
    pose = libe57.StructureNode(image)
    for name, keys in (("rotation", "wxyz"), ("translation", "xyz")):
        if name in scan:
            part = libe57.StructureNode(image)
            for key, value in zip(keys, scan[name], strict=True):
                part.set(key, libe57.FloatNode(image, float(value)))
            pose.set(name, part)
    return pose


def _prototype(image: Any, kind: str) -> Any:
    if kind == "scaled":
        return libe57.ScaledIntegerNode(image, 0, -(2**31), 2**31 - 1, 1e-4, 0.0)
    if kind == "state":
        return libe57.IntegerNode(image, 0, 0, 2)
    if kind == "byte":
        return libe57.IntegerNode(image, 0, 0, 255)
    if kind == "index":
        return libe57.IntegerNode(image, 0, 0, 65535)
    single = libe57.FloatPrecision.E57_SINGLE
    return libe57.FloatNode(image, 0.0, single if kind == "single" else libe57.FloatPrecision.E57_DOUBLE)
