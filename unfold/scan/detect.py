"""Which reader a file needs: by its content first, by its extension where the content does not tell."""

import re
import zlib
from pathlib import Path

from unfold.errors import ScanError
from unfold.scan.compressed import GZIP, open_bytes
from unfold.scan.reader import Reader
from unfold.settings.scan import ScanSettings

HEAD_BYTES = 1 << 16
READABLE = "give an E57, LAS, LAZ, PLY, PCD, PTX, PTS, XYZ or CSV file, or a mesh as OBJ, STL or GLB"
_LONE_COUNT = re.compile(rb"\s*\d+\s*$")


def open_reader(path: Path, settings: ScanSettings) -> Reader:
    """Return a reader for the file. Raises ScanError when it cannot be opened or is of no known kind."""
    head, packed = _read_head(path)
    kind = find_kind(head, path)
    if packed and kind in ("e57", "las"):
        raise ScanError(f"{path} is gzip'd {kind.upper()}, which is read in jumps", "unpack it with gzip -d first")
    return _make(kind, path, settings)


def _read_head(path: Path) -> tuple[bytes, bool]:
    if path.is_dir():
        raise ScanError(f"{path} is a folder", "give the scan files in it")
    if path.exists() and not path.is_file():  # reading a pipe or a device may never end
        raise ScanError(f"{path} is no plain file", "save the scan to a file first")
    try:
        with path.open("rb") as raw:
            packed = raw.read(2) == GZIP
        with open_bytes(path) as stream:
            head = stream.read(HEAD_BYTES)
    except (EOFError, zlib.error) as error:
        raise ScanError(f"{path} is a broken gzip file", "copy or pack the file again") from error
    except OSError as error:
        raise ScanError(f"{path}: {error.strerror or error}", "give the path of a readable scan file") from error
    if not head:
        raise ScanError(f"{path} is empty", "copy or export the file again")
    return head, packed


def find_kind(head: bytes, path: Path) -> str:
    """Return the kind of a file from its first bytes: "e57", "las", "ply", "pcd", "ptx", "pts", "text" or a mesh's."""
    magics = {b"ASTM-E57": "e57", b"LASF": "las", b"ply": "ply", b"glTF": "glb"}
    for magic, kind in magics.items():
        if head.startswith(magic):
            return kind
    lines = [line for line in head.split(b"\n", 40)[:40] if line.strip()]
    if any(line.startswith((b"# .PCD", b"VERSION ", b"FIELDS ")) for line in lines[:4]):
        return "pcd"
    extension = _extension(path)
    if _is_stl(head, path):
        return "stl"
    if b"\0" in head or _share_of_text(head) < 0.95:
        if extension in (".3mf",):
            return extension[1:]
        raise ScanError(f"{path} is of no kind that can be read", READABLE)
    return _text_kind(lines, head, extension)


def _text_kind(lines: list[bytes], head: bytes, extension: str) -> str:
    if _is_obj(lines, head):
        return "obj"
    if extension in (".off", ".dae", ".gltf"):
        return extension[1:]
    if len(lines) > 1 and _LONE_COUNT.match(lines[0]):
        return "ptx" if _LONE_COUNT.match(lines[1]) else "pts"
    return "text"


def _extension(path: Path) -> str:
    suffixes = [suffix.lower() for suffix in path.suffixes]
    return next((suffix for suffix in reversed(suffixes) if suffix != ".gz"), "")


def _is_stl(head: bytes, path: Path) -> bool:
    """Text STL says so; binary STL is as long as its count of triangles says."""
    if head.lstrip().startswith(b"solid") and b"facet" in head:
        return True
    return len(head) >= 84 and path.stat().st_size == 84 + 50 * int.from_bytes(head[80:84], "little")


def _is_obj(lines: list[bytes], head: bytes) -> bool:
    return any(re.match(rb"v\s+[-+.\d]", line) for line in lines) or re.search(rb"\nv\s+[-+.\d]", head) is not None


def _share_of_text(head: bytes) -> float:
    """Return the share of bytes that text has: printable ASCII, blanks, and bytes of other alphabets."""
    text = sum(1 for byte in head[:4096] if 32 <= byte < 127 or byte in b"\t\r\n\f" or byte >= 128)
    return text / min(len(head), 4096)


def _make(kind: str, path: Path, settings: ScanSettings) -> Reader:
    """Import the reader only now: a run pays for the formats that it reads."""
    if kind == "e57":
        from unfold.scan.e57 import E57Reader

        return E57Reader(path)
    if kind == "las":
        from unfold.scan.las import LasReader

        return LasReader(path)
    if kind == "ply":
        from unfold.scan.ply import PlyReader, has_faces

        if not has_faces(path):
            return PlyReader(path)
    if kind == "pcd":
        from unfold.scan.pcd import PcdReader

        return PcdReader(path)
    if kind == "ptx":
        from unfold.scan.ptx import PtxReader

        return PtxReader(path)
    if kind in ("pts", "text"):
        from unfold.scan.text import PtsReader, TextReader

        return PtsReader(path) if kind == "pts" else TextReader(path)
    from unfold.scan.mesh import MeshReader, obj_has_faces

    if kind == "obj" and not obj_has_faces(path):
        from unfold.scan.text import TextReader
        from unfold.scan.text_layout import OBJ_VERTICES, TextForm

        return TextReader(path, TextForm(OBJ_VERTICES, None, 0))
    return MeshReader(path, kind, settings.mesh_spacing_mm / 1000)
