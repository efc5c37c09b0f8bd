"""A scan as the later stages see it: chunks of points in metres, as often as they are wanted."""

import hashlib
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event
from types import TracebackType

import numpy as np

from unfold.arrays import Floats, Floats32
from unfold.errors import ScanError, SettingsError
from unfold.findings import Finding
from unfold.progress import Progress, silent
from unfold.scan import kernels
from unfold.scan.ahead import read_ahead
from unfold.scan.reader import Batch
from unfold.scan.result import Chunk, Source, Station
from unfold.scan.source import InputFile
from unfold.scan.spill import Spill
from unfold.scan.station import NEAR_M
from unfold.settings.scan import ScanSettings

LEAST_POINTS = 1000
LEAST_EXTENT_M = 1e-4
REPEATED = "repeated points"
LEFT_OUT = (
    "points that are not finite",
    "points at 0 0 0 (rays without a return)",
    f"points within {NEAR_M} m of the scanner",
)


class Scan:
    """An opened scan, from one or more files in one coordinate system. Use it in a `with` statement.

    The first full run of `chunks` decodes the files; it leaves the points in a temporary file, which later runs read.
    """

    def __init__(self, paths: Sequence[Path], settings: ScanSettings, progress: Progress) -> None:
        self._progress = progress
        self._declared = [np.array(position) for position in settings.stations]
        self._files = [InputFile(path, settings) for path in paths]
        self.origin_m: Floats = _near_the_middle([file.sample_m for file in self._files])
        self._spill = Spill()
        self._hashing, self._closing = ThreadPoolExecutor(1, "sha256"), Event()
        self._bounds_m: Floats = np.zeros((2, 3))  # lowest and highest local coordinates in the first pass
        self._ahead: Generator[Chunk, None, None] | None = None
        self._decoded = False

    def __enter__(self) -> "Scan":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the temporary file back."""
        if self._ahead is not None:
            self._ahead.close()  # a pass that an exception left hanging would go on decoding
        self._closing.set()
        self._hashing.shutdown(cancel_futures=True)
        self._spill.close()

    def settle(self) -> None:
        """Wait for the files' hashes: no thread is at work between two runs of `chunks` then."""
        self._hashing.shutdown()

    @property
    def stations(self) -> tuple[Station, ...]:
        """Every set-up of every file; their points are counted once `chunks` has run to its end."""
        return tuple(
            Station(
                *(file.parts[number].name, source, position, file.axis(number), file.points[number], file.rounding_m)
            )
            for source, file, number, position in self._set_ups()
        )

    @property
    def sources(self) -> tuple[Source, ...]:
        """The input files; points and hashes are final once `chunks` has run to its end."""
        return tuple(file.source() for file in self._files)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was inferred and what was left out."""
        return tuple(finding for file in self._files for finding in file.all_findings())

    def chunks(self) -> Iterator[Chunk]:
        """Yield every point once, in the order of the files. May be run as often as wanted.

        Raises
        ------
        ScanError
            A file, or the named part of it, cannot be decoded, or there are fewer than 1,000 points in all.
        SettingsError
            There are more or fewer positions in the settings than set-ups without one.
        """
        if self._decoded:
            yield from read_ahead(self._spill.read())
            return
        self._spill.clear()
        self._hashing = ThreadPoolExecutor(1, "sha256")
        for file in self._files:
            file.start_pass(self._hashing.submit(_sha256, file.path, self._closing))
        self._bounds_m[:] = [[np.inf] * 3, [-np.inf] * 3]
        self._ahead = read_ahead(self._decode())
        yield from self._ahead
        self._check()
        self._decoded = True

    def _decode(self) -> Iterator[Chunk]:
        first_station = 0
        for file in self._files:
            self._progress(f"reading {file.name}")
            for batch in file.batches():
                chunk = self._place(file, batch, first_station)
                self._spill.write(chunk)
                yield chunk
                self._progress(f"reading {file.name}: {sum(file.points.values()) / 1e6:.1f} million points")
            first_station += len(file.parts)

    def _place(self, file: InputFile, batch: Batch, first_station: int) -> Chunk:
        """Bring a batch into local metres."""
        out, counts = np.empty((len(batch.x), 3), np.float32), np.zeros(3, np.int64)
        matrix = batch.matrix * file.scale
        matrix[:, 3] -= self.origin_m
        drop = kernels.NO_DROP if batch.drop is None else batch.drop
        station = self._position(file, batch.part)
        near = NEAR_M if station is not None else 0.0
        seen_from = station if station is not None else np.zeros(3)
        count = kernels.place(
            *(batch.x, batch.y, batch.z, drop, batch.zero_is_miss, matrix),
            *(seen_from, near, out, counts, self._bounds_m),
        )
        file.dropped.update({what: int(n) for what, n in zip(LEFT_OUT, counts, strict=True) if n})
        points: Floats32 = out[:count]
        if file.repeats:
            points = points[: _drop_repeats(points)]
            file.dropped[REPEATED] += count - len(points)
        file.points[batch.part] += len(points)
        return Chunk(first_station + batch.part, points, _unit_rows(batch.escaped))

    def _set_ups(self) -> Iterator[tuple[int, InputFile, int, Floats | None]]:
        """Yield every set-up's source, file, part and position in local metres, declared ones filled in."""
        declared = iter(self._declared)
        for source, file in enumerate(self._files):
            for number in range(len(file.parts)):
                position = file.position_m(number)
                position = next(declared, None) if position is None else position
                yield source, file, number, None if position is None else position - self.origin_m

    def _position(self, wanted: InputFile, part: int) -> Floats | None:
        return next(place for _, file, number, place in self._set_ups() if file is wanted and number == part)

    def _check(self) -> None:
        """Refuse what no room can be found in, and positions that were declared for nothing."""
        names = ", ".join(file.name for file in self._files)
        points = sum(sum(file.points.values()) for file in self._files)
        repeats = sum(file.dropped[REPEATED] for file in self._files)
        if points + repeats > 1 and np.max(self._bounds_m[1] - self._bounds_m[0]) < LEAST_EXTENT_M:
            raise ScanError(f"{names}: all {points + repeats} points are the same", "export the scan again")
        if points < LEAST_POINTS:
            raise ScanError(f"{names}: only {points} usable points", f"give a scan with {LEAST_POINTS} points or more")
        unknown = sum(file.position_m(number) is None for file in self._files for number in range(len(file.parts)))
        if self._declared and unknown != len(self._declared):
            raise SettingsError(
                f"scan.stations gives {len(self._declared)} positions for {unknown} set-ups without one",
                "give one for each such set-up, in the order of the files, or none",
            )


