"""A pattern of joints over a wall: level and upright joints, meeting in crosses or in T.

One family of joints runs through from end to end and divides the wall into bands; each band has cross joints of its
own. Joints and cells together cover the plane without gap or overlap.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from unfold.layout.result import Joint
from unfold.layout.wall_face import box

FAR_MM = 1e6  # beyond any wall
LEAST_JOINT_PIECE_MM = 0.5


@dataclass(frozen=True, slots=True)
class Pattern:
    """Joints of one wall. Positions are the joints' centres, rising, in millimetres."""

    bands: Literal["rows", "columns"]  # rows: level joints run through
    through: tuple[float, ...]
    cross: tuple[tuple[float, ...], ...]  # one tuple a band
    joint_mm: float
    movement_mm: float = 0.0
    movement_through: frozenset[float] = frozenset()
    movement_cross: frozenset[float] = frozenset()

    def cells(self) -> Iterator[tuple[int, int, BaseGeometry]]:
        """Give each cell's row and column, from 1 at the lower left, and its region."""
        for band, (start, end) in enumerate(self._intervals(self.through, self.movement_through)):
            for place, (first, last) in enumerate(self._intervals(self.cross[band], self.movement_cross)):
                if self.bands == "rows":
                    yield band + 1, place + 1, box(first, start, last, end)
                else:
                    yield place + 1, band + 1, box(start, first, end, last)

    def joint_region(self) -> BaseGeometry:
        """All joints as one region."""
        return shapely.union_all([strip for strip, *_ in self.strips()])

    def joints_in(self, field: BaseGeometry) -> tuple[Joint, ...]:
        """The joints' centre lines where they run through a region, cut where they leave it."""
        return lines_within(self.strips(), field, self.joint_mm, self.movement_mm)

    def upright_places(self) -> tuple[float, ...]:
        """u of every upright joint, each once."""
        return (
            self.through if self.bands == "columns" else tuple(sorted({place for row in self.cross for place in row}))
        )

    def level_places(self) -> tuple[float, ...]:
        """The v of every level joint, each once."""
        return self.through if self.bands == "rows" else tuple(sorted({place for band in self.cross for place in band}))

    @property
    def is_staggered(self) -> bool:
        """Tell whether some joints meet in T."""
        return len(set(self.cross)) > 1

    @property
    def movement_u(self) -> frozenset[float]:
        """The u of the upright movement joints."""
        return self.movement_through if self.bands == "columns" else self.movement_cross

    @property
    def movement_v(self) -> frozenset[float]:
        """The v of the level movement joints."""
        return self.movement_cross if self.bands == "columns" else self.movement_through

    def _half(self, place: float, movement: frozenset[float]) -> float:
        return (self.movement_mm if place in movement else self.joint_mm) / 2.0

    def _intervals(self, places: tuple[float, ...], movement: frozenset[float]) -> list[tuple[float, float]]:
        starts = [-FAR_MM, *(place + self._half(place, movement) for place in places)]
        ends = [*(place - self._half(place, movement) for place in places), FAR_MM]
        return list(zip(starts, ends, strict=True))

    def strips(self) -> Iterator[tuple[BaseGeometry, BaseGeometry, bool]]:
        """Each joint's strip, centre line, and whether it is a movement joint."""
        for place in self.through:
            half, movement = self._half(place, self.movement_through), place in self.movement_through
            yield (
                self._box(-FAR_MM, place - half, FAR_MM, place + half),
                self._line(-FAR_MM, place, FAR_MM, place),
                movement,
            )
        for band, (start, end) in enumerate(self._intervals(self.through, self.movement_through)):
            for place in self.cross[band]:
                half, movement = self._half(place, self.movement_cross), place in self.movement_cross
                yield self._box(place - half, start, place + half, end), self._line(place, start, place, end), movement

    def _box(self, left: float, low: float, right: float, high: float) -> BaseGeometry:
        """A box given as if the bands were rows."""
        return box(left, low, right, high) if self.bands == "rows" else box(low, left, high, right)

    def _line(self, u1: float, v1: float, u2: float, v2: float) -> BaseGeometry:
        return LineString([(u1, v1), (u2, v2)] if self.bands == "rows" else [(v1, u1), (v2, u2)])


def lines_within(
    strips: Iterable[tuple[BaseGeometry, BaseGeometry, bool]], field: BaseGeometry, joint_mm: float, movement_mm: float
) -> tuple[Joint, ...]:
    """Cut the centre lines of joints to where they run through a region; see `Pattern.strips`."""
    joints: list[Joint] = []
    for _, line, movement in strips:
        inside = shapely.line_merge(line.intersection(field))
        for piece in getattr(inside, "geoms", [inside]):
            if piece.geom_type == "LineString" and piece.length >= LEAST_JOINT_PIECE_MM:
                ends = np.asarray(piece.coords, dtype=float)[[0, -1]]
                ends = ends[np.lexsort((ends[:, 1], ends[:, 0]))]
                joints.append(Joint("movement" if movement else "joint", ends, movement_mm if movement else joint_mm))
    return tuple(joints)
