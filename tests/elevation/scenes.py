"""Small scenes with known answers: walls, slabs and cells made by hand, in level coordinates."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.room.frame import WallFrame
from unfold.room.result import Cells, Plumb, Room, Slab, Wall, WallEnd
from unfold.scan.result import Chunk, Station
from unfold.surface.result import Grid, RayCounts, WallSurface

UP = np.array([0.0, 0.0, 1.0])


def upright(origin: tuple[float, float, float], turn_deg: float, radius: float | None = None) -> WallFrame:
    """An upright wall frame whose `right` is turned from x by an angle."""
    turn = np.radians(turn_deg)
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    return WallFrame(np.array(origin), right, UP.copy(), np.cross(right, UP), radius)


def wall(
    name: str,
    frame: WallFrame,
    width: float,
    top: float = 2.5,
    left: WallEnd | None = None,
    right: WallEnd | None = None,
) -> Wall:
    end = WallEnd("end", None)
    return Wall(name, frame, width, 0.0, top, left or end, right or end, 0, 0.001)


def room(walls: tuple[Wall, ...], slabs: tuple[Slab, ...], cells: Floats) -> Room:
    plumb = Plumb("scanner", UP.copy(), 0.01)
    count = np.full(len(cells), 16, np.uint32)
    return Room(np.eye(3), plumb, walls, slabs, (), 10.0, Cells(0.025, cells.astype(np.float32), count), ())


def surface(one: Wall, height: Floats | None = None, is_wall: Bools | None = None, noise: float = 0.8) -> WallSurface:
    """A wall measured everywhere, flat unless heights are given; ten rays a cell."""
    grid = grid_of(one)
    shape = (grid.rows, grid.columns)
    good = np.ones(shape, dtype=bool) if is_wall is None else is_wall
    heights = np.where(good, np.zeros(shape) if height is None else height, np.nan)
    count = np.where(good, 10, 0).astype(np.uint32)
    none = np.zeros(shape, np.uint32)
    rays = RayCounts(count, none, none.copy(), none.copy(), none.copy(), np.full(shape, np.nan))
    error = np.where(good, 0.2, np.nan)
    return WallSurface(
        one.id,
        grid,
        heights,
        error,
        count,
        good,
        rays,
        noise,
        0.2,
        None,
        None,
        None,
        None,
        None,
        (),
        "cannot be decided",
        {},
    )


def grid_of(one: Wall) -> Grid:
    return Grid(-195.0, -195.0, 10.0, int(one.top_m * 100) + 40, int(one.width_m * 100) + 40)


@dataclass(frozen=True)
class MadeScan:
    """Just what the elevation stage asks of a scan."""

    stations: tuple[Station, ...]
    pieces: tuple[Chunk, ...]
    origin_m: Floats

    def chunks(self) -> Iterator[Chunk]:
        yield from self.pieces
