"""PCD 0.5 to 0.7: ASCII, binary and compressed binary points, with a viewpoint."""

import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, BinaryIO

import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.errors import ScanError
from unfold.scan import kernels
from unfold.scan.compressed import open_bytes
from unfold.scan.number_text import Layout, NumberText
from unfold.scan.reader import BATCH_POINTS, Batch, Part, first_batches
from unfold.scan.records import cut_short, read_records, sample_records
from unfold.settings.scan import LengthUnit

KINDS = {
    ("F", 4): "<f4", ("F", 8): "<f8", ("I", 1): "<i1", ("I", 2): "<i2", ("I", 4): "<i4", ("I", 8): "<i8",
    ("U", 1): "<u1", ("U", 2): "<u2", ("U", 4): "<u4", ("U", 8): "<u8",
}  # fmt: skip
HISTORY, EXPAND_BYTES = 1 << 13, 1 << 20  # LZF: how far back, and how much at once
MOST_VALUES = 10_000  # in one point
_AGAIN = "export the scan again"


@dataclass(frozen=True, slots=True)
class Header:
    """The header of a PCD file."""

    fields: tuple[tuple[str, str, int], ...]  # name, NumPy kind, values
    points: int
    viewpoint: Floats  # (7,): x y z, quaternion w x y z
    data: str

    def row(self) -> np.dtype[np.void]:
        """Return the layout of one point in binary data; field i is named "i"."""
        return np.dtype([(str(i), kind, (count,)) for i, (_, kind, count) in enumerate(self.fields)])

    def field(self, name: str) -> int:
        """Return the index of a field."""
        return [field[0] for field in self.fields].index(name)


