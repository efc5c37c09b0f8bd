"""Files as streams of bytes, unpacked on the way when they are gzip'd."""

import gzip
from io import BufferedReader
from pathlib import Path
from typing import BinaryIO, cast

GZIP = b"\x1f\x8b"


def open_bytes(path: Path) -> BinaryIO:
    """Open a file, or what a gzip file holds."""
    with path.open("rb") as stream:
        packed = stream.read(2) == GZIP
    if packed:
        return cast(BinaryIO, BufferedReader(gzip.GzipFile(path), 1 << 20))
    return path.open("rb", buffering=1 << 20)
