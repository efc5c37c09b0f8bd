"""Which measured wall is which true one, by where they are; and measured shapes seen in the true wall's frame."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.accuracy.jobs import MeasuredWall, TrueWall
from unfold.arrays import AnyArray, Floats

NEAR_MM = 60.0
SAME_DIRECTION = 0.96


@dataclass(frozen=True)
class Pair:
    """A true wall and the measured one that is the same wall."""

    true: TrueWall
    measured: MeasuredWall


def to_true(ring_mm: Sequence[Sequence[float]] | Floats, measured: MeasuredWall, true: TrueWall) -> Floats:
    """Take places [u, v] on a measured wall to (u, v, h) in the true wall's frame, millimetres."""
    ring = np.asarray(ring_mm, float).reshape(-1, 2)
    points = measured.frame.level_from_uvh(np.column_stack([ring, heights_at(measured, ring)]) / 1000)
    uvh = true.frame.uvh_from_level(points) * 1000
    if true.frame.radius_m is not None:
        turn = 2000 * np.pi * abs(true.frame.radius_m)
        middle = np.mean(np.asarray(true.data["outline"])[:, 0])
        uvh[:, 0] += turn * np.round((middle - uvh[:, 0]) / turn)
    return uvh


def heights_at(measured: MeasuredWall, places_mm: Floats) -> Floats:
    """The measured height beside places (n, 2): the nearest measured cell's within 60 mm, else 0."""
    from scipy.spatial import cKDTree

    surface = measured.surface
    rows, columns = np.nonzero(np.isfinite(surface["height_mm"]))
    if len(rows) == 0:
        return np.zeros(len(places_mm))
    cell = float(surface["cell_mm"])
    centres = np.column_stack([float(surface["u0_mm"]) + columns * cell, float(surface["v0_mm"]) + rows * cell])
    distance, nearest = cKDTree(centres).query(places_mm)
    return np.where(distance < 60.0, surface["height_mm"][rows[nearest], columns[nearest]], 0.0)


def polygon(ring: Sequence[Sequence[float]] | Floats) -> Polygon:
    """A valid polygon of a ring's first two columns."""
    shape = Polygon(np.asarray(ring, float)[:, :2])
    return shape if shape.is_valid else shape.buffer(0)


def overlap_mm2(measured: MeasuredWall, true: TrueWall) -> float:
    """Area that a measured wall and a true one share; 0 when they are not in one place or do not face one way."""
    ring = to_true(measured.data["outline"], measured, true)
    if abs(np.median(ring[:, 2])) > NEAR_MM:
        return 0.0
    middle = ring.mean(axis=0)
    if (
        _inward(true, middle[0]) @ _inward_at(measured, np.mean(np.asarray(measured.data["outline"]), axis=0)[0])
        < SAME_DIRECTION
    ):
        return 0.0
    return float(polygon(ring).intersection(polygon(true.data["outline"])).area)


def _inward(true: TrueWall, u_mm: float) -> Floats:
    return _direction(true.frame.level_from_uvh(np.array([[u_mm, 0, 0], [u_mm, 0, 1000.0]]) / 1000))


def _inward_at(measured: MeasuredWall, u_mm: float) -> Floats:
    return _direction(measured.frame.level_from_uvh(np.array([[u_mm, 0, 0], [u_mm, 0, 1000.0]]) / 1000))


def _direction(points: Floats) -> Floats:
    return np.asarray((points[1] - points[0]) / np.linalg.norm(points[1] - points[0]))


def is_round(true: TrueWall) -> bool:
    """Whether the true wall goes all around a column."""
    radius = true.frame.radius_m
    width = float(np.ptp(np.asarray(true.data["outline"])[:, 0]))
    return radius is not None and width > 0.98 * 2000 * np.pi * abs(radius)


def _around(measured: MeasuredWall, true: TrueWall) -> float:
    """Stand-in for the shared area on a round column: the measured wall's own area where it lies on the column."""
    ring = to_true(measured.data["outline"], measured, true)
    if abs(np.median(ring[:, 2])) > NEAR_MM or measured.frame.radius_m is None:
        return 0.0
    return float(polygon(measured.data["outline"]).area)


def match(
    true_walls: Sequence[TrueWall], measured_walls: Sequence[MeasuredWall]
) -> tuple[list[Pair], list[TrueWall], list[MeasuredWall]]:
    """Pair walls by shared area, largest first; returns pairs, true walls not found, measured walls invented.

    A pair shares at least half of both walls. A measured wall left over is invented, also where it is the second piece
    of a wall that was split.
    """
    shared = []
    for t, true in enumerate(true_walls):
        for m, measured in enumerate(measured_walls):
            area = _around(measured, true) if is_round(true) else overlap_mm2(measured, true)
            least = 0.5 * max(polygon(true.data["outline"]).area, polygon(measured.data["outline"]).area)
            if area >= least:
                shared.append((area, t, m))
    pairs, used_t, used_m = [], set[int](), set[int]()
    for _, t, m in sorted(shared, reverse=True):
        if t not in used_t and m not in used_m:
            used_t.add(t)
            used_m.add(m)
            pairs.append(Pair(true_walls[t], measured_walls[m]))
    pairs.sort(key=lambda pair: pair.true.index)
    return (
        pairs,
        [w for t, w in enumerate(true_walls) if t not in used_t],
        [w for m, w in enumerate(measured_walls) if m not in used_m],
    )


def face(outline: Floats, openings: Sequence[Floats]) -> Polygon:
    """A wall's face: its outline less its openings."""
    shape = polygon(outline)
    for ring in openings:
        shape = shape.difference(polygon(ring))
    return shape


def cells_polygon(cells: AnyArray, corner_mm: Floats, cell_mm: float = 10.0) -> Polygon:
    """The union of the cells that are true, as one (multi)polygon, in millimetres."""
    boxes = []
    for i, row in enumerate(np.asarray(cells, bool)):
        change = np.flatnonzero(np.diff(np.r_[0, row.astype(np.int8), 0]))
        for j0, j1 in zip(change[::2], change[1::2], strict=True):
            boxes.append(
                shapely.box(
                    corner_mm[0] + j0 * cell_mm,
                    corner_mm[1] + i * cell_mm,
                    corner_mm[0] + j1 * cell_mm,
                    corner_mm[1] + (i + 1) * cell_mm,
                )
            )
    return shapely.union_all(boxes, grid_size=1e-4) if boxes else Polygon()