class PcdReader:
    """One PCD file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unit: LengthUnit | None = None
        self.metres_per_unit = 1.0
        self.dropped: Counter[str] = Counter()
        with open_bytes(path) as stream:
            view = read_header(stream, path).viewpoint
        default = np.array_equal(view, [0, 0, 0, 1, 0, 0, 0])
        self.parts = [Part(path.stem, view[:3], None, stated=not default, other_position=np.zeros(3))]

    def batches(self) -> Iterator[Batch]:
        """Yield the points. Raises ScanError when there are fewer than the header says."""
        with open_bytes(self.path) as stream:
            header = read_header(stream, self.path)
            read = {"ascii": self._ascii, "binary": self._binary, "binary_compressed": self._compressed}[header.data]
            for x, y, z in read(stream, header):
                yield Batch(0, x, y, z)

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield runs spread over a binary file, the first points of any other."""
        with open_bytes(self.path) as stream:
            header = read_header(stream, self.path)
            if header.data != "binary":
                yield from first_batches(self, points)
                return
            for records in sample_records(stream, header.row(), header.points, points, self.path):
                yield Batch(0, *_columns(records, header))

    def _ascii(self, stream: BinaryIO, header: Header) -> Iterator[tuple[AnyArray, AnyArray, AnyArray]]:
        starts = np.cumsum([0, *(count for _, _, count in header.fields)])
        x, y, z = (int(starts[header.field(name)]) for name in "xyz")
        found = 0
        for xyz in NumberText(stream).rows(Layout((x, y, z), " \t"), header.points):
            found += len(xyz)
            yield xyz[:, 0], xyz[:, 1], xyz[:, 2]
        if found < header.points:
            raise cut_short(self.path, found, header.points)

    def _binary(self, stream: BinaryIO, header: Header) -> Iterator[tuple[AnyArray, AnyArray, AnyArray]]:
        for records in read_records(stream, header.row(), header.points, self.path):
            yield _columns(records, header)

    def _compressed(self, stream: BinaryIO, header: Header) -> Iterator[tuple[AnyArray, AnyArray, AnyArray]]:
        """Yield points of a compressed file, in which all x stand before all y: expanded to a temporary file first."""
        sizes = np.frombuffer(stream.read(8).ljust(8, b"\0"), "<u4")
        row = header.row()
        if int(sizes[1]) != header.points * row.itemsize:
            raise ScanError(f"{self.path} promises {header.points} points but {sizes[1]} bytes of them", _AGAIN)
        with tempfile.TemporaryFile() as expanded:
            found = _expand(stream, int(sizes[0]), expanded)
            if found != int(sizes[1]):
                raise cut_short(self.path, found // row.itemsize, header.points)
            for start in range(0, header.points, BATCH_POINTS):
                count = min(BATCH_POINTS, header.points - start)
                x, y, z = (_field_values(expanded, header, name, start, count) for name in "xyz")
                yield x, y, z


def read_header(stream: BinaryIO, path: Path) -> Header:
    """Read up to the DATA line. Raises ScanError when a line makes no sense."""
    values: dict[str, list[str]] = {}
    for _ in range(64):
        words = stream.readline(4096).decode("latin-1").split()
        if words and not words[0].startswith("#"):
            values[words[0].upper()] = words[1:]
        if words and words[0].upper() == "DATA":
            break
    try:
        return _header(values)
    except (KeyError, IndexError, ValueError) as error:
        raise ScanError(f"{path} has a broken PCD header ({error})", _AGAIN) from error


def _header(values: dict[str, list[str]]) -> Header:
    names = values.get("FIELDS") or values["COLUMNS"]
    counts = [int(count) for count in values.get("COUNT", ["1"] * len(names))]
    kinds = [KINDS[kind, int(size)] for kind, size in zip(values["TYPE"], values["SIZE"], strict=True)]
    fields = tuple((name, kind, count) for name, kind, count in zip(names, kinds, counts, strict=True))
    for name in "xyz":
        names.index(name)
    points = int(values["POINTS"][0]) if "POINTS" in values else int(values["WIDTH"][0]) * int(values["HEIGHT"][0])
    if points < 0 or min(counts) < 0 or sum(counts) > MOST_VALUES:
        raise ValueError("an impossible count")
    view = np.array([float(word) for word in values.get("VIEWPOINT", ["0", "0", "0", "1", "0", "0", "0"])])
    if view.shape != (7,) or not np.isfinite(view).all():
        raise ValueError("VIEWPOINT is not seven numbers")
    if values["DATA"][0] not in ("ascii", "binary", "binary_compressed"):
        raise ValueError(f"DATA {values['DATA'][0]}")
    return Header(fields, points, view, values["DATA"][0])


def _columns(records: AnyArray, header: Header) -> tuple[AnyArray, AnyArray, AnyArray]:
    x, y, z = (np.ascontiguousarray(records[str(header.field(name))][:, 0]) for name in "xyz")
    return x, y, z


def _expand(stream: BinaryIO, size: int, expanded: IO[bytes]) -> int:
    """Expand `size` bytes of LZF to a file; return the number of bytes written, fewer when the data are broken."""
    out = np.zeros(HISTORY + EXPAND_BYTES, np.uint8)
    rest, left, written = b"", size, 0
    while left > 0 or rest:
        block = stream.read(min(left, EXPAND_BYTES // 4))
        left = left - len(block) if block else 0
        text = np.frombuffer(rest + block, np.uint8)
        used, end = kernels.expand_lzf(text, left == 0, out, HISTORY, min(written, HISTORY))
        if end < 0 or (used == 0 and left == 0):
            return written
        expanded.write(out[HISTORY:end].tobytes())
        written += end - HISTORY
        out[:HISTORY] = out[end - HISTORY : end].copy()
        rest = text[used:].tobytes()
    return written


def _field_values(expanded: IO[bytes], header: Header, name: str, start: int, count: int) -> AnyArray:
    """Return the first value of a field for some points, from data in which each field is stored whole."""
    index = header.field(name)
    before = sum(np.dtype(kind).itemsize * values for _, kind, values in header.fields[:index])
    kind, values = np.dtype(header.fields[index][1]), header.fields[index][2]
    expanded.seek(before * header.points + start * kind.itemsize * values)
    data = np.frombuffer(expanded.read(count * kind.itemsize * values), kind)
    return np.ascontiguousarray(data.reshape(count, values)[:, 0])
