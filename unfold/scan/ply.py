"""PLY: ASCII and binary of either byte order, any properties, points only here; meshes go to `mesh`."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from unfold.arrays import AnyArray
from unfold.errors import ScanError
from unfold.scan.compressed import open_bytes
from unfold.scan.number_text import Layout, NumberText
from unfold.scan.reader import Batch, Part, first_batches
from unfold.scan.records import cut_short, read_records, sample_records
from unfold.settings.scan import LengthUnit

KINDS = {
    **{"char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4"},
    **{"int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4"},
    **{"float": "f4", "double": "f8", "float32": "f4", "float64": "f8"},
}
ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}


@dataclass(frozen=True, slots=True)
class Element:
    """One element of the header: how many rows, and each row's properties as (name, kind, kind of a list's length)."""

    name: str
    count: int
    properties: tuple[tuple[str, str, str | None], ...]

    @property
    def has_list(self) -> bool:
        return any(length is not None for _, _, length in self.properties)

    def row(self, order: str) -> np.dtype[np.void]:
        """Return the layout of a row without lists."""
        return np.dtype([(name, order + kind) for name, kind, _ in self.properties])


class PlyReader:
    """One PLY file of points."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = None
        self.parts: list[Part] = [Part(path.stem, np.zeros(3))]
        self.dropped: Counter[str] = Counter()
        self.metres_per_unit = 1.0

    def batches(self) -> Iterator[Batch]:
        """Yield the vertices. Raises ScanError when the header is wrong or the file is shorter than it says."""
        with open_bytes(self.path) as stream:
            order, vertex = self._to_vertices(stream)
            if order == "":
                yield from _ascii_batches(stream, vertex, self.path)
                return
            for records in read_records(stream, vertex.row(order), vertex.count, self.path):
                yield _as_batch(records)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield runs spread over a binary file, the first points of a text."""
        with open_bytes(self.path) as stream:
            order, vertex = self._to_vertices(stream)
            if order == "":
                yield from first_batches(self, points)
                return
            for records in sample_records(stream, vertex.row(order), vertex.count, points, self.path):
                yield _as_batch(records)

    def _to_vertices(self, stream: BinaryIO) -> tuple[str, Element]:
        order, elements = read_header(stream, self.path)
        vertex = skip_to_vertex(stream, order, elements, self.path)
        if order != "" and vertex.has_list:
            raise ScanError(f"{self.path} has list properties in its vertices", "export it without them")
        return order, vertex


def has_faces(path: Path) -> bool:
    """Tell a mesh from points."""
    with open_bytes(path) as stream:
        _, elements = read_header(stream, path)
    return any(element.name in ("face", "tristrips") and element.count > 0 for element in elements)


def read_header(stream: BinaryIO, path: Path) -> tuple[str, list[Element]]:
    """Read up to `end_header`; return the byte order ("" for ASCII) and the elements."""
    order, elements = "", list[Element]()
    remedy = "export the scan again"
    if stream.readline(16).strip() != b"ply":
        raise ScanError(f"{path} is no PLY file", remedy)
    while words := stream.readline(4096).decode("latin-1").split() or [""]:
        if words[0] == "end_header":
            return order, elements
        try:
            if words[0] == "format":
                order = ORDERS[words[1]]
            elif words[0] == "element":
                elements.append(Element(words[1], int(words[2]), ()))
            elif words[0] == "property":
                last = elements[-1]
                elements[-1] = Element(last.name, last.count, (*last.properties, _property(words)))
            elif words[0] not in ("comment", "obj_info", ""):
                raise ValueError
        except (KeyError, IndexError, ValueError) as error:
            raise ScanError(f"{path} has a wrong PLY header line: {' '.join(words)[:60]!r}", remedy) from error
        if words == [""] and not stream.peek(1):  # type: ignore[attr-defined]
            raise ScanError(f"{path} ends inside its PLY header", remedy)
    raise AssertionError


def _property(words: list[str]) -> tuple[str, str, str | None]:
    if words[1] == "list":
        return words[4], KINDS[words[3]], KINDS[words[2]]
    return words[2], KINDS[words[1]], None


def skip_to_vertex(stream: BinaryIO, order: str, elements: list[Element], path: Path) -> Element:
    """Skip the elements before the vertices and return the vertex element, with x, y and z in it."""
    for element in elements:
        if element.name == "vertex":
            if not {"x", "y", "z"} <= {name for name, _, _ in element.properties}:
                raise ScanError(f"{path} has vertices without x, y and z", "export the scan with coordinates")
            return element
        _skip(stream, order, element, path)
    raise ScanError(f"{path} is a PLY file without vertices", "export the scan with its points")


def _skip(stream: BinaryIO, order: str, element: Element, path: Path) -> None:
    if order == "":
        for _ in range(element.count):
            if not stream.readline():
                raise cut_short(path, 0, element.count)
        return
    if element.has_list:
        raise ScanError(f"{path} has the list {element.name!r} before its vertices", "export it with vertices first")
    left = element.count * element.row(order).itemsize
    while left > 0:
        skipped = len(stream.read(min(left, 1 << 20)))
        if skipped == 0:
            raise cut_short(path, 0, element.count)
        left -= skipped


def _as_batch(records: AnyArray) -> Batch:
    """Return records as a batch, in this machine's byte order."""
    x, y, z = (np.ascontiguousarray(records[name], records[name].dtype.newbyteorder("=")) for name in "xyz")
    return Batch(0, x, y, z)


def _ascii_batches(stream: BinaryIO, vertex: Element, path: Path) -> Iterator[Batch]:
    names = [name for name, _, _ in vertex.properties]
    columns = (names.index("x"), names.index("y"), names.index("z"))
    left = vertex.count
    for xyz in NumberText(stream).rows(Layout(columns, " \t"), vertex.count):
        left -= len(xyz)
        yield Batch(0, xyz[:, 0], xyz[:, 1], xyz[:, 2])
    if left > 0:
        raise cut_short(path, vertex.count - left, vertex.count)
