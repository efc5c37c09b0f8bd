"""A scan as the later stages see it: chunks of points in metres, as often as they are wanted."""

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType

import numpy as np

from unfold.arrays import Floats, Floats32
from unfold.errors import ScanError
from unfold.findings import Finding
from unfold.progress import Progress, silent
from unfold.scan import kernels
from unfold.scan.ahead import read_ahead
from unfold.scan.detect import open_reader
from unfold.scan.reader import Batch, Part, Reader
from unfold.scan.result import Chunk, Source, Station
from unfold.scan.spill import Spill
from unfold.scan.units import METRES_PER_UNIT, SURE, guess_unit
from unfold.settings.scan import LengthUnit, ScanSettings

SAMPLE_POINTS = 1 << 17
LEAST_POINTS = 1000


class _File:
    """One input file: its reader, its unit, and what was counted in it."""

    def __init__(self, reader: Reader, settings: ScanSettings) -> None:
        self.reader = reader
        sample = [_file_points(batch) for batch in reader.sample(SAMPLE_POINTS)]
        self.sample: Floats = np.concatenate(sample) if sample else np.empty((0, 3))
        self.findings: list[Finding] = []
        self.unit, self.unit_source = self._choose_unit(settings.unit)
        reader.metres_per_unit = METRES_PER_UNIT[self.unit]
        self.points: Counter[int] = Counter()
        self.digest: Future[str] | None = None

    @property
    def name(self) -> str:
        return self.reader.path.name

    @property
    def scale(self) -> float:
        return METRES_PER_UNIT[self.unit]

    def _choose_unit(self, wanted: LengthUnit | None) -> tuple[LengthUnit, str]:
        if self.reader.unit is not None:
            if wanted is not None and wanted != self.reader.unit:
                text = (
                    f"{self.name} itself states {self.reader.unit}, so the unit {wanted} of the settings was not used"
                )
                self.findings.append(Finding("warning", "unit-setting-unused", text))
            return self.reader.unit, "format"
        if wanted is not None:
            return wanted, "user"
        if len(self.sample) == 0:
            return "m", "inferred"
        guess = guess_unit(self.sample)
        text = f"{self.name} states no length unit; {guess.unit} was inferred: it is then {guess.length_m:.2f} m long"
        sure = guess.probability >= SURE
        doubt = "" if sure else f" (only {guess.probability:.0%} likely: give the unit)"
        self.findings.append(Finding("note" if sure else "warning", "unit-inferred", text + doubt))
        return guess.unit, "inferred"


