"""Which reader a file needs: by its content first, by its extension where the content does not tell."""

from pathlib import Path

from unfold.errors import ScanError
from unfold.scan.compressed import open_bytes
from unfold.scan.reader import Reader


def open_reader(path: Path) -> Reader:
    """Return a reader for the file. Raises ScanError when it cannot be opened or is of no known kind."""
    try:
        with open_bytes(path) as stream:
            head = stream.read(4096)
    except OSError as error:
        raise ScanError(f"{path}: {error.strerror or error}", "give the path of a readable scan file") from error
    if not head:
        raise ScanError(f"{path} is empty", "copy or export the file again")
    if head.startswith(b"ASTM-E57"):
        from unfold.scan.e57 import E57Reader

        return E57Reader(path)
    if head.startswith(b"ply"):
        from unfold.scan.ply import PlyReader

        return PlyReader(path)
    from unfold.scan.text import TextReader

    return TextReader(path)
