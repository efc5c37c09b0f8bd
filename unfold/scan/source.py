"""One input file: its reader, and what is worked out from a sample before the points are read in full."""

import struct
import zlib
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import numpy as np

from unfold.arrays import Floats
from unfold.errors import ScanError
from unfold.findings import Finding
from unfold.scan import kernels
from unfold.scan.detect import open_reader
from unfold.scan.reader import Batch, Part
from unfold.scan.result import Source
from unfold.scan.rounding import rounding_step
from unfold.scan.station import find_station, is_contradicted, is_station
from unfold.scan.units import METRES_PER_UNIT, SURE, guess_unit
from unfold.settings.scan import LengthUnit, ScanSettings

UnitSource = Literal["format", "user", "inferred"]

SAMPLE_POINTS = 1 << 17
SAME_PLACE_M = 0.02  # headers round
COARSE_MM = 1.001  # steps of just 1 mm are usual
REPEATED_SHARE = 0.25  # more exact repeats than chance and a coarse grid make
BROKEN_DATA = (
    *(OSError, EOFError, zlib.error, struct.error, ValueError, OverflowError),
    *(IndexError, KeyError, TypeError, AttributeError, RuntimeError, MemoryError),
)


class InputFile:
    """One file of a scan."""

    def __init__(self, path: Path, settings: ScanSettings) -> None:
        self.path = path
        with _no_lower_error(path):
            self.reader = open_reader(path, settings)
            samples = [(batch.part, file_points(batch)) for batch in self.reader.sample(SAMPLE_POINTS)]
        self.findings: list[Finding] = []
        self.points: Counter[int] = Counter()
        self.dropped: Counter[str] = Counter()
        self.digest: Future[str] | None = None
        everything = np.concatenate([points for _, points in samples]) if samples else np.empty((0, 3))
        self.unit, self.unit_source = self._choose_unit(everything, settings.unit)
        self.reader.metres_per_unit = METRES_PER_UNIT[self.unit]
        self.sample_m: Floats = everything * METRES_PER_UNIT[self.unit]
        measured = all(part.measured for part in self.reader.parts)
        self.rounding_m: Floats = rounding_step(everything) * self.scale if measured else np.zeros(3)
        self._note_step()
        self.repeats = _repeated_share(everything) > REPEATED_SHARE
        self._positions = {number: self._judge(number, samples) for number in range(len(self.reader.parts))}

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def scale(self) -> float:
        return METRES_PER_UNIT[self.unit]

    @property
    def parts(self) -> list[Part]:
        return self.reader.parts

    def start_pass(self, digest: Future[str]) -> None:
        """Begin to count afresh; `digest` will be the file's SHA-256."""
        self.points.clear()
        self.dropped.clear()
        self.digest = digest

    def batches(self) -> Iterator[Batch]:
        """Yield the points. Raises ScanError, and nothing else, when the file cannot be decoded."""
        with _no_lower_error(self.path):
            yield from self.reader.batches()

    def position_m(self, number: int) -> Floats | None:
        """Return where the scanner stood for a part, in metres in scan coordinates; None when that is not known."""
        if number in self._positions:
            return self._positions[number]
        part = self.parts[number]
        return part.position * self.scale if part.stated and part.position is not None else None

    def axis(self, number: int) -> Floats | None:
        """Return a set-up's standing axis; a pose that is no set-up's says nothing on it."""
        return self.parts[number].axis if self.position_m(number) is not None else None

    def source(self) -> Source:
        """Return the file's entry in the results."""
        with _no_lower_error(self.path):
            digest = self.digest.result() if self.digest is not None else ""
        points = sum(self.points.values())
        return Source(self.name, digest, points, len(self.parts), self.unit, self.unit_source)

    def all_findings(self) -> list[Finding]:
        """Return what was inferred from the sample, and what the last pass left out."""
        counts = self.reader.dropped + self.dropped  # a sum of counters keeps only what is over 0
        return self.findings + [
            Finding("note", "points-left-out", f"{self.name}: {count} {what} left out")
            for what, count in sorted(counts.items())
        ]

    def _choose_unit(self, points: Floats, wanted: LengthUnit | None) -> tuple[LengthUnit, UnitSource]:
        stated = self.reader.unit
        if stated is not None:
            if wanted is not None and wanted != stated:
                text = f"{self.name} itself states {stated}, so the unit {wanted} of the settings was not used"
                self._note("warning", "unit-setting-unused", text)
            return stated, "format"
        if wanted is not None:
            return wanted, "user"
        if len(points) == 0:
            return "m", "inferred"
        guess = guess_unit(points)
        text = f"{self.name} states no length unit; {guess.unit} was inferred: it is then {guess.length_m:.2f} m long"
        if guess.probability >= SURE:
            self._note("note", "unit-inferred", text)
        else:
            self._note("warning", "unit-inferred", f"{text} ({guess.probability:.0%} likely; better give the unit)")
        return guess.unit, "inferred"

    def _judge(self, number: int, samples: list[tuple[int, Floats]]) -> Floats | None:
        """Decide where a part was seen from: what its points prove, else what the file states and they bear out."""
        part = self.parts[number]
        points = np.concatenate([np.empty((0, 3)), *(own * self.scale for index, own in samples if index == number)])
        places = self._places(part)
        if part.stated and len(places) == 1:
            if not is_contradicted(points, places[0]):
                return places[0]
            text = f"{part.name} of {self.name}: many points lie hidden from its stated position, which was not used"
            self._note("warning", "station-contradicted", text)
            places = []
        proven = next((place for place in places if is_station(points, place)), None)
        if proven is None and part.measured:
            proven = find_station(points)
        if proven is not None:
            return self._proven(part, proven)
        return places[0] if part.stated and places and not is_contradicted(points, places[0]) else None

    def _places(self, part: Part) -> list[Floats]:
        """Return what the file may mean by a part's position, in metres, the likelier first."""
        places = [place * self.scale for place in (part.position, part.other_position) if place is not None]
        if len(places) == 2 and np.allclose(places[0], places[1], atol=SAME_PLACE_M):
            del places[1]
        return places

    def _proven(self, part: Part, place: Floats) -> Floats:
        x, y, z = place
        text = (
            f"{part.name} of {self.name}: its points were seen from ({x:.3f}, {y:.3f}, {z:.3f}) m, "
            "which was taken as the scanner's position"
        )
        self._note("note", "station-inferred", text)
        return place

    def _note_step(self) -> None:
        step_mm = 1000.0 * float(self.rounding_m.max())
        if step_mm > COARSE_MM:
            text = f"{self.name} stores its coordinates in steps of {step_mm:.3g} mm: nothing finer can be seen in it"
            self._note("warning", "coarse-coordinates", text)

    def _note(self, level: Literal["note", "warning"], code: str, text: str) -> None:
        self.findings.append(Finding(level, code, text))


