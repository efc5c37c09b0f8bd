"""What the scan stage gives: points in chunks, and where each was seen from."""

from dataclasses import dataclass
from typing import Literal

from unfold.arrays import Floats, Floats32


@dataclass(frozen=True, slots=True)
class Station:
    """One set-up of the scanner. Lengths in metres, in local coordinates: the scan's own less `Scan.origin_m`."""

    name: str
    source: int  # index into Scan.sources
    position_m: Floats | None  # (3,); None when the file does not say where the scanner stood
    axis: Floats | None  # (3,) unit, the scanner's own standing axis; None when the file does not say
    points: int  # valid points decoded from it
    rounding_m: Floats | None = None  # (3,) what its coordinates are rounded to, axis by axis; 0: nothing to be seen


@dataclass(frozen=True, slots=True)
class Source:
    """One input file."""

    name: str  # file name without folders
    sha256: str
    points: int  # valid points
    stations: int
    length_unit: str  # "m", "mm", "cm", "ft", "us-ft", "in": what the file's numbers are
    unit_source: Literal["format", "user", "inferred"]


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some points of one station, at most `CHUNK_POINTS` of them, all finite."""

    station: int  # index into Scan.stations
    points_m: Floats32  # (n, 3) C-contiguous, local coordinates in metres
    escaped: Floats32  # (m, 3) unit directions of rays from the station that met nothing; m is often 0


CHUNK_POINTS = 1_000_000