class Scan:
    """An opened scan, from one or more files in one coordinate system. Use it in a `with` statement.

    The first full run of `chunks` decodes the files; it leaves the points in a temporary file, which later runs read.
    """

    def __init__(self, paths: Sequence[Path], settings: ScanSettings, progress: Progress) -> None:
        self._progress = progress
        self._files = [_File(open_reader(path, settings), settings) for path in paths]
        self.origin_m: Floats = self._choose_origin()
        self._spill = Spill()
        self._hashing = ThreadPoolExecutor(1, "sha256")
        self._decoded = False

    def __enter__(self) -> "Scan":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the temporary file back."""
        self._hashing.shutdown(cancel_futures=True)
        self._spill.close()

    @property
    def stations(self) -> tuple[Station, ...]:
        """Every set-up of every file; their points are counted once `chunks` has run to its end."""
        return tuple(
            self._station(index, file, number, part)
            for index, file in enumerate(self._files)
            for number, part in enumerate(file.reader.parts)
        )

    @property
    def sources(self) -> tuple[Source, ...]:
        """The input files; points and hashes are final once `chunks` has run to its end."""
        return tuple(
            Source(
                file.name,
                file.digest.result() if file.digest is not None else "",
                sum(file.points.values()),
                len(file.reader.parts),
                file.unit,
                file.unit_source,  # type: ignore[arg-type]
            )
            for file in self._files
        )

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was inferred and what was left out."""
        return tuple(finding for file in self._files for finding in (*file.findings, *_left_out(file)))

    def chunks(self) -> Iterator[Chunk]:
        """Yield every point once, in the order of the files. May be run as often as wanted.

        Raises
        ------
        ScanError
            A file, or the named part of it, cannot be decoded, or there are fewer than 1,000 points in all.
        """
        if self._decoded:
            yield from self._spill.read()
            return
        self._spill.clear()
        for file in self._files:
            file.points.clear()
            file.digest = self._hashing.submit(_sha256, file.reader.path)
        yield from read_ahead(self._decode())
        self._check()
        self._decoded = True

    def _decode(self) -> Iterator[Chunk]:
        first_station = 0
        for file in self._files:
            self._progress(f"reading {file.name}")
            for batch in file.reader.batches():
                chunk = self._place(file, batch, first_station)
                self._spill.write(chunk)
                yield chunk
            first_station += len(file.reader.parts)

    def _place(self, file: _File, batch: Batch, first_station: int) -> Chunk:
        out = np.empty((len(batch.x), 3), np.float32)
        matrix = batch.matrix * file.scale
        matrix[:, 3] -= self.origin_m
        drop = kernels.NO_DROP if batch.drop is None else batch.drop
        count, broken = kernels.place(batch.x, batch.y, batch.z, drop, matrix, out)
        file.points[batch.part] += count
        if broken:
            file.reader.dropped["points that are not finite"] += broken
        return Chunk(first_station + batch.part, out[:count], _unit_rows(batch.escaped))

    def _station(self, source: int, file: _File, number: int, part: Part) -> Station:
        position = None if part.position is None else part.position * file.scale - self.origin_m
        return Station(part.name, source, position, part.axis, file.points[number])

    def _choose_origin(self) -> Floats:
        """Return whole metres near the middle of the data: float32 then keeps microns, whatever the coordinates."""
        sample = [file.sample * file.scale for file in self._files if len(file.sample)]
        if not sample:
            return np.zeros(3)
        return np.round(np.median(np.concatenate(sample), axis=0)) + 0.0  # no negative zeros

    def _check(self) -> None:
        points = sum(sum(file.points.values()) for file in self._files)
        if points < LEAST_POINTS:
            names = ", ".join(file.name for file in self._files)
            raise ScanError(f"{names}: only {points} usable points", f"give a scan with {LEAST_POINTS} points or more")


def open_scan(paths: Sequence[Path], settings: ScanSettings, progress: Progress | None = None) -> Scan:
    """Open the files of one scan, all in one coordinate system; see `Scan`.

    Raises
    ------
    ScanError
        A path cannot be read, or its content is of no known kind.
    """
    return Scan(paths, settings, progress or silent)


def _file_points(batch: Batch) -> Floats:
    """Return the valid, finite points of a batch in the file's coordinates and unit, (n, 3)."""
    xyz = np.column_stack((batch.x, batch.y, batch.z)).astype(np.float64)
    xyz = xyz @ batch.matrix[:, :3].T + batch.matrix[:, 3]
    keep = np.isfinite(xyz).all(axis=1)
    return xyz[keep if batch.drop is None else keep & (batch.drop == 0)]


def _unit_rows(directions: Floats | None) -> Floats32:
    """Return directions brought to length 1, without those that have none."""
    if directions is None or len(directions) == 0:
        return np.empty((0, 3), np.float32)
    length = np.linalg.norm(directions, axis=1)
    usable = np.isfinite(length) & (length > 0)
    return np.ascontiguousarray(directions[usable] / length[usable, None], np.float32)


def _left_out(file: _File) -> list[Finding]:
    return [
        Finding("note", "points-left-out", f"{file.name}: {count} {what} left out")
        for what, count in sorted(file.reader.dropped.items())
        if count
    ]


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