@contextmanager
def _no_lower_error(path: Path) -> Iterator[None]:
    """Turn whatever a decoder raises on broken data into a ScanError."""
    try:
        yield
    except ScanError:
        raise
    except BROKEN_DATA as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise ScanError(f"{path} cannot be read ({reason})", "copy or export the file again") from error


def file_points(batch: Batch) -> Floats:
    """Return the valid, finite points of a batch in the file's coordinates and unit, (n, 3)."""
    with np.errstate(invalid="ignore"):  # a signalling NaN in a broken file
        xyz = np.column_stack((batch.x, batch.y, batch.z)).astype(np.float64)
    keep = np.isfinite(xyz).all(axis=1)
    if batch.drop is not None:
        keep &= batch.drop == 0
    if batch.zero_is_miss:
        keep &= xyz.any(axis=1)
    placed: Floats = xyz[keep] @ batch.matrix[:, :3].T + batch.matrix[:, 3]
    return placed


def _repeated_share(points: Floats) -> float:
    """Return the share of points (n, 3) that repeat another one exactly."""
    if len(points) == 0:
        return 0.0
    words = np.ascontiguousarray(points + 0.0).view(np.uint64)  # + 0.0: no negative zeros
    mixed = (words * kernels.MIX).sum(axis=1)
    return 1.0 - len(np.unique(mixed)) / len(points)