def open_scan(paths: Sequence[Path], settings: ScanSettings, progress: Progress | None = None) -> Scan:
    """Open the files of one scan, all in one coordinate system; see `Scan`.

    Raises
    ------
    ScanError
        A path cannot be read, or its content is of no known kind.
    """
    if not paths:
        raise ScanError("no scan was given", "give the path of a scan file")
    return Scan(paths, settings, progress or silent)


def _near_the_middle(samples_m: list[Floats]) -> Floats:
    """Return whole metres near the middle of the data: float32 then keeps microns, whatever the coordinates."""
    sample = np.concatenate([np.empty((0, 3)), *samples_m])
    if len(sample) == 0:
        return np.zeros(3)
    middle: Floats = np.round(np.median(sample, axis=0)) + 0.0  # no negative zeros
    return middle


def _unit_rows(directions: Floats | None) -> Floats32:
    """Return directions brought to length 1, without those that have none."""
    if directions is None or len(directions) == 0:
        return np.empty((0, 3), np.float32)
    length = np.linalg.norm(directions, axis=1)
    usable = np.isfinite(length) & (length > 0)
    return np.ascontiguousarray(directions[usable] / length[usable, None], np.float32)


def _drop_repeats(points: Floats32) -> int:
    """Move the distinct points to the front and return how many there are."""
    table = np.empty(1 << (2 * max(len(points), 1)).bit_length(), np.int64)
    return int(kernels.drop_repeats(points, points.view(np.uint32), table))


def _sha256(path: Path, closing: Event) -> str:
    """Hash a file while it is decoded: hashlib lets other threads run; stop early when the scan is closed."""
    digest, block = hashlib.sha256(), bytearray(1 << 20)
    with path.open("rb", buffering=0) as stream:
        while (count := stream.readinto(block)) and not closing.is_set():
            digest.update(memoryview(block)[:count])
    return digest.hexdigest()
