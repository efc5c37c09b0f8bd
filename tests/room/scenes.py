"""Scans made in memory for the room stage: no files, no reader."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.scan.result import Chunk, Station

HEIGHT_M = 2.5
L_ROOM = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 3.0], [2.5, 3.0], [2.5, 4.5], [0.0, 4.5]])
BOX_ROOM = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])


@dataclass
class MemoryScan:
    """An open scan as far as the room stage needs it."""

    parts: list[Floats]  # points (n, 3) of each station
    stations: tuple[Station, ...]
    chunk_points: int = 100_000

    @property
    def origin_m(self) -> Floats:
        return np.zeros(3)

    def chunks(self) -> Iterator[Chunk]:
        for number, points in enumerate(self.parts):
            for start in range(0, len(points), self.chunk_points):
                piece = np.ascontiguousarray(points[start : start + self.chunk_points], np.float32)
                yield Chunk(number, piece, np.empty((0, 3), np.float32))


def scan_of(parts: list[Floats], places: list[Floats | None], chunk_points: int = 100_000) -> MemoryScan:
    """A scan of stations at `places`, upright and levelled where the place is known."""
    up = np.array([0.0, 0.0, 1.0])
    stations = tuple(
        Station(f"S{k + 1}", 0, place, up if place is not None else None, len(points))
        for k, (points, place) in enumerate(zip(parts, places, strict=True))
    )
    return MemoryScan(parts, stations, chunk_points)


def room_points(corners: Floats, height: float = HEIGHT_M, spacing: float = 0.02, noise: float = 0.001) -> Floats:
    """Even points on the walls, floor and ceiling over a polygon (counter-clockwise corners)."""
    import shapely

    random = np.random.default_rng(7)
    pieces = []
    for first, second in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = float(np.hypot(*(second - first)))
        along, up = np.meshgrid(np.arange(0.5 * spacing, length, spacing), np.arange(0.5 * spacing, height, spacing))
        ahead = (second - first) / length
        wall = np.c_[first + along.reshape(-1, 1) * ahead, up.ravel()]
        wall[:, :2] += random.normal(0, noise, (len(wall), 1)) * np.array([-ahead[1], ahead[0]])
        pieces.append(wall)
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y = np.meshgrid(np.arange(low[0], high[0], spacing), np.arange(low[1], high[1], spacing))
    inside = shapely.contains_xy(shapely.Polygon(corners), x.ravel(), y.ravel())
    level = np.c_[x.ravel()[inside], y.ravel()[inside]]
    for z in (0.0, height):
        pieces.append(np.c_[level, z + random.normal(0, noise, len(level))])
    return np.concatenate(pieces)


def turned(points: Floats, degrees: float) -> Floats:
    """Points turned about z."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]))
