"""The pieces of a simulated building: a base plane or upright cylinder, a smooth height on it, and where it ends."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.simulate.heights import heights_at
from unfold.arrays import AnyArray, Floats
from unfold.room.frame import WallFrame

OPAQUE, GLASS, MIRROR = 0, 1, 2
EVERY_STATION = -1
MASK_CELL_M = 0.02
NO_TERMS = np.zeros((0, 8))


@dataclass(frozen=True)
class Sheet:
    """A surface patch. `domain` is its extent in (u, v); it is seen from both sides."""

    frame: WallFrame
    domain: Polygon
    terms: Floats = field(default_factory=lambda: NO_TERMS)
    label: str = ""
    material: int = OPAQUE
    returns: float = 1.0  # share of rays that come back from it
    stations: int = EVERY_STATION  # bit i set: it stands there while station i measures

    def heights(self, u: Floats, v: Floats) -> Floats:
        """Heights at places (n,), metres."""
        heights: Floats = heights_at(self.terms, np.ascontiguousarray(u, float), np.ascontiguousarray(v, float))
        return heights

    def points(self, u: Floats, v: Floats) -> Floats:
        """Points (n, 3) of the surface."""
        return self.frame.level_from_uvh(np.stack([u, v, self.heights(u, v)], axis=1))

    def gap(self, points: Floats) -> Floats:
        """How far points (n, 3) stand in front of the surface, metres."""
        u, v, h = self.frame.uvh_from_level(points).T
        return np.asarray(h - self.heights(u, v))


class Packed(NamedTuple):
    """All sheets of a scene as flat arrays for the ray kernel; `first_*` have one entry more than there are sheets."""

    origin: Floats
    axes: Floats
    radius: Floats  # 0 for a plane
    bounds: Floats  # u least, u most, v least, v most
    material: AnyArray
    returns: Floats
    stations: AnyArray
    terms: Floats
    first_term: AnyArray
    segments: Floats  # (n, 4) boundary pieces u0, v0, u1, v1
    first_segment: AnyArray
    mask: AnyArray  # 0 outside, 1 inside, 2 undecided
    first_cell: AnyArray
    columns: AnyArray


def pack(sheets: Sequence[Sheet]) -> Packed:
    """Flatten sheets for the ray kernel."""
    segments = [_segments(sheet.domain) for sheet in sheets]
    masks = [_mask(sheet.domain, piece) for sheet, piece in zip(sheets, segments, strict=True)]
    bounds = [(s.domain.bounds[0], s.domain.bounds[2], s.domain.bounds[1], s.domain.bounds[3]) for s in sheets]
    return Packed(
        np.stack([s.frame.origin_m for s in sheets]).astype(float),
        np.stack([s.frame.axes for s in sheets]).astype(float),
        np.array([s.frame.radius_m or 0.0 for s in sheets]),
        np.array(bounds, float),
        np.array([s.material for s in sheets], np.int64),
        np.array([s.returns for s in sheets], float),
        np.array([s.stations for s in sheets], np.int64),
        np.concatenate([s.terms for s in sheets]),
        _starts([len(s.terms) for s in sheets]),
        np.concatenate(segments),
        _starts([len(p) for p in segments]),
        np.concatenate([m.ravel() for m in masks]),
        _starts([m.size for m in masks]),
        np.array([m.shape[1] for m in masks], np.int64),
    )


def _starts(sizes: Sequence[int]) -> AnyArray:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def _segments(domain: Polygon) -> Floats:
    rings = [np.asarray(ring.coords) for ring in (domain.exterior, *domain.interiors)]
    return np.concatenate([np.hstack([ring[:-1, :2], ring[1:, :2]]) for ring in rings])


def _mask(domain: Polygon, segments: Floats) -> AnyArray:
    u0, v0, u1, v1 = domain.bounds
    columns, rows = int((u1 - u0) / MASK_CELL_M) + 1, int((v1 - v0) / MASK_CELL_M) + 1
    u = u0 + (np.arange(columns) + 0.5) * MASK_CELL_M
    v = v0 + (np.arange(rows) + 0.5) * MASK_CELL_M
    shapely.prepare(domain)
    mask: AnyArray = shapely.contains_xy(domain, *np.meshgrid(u, v)).astype(np.uint8)
    for a, b, c, d in segments:
        steps = int(max(abs(c - a), abs(d - b)) / MASK_CELL_M * 4) + 2
        column = ((np.linspace(a, c, steps) - u0) / MASK_CELL_M).astype(int)
        row = ((np.linspace(b, d, steps) - v0) / MASK_CELL_M).astype(int)
        for i, j in ((-1, 0), (0, 0), (1, 0), (0, -1), (0, 1)):
            mask[np.clip(row + i, 0, rows - 1), np.clip(column + j, 0, columns - 1)] = 2
    return mask
