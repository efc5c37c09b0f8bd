"""A made room: walls of known height, seen from known places, without the scan and room stages."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from unfold.arrays import Floats, Floats32
from unfold.room.frame import WallFrame
from unfold.room.result import Cells, Plumb, Room, Wall, WallEnd
from unfold.scan.result import Chunk, Station

END = WallEnd("end", None)
Height = Callable[[Floats, Floats], Floats]  # u, v in mm to height in mm


def wall_between(
    name: str, start: tuple[float, float], end: tuple[float, float], top_m: float = 2.5, radius_m: float | None = None
) -> Wall:
    """A wall from start to end in plan (m), seen from its right-hand side; its foot at z = 0."""
    a, b = np.array([*start, 0.0]), np.array([*end, 0.0])
    right = (b - a) / np.linalg.norm(b - a)
    up = np.array([0.0, 0.0, 1.0])
    return Wall(
        name,
        WallFrame(a, right, up, np.cross(right, up), radius_m),
        float(np.linalg.norm(b - a)),
        0.0,
        top_m,
        END,
        END,
        0,
        0.001,
    )


def room_of(walls: Sequence[Wall], cells: Floats, up_deg: float = 0.0) -> Room:
    """A room with the given walls and cells (n, 3), level and local coordinates alike."""
    plumb = Plumb("scanner", np.array([0.0, 0.0, 1.0]), up_deg)
    table = Cells(0.025, cells.astype(np.float32), np.full(len(cells), 10, np.uint32))
    return Room(np.eye(3), plumb, tuple(walls), (), (), 0.0, table, ())


@dataclass
class MadeScan:
    """Stands in for unfold.scan.Scan: stations and chunks that can be read again and again."""

    stations: tuple[Station, ...]
    pieces: list[Chunk] = field(default_factory=list)

    def chunks(self) -> Iterator[Chunk]:
        """Every chunk again."""
        return iter(self.pieces)


def station_at(place: tuple[float, float, float] | None, name: str = "one") -> Station:
    """A station at a place, or one that does not say where it stood."""
    return Station(name, 0, None if place is None else np.array(place), None, 0)


def seen_points(
    wall: Wall, height: Height, spacing_m: float, noise_m: float, random: np.random.Generator, offset_mm: float = 0.0
) -> Floats32:
    """Points on a wall, evenly spread, with noise along its normal."""
    columns, rows = int(wall.width_m / spacing_m), int(wall.top_m / spacing_m)
    u, v = (
        axis.ravel()
        for axis in np.meshgrid(
            (np.arange(columns) + random.random()) * spacing_m, (np.arange(rows) + random.random()) * spacing_m
        )
    )
    h = (height(1000 * u, 1000 * v) + offset_mm) / 1000.0 + random.normal(0, noise_m, len(u))
    return wall.frame.level_from_uvh(np.stack([u, v, h], axis=1)).astype(np.float32)


def points_beside(wall: Wall, spread_m: float, noise_m: float, random: np.random.Generator) -> Floats32:
    """Points on floor, ceiling and the walls at both sides, 300 mm deep, with noise along their normals."""
    pieces = []
    for axis, length, ends in ((0, wall.top_m, (0.0, wall.width_m)), (1, wall.width_m, (0.0, wall.top_m))):
        for end in ends:
            count = int(0.3 * length / spread_m**2)
            uvh = np.zeros((count, 3))
            uvh[:, axis] = end + random.normal(0.0, noise_m, count)
            uvh[:, 1 - axis] = random.uniform(0.0, length, count)
            uvh[:, 2] = random.uniform(0.0, 0.3, count)
            pieces.append(wall.frame.level_from_uvh(uvh))
    return np.vstack(pieces).astype(np.float32)


def made_scan(
    wall: Wall,
    height: Height,
    noise_mm: float,
    spacing_mm: float = 6.0,
    stations: int = 2,
    offsets_mm: Sequence[float] = (),
    seed: int = 0,
    beside: bool = False,
) -> tuple[MadeScan, Room]:
    """A scan of one wall from some stations, each moved off by `offsets_mm` along the wall's normal, and its room.

    With `beside`, 300 mm of the surfaces at its four sides are there too, square to it.
    """
    random = np.random.default_rng(seed)
    places = [wall.frame.level_from_uvh(np.array([[0.5 + 0.8 * s, 1.4, 2.5]]))[0] for s in range(stations)]
    scan = MadeScan(tuple(Station(f"s{s}", 0, place, None, 0) for s, place in enumerate(places)))
    spread = spacing_mm * math.sqrt(stations) / 1000.0
    for s in range(stations):
        offset = offsets_mm[s] if len(offsets_mm) else 0.0
        points = seen_points(wall, height, spread, noise_mm / 1000.0, random, offset)
        if beside:
            points = np.vstack([points, points_beside(wall, spread, noise_mm / 1000.0, random)])
        scan.pieces.append(Chunk(s, points, np.zeros((0, 3), np.float32)))
    cells = seen_points(wall, height, 0.025, 0.3 * noise_mm / 1000.0, random)
    return scan, room_of([wall], cells.astype(float))
