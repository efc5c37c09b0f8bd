"""The decoded points in a temporary file without a name, so that later passes need not decode again."""

import tempfile
from collections.abc import Iterator

import numpy as np

from unfold.arrays import Floats32
from unfold.errors import ScanError
from unfold.scan.result import Chunk


class Spill:
    """Chunks written one after the other, and read back in that order. Plain reads and writes: no memory is mapped."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - open as long as the scan
        self._chunks: list[tuple[int, int, int]] = []

    def clear(self) -> None:
        """Forget what was written."""
        self._file.seek(0)
        self._file.truncate()
        self._chunks.clear()

    def write(self, chunk: Chunk) -> None:
        """Append a chunk. Raises ScanError when the disk is full."""
        try:
            for array in (chunk.points_m, chunk.escaped):
                self._write_all(_bytes(array))
        except OSError as error:
            raise ScanError(
                f"the decoded points do not fit in {tempfile.gettempdir()} ({error.strerror})",
                "free space there, or set TMPDIR to a folder with more",
            ) from error
        self._chunks.append((chunk.station, len(chunk.points_m), len(chunk.escaped)))

    def _write_all(self, left: memoryview) -> None:
        while len(left):
            left = left[self._file.write(left) :]

    def read(self) -> Iterator[Chunk]:
        """Yield the chunks as they were written."""
        position = 0
        for station, points, escaped in list(self._chunks):
            both = np.empty((points + escaped, 3), np.float32)
            self._read_all(position, both)
            position += both.nbytes
            yield Chunk(station, both[:points], both[points:])

    def _read_all(self, position: int, array: Floats32) -> None:
        self._file.seek(position)
        left = _bytes(array)
        while len(left):
            count = self._file.readinto(left)  # type: ignore[attr-defined]
            if not count:
                raise ScanError("the temporary file of points was cut short", "free disk space and run again")
            left = left[count:]

    def close(self) -> None:
        """Give the disk space back."""
        self._file.close()


def _bytes(array: Floats32) -> memoryview:
    return array.reshape(-1).view(np.uint8).data
