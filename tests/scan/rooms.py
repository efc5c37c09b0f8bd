"""Small known point sets, and a whole scan read into memory, for the tests of the readers."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from unfold.arrays import Floats, Floats32
from unfold.findings import Finding
from unfold.scan import open_scan
from unfold.scan.result import Source, Station
from unfold.settings.scan import ScanSettings


@dataclass(frozen=True)
class Read:
    """A scan in memory: points in scan coordinates (metres)."""

    points_m: Floats
    local_m: Floats32
    station: Floats
    escaped: Floats32
    origin_m: Floats
    stations: tuple[Station, ...]
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]


def read_all(paths: Sequence[Path], settings: ScanSettings | None = None) -> Read:
    """Read a scan twice, check that both passes give the same, and return everything."""
    with open_scan(paths, settings or ScanSettings()) as scan:
        first = list(scan.chunks())
        second = list(scan.chunks())
        assert len(first) == len(second)
        for one, two in zip(first, second, strict=True):
            assert one.station == two.station
            np.testing.assert_array_equal(one.points_m, two.points_m)
            np.testing.assert_array_equal(one.escaped, two.escaped)
        local = np.concatenate([chunk.points_m for chunk in first])
        station = np.concatenate([np.full(len(chunk.points_m), chunk.station) for chunk in first])
        escaped = np.concatenate([chunk.escaped for chunk in first])
        points = local + scan.origin_m
        return Read(points, local, station, escaped, scan.origin_m, scan.stations, scan.sources, scan.findings)


def box_points(count: int, seed: int = 1, size: tuple[float, float, float] = (5.0, 4.0, 2.7)) -> Floats:
    """Return points on the six faces of a box about the origin, metres, (count, 3)."""
    random = np.random.default_rng(seed)
    points = random.uniform(-0.5, 0.5, (count, 3))
    face = random.integers(0, 6, count)
    points[np.arange(count), face % 3] = np.where(face < 3, -0.5, 0.5)
    scaled: Floats = points * np.array(size)
    return scaled
