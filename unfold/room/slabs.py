"""Floors and ceilings as planes over regions of the plan: several levels, slopes and soffits."""

from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import numpy as np
import shapely
from scipy import ndimage

from unfold.arrays import Bools, Floats
from unfold.room.cells import LevelCells
from unfold.room.result import Slab
from unfold.room.storey import LEVEL_COSINE, ROOF_COSINE, Storey

LEAST_AREA_M2 = 0.25
MOST_SLABS = 12
DRAWS = 60
SlabKind = Literal["floor", "ceiling"]
KINDS: tuple[SlabKind, SlabKind] = ("floor", "ceiling")


def find_slabs(cells: LevelCells, storey: Storey) -> list[Slab]:
    """Find the planes of the storey's floor and ceiling, the largest first, from the storey's cells."""
    level_m, normals, clear = cells.level_m, cells.normals, cells.clear

    def planes(kind: SlabKind) -> list[Slab]:
        if kind == "floor":
            if storey.floor_m is None:
                return []
            chosen = clear & (np.abs(normals[:, 2]) > LEVEL_COSINE) & (np.abs(level_m[:, 2] - storey.bottom_m) < 0.35)
        else:
            high = storey.bottom_m + 0.6 * (storey.top_m - storey.bottom_m)
            chosen = clear & (np.abs(normals[:, 2]) > ROOF_COSINE) & (level_m[:, 2] > high)
        return _planes(kind, level_m[chosen], normals[chosen], storey, cells)

    with ThreadPoolExecutor(2) as pool:
        floors, ceilings = pool.map(planes, KINDS)
    return floors + ceilings


def _planes(kind: SlabKind, points: Floats, normals: Floats, storey: Storey, cells: LevelCells) -> list[Slab]:
    tolerance_m, cell_area_m2 = cells.tolerance_m, cells.area_m2
    generator = np.random.default_rng(20260102)
    left = np.ones(len(points), bool)
    slabs: list[Slab] = []
    for _ in range(MOST_SLABS):
        if left.sum() * cell_area_m2 < LEAST_AREA_M2:
            break
        plane = _best_plane(points[left], normals[left], generator, tolerance_m)
        off = np.abs(_residual(plane, points))
        mine = left & (off < tolerance_m)
        if mine.sum() * cell_area_m2 < LEAST_AREA_M2:
            break
        slabs.append(_slab(kind, plane, points[mine], storey))
        left &= off >= 1.5 * tolerance_m
    return [slab for slab in slabs if slab.region_m]


def _best_plane(points: Floats, normals: Floats, generator: np.random.Generator, tolerance_m: float) -> Floats:
    """Height and slopes of the plane, through one cell by its own normal, that most cells agree with; refined."""
    some = np.arange(len(points)) if len(points) < 20_000 else generator.choice(len(points), 20_000, replace=False)
    sample, sample_normals = points[some], normals[some]
    best, most = np.zeros(3), -1
    for seed in generator.integers(len(sample), size=DRAWS):
        n = sample_normals[seed]
        slope = -n[:2] / n[2]
        plane = np.array([sample[seed, 2] - slope @ sample[seed, :2], *slope])
        agree = np.abs(_residual(plane, sample)) < tolerance_m
        number = int(np.sum(agree & (np.abs(sample_normals @ n) > 0.96)))
        if number > most:
            best, most = plane, number
    for _ in range(4):
        inside = np.abs(_residual(best, points)) < tolerance_m
        if inside.sum() < 10:
            break
        rows = np.c_[np.ones(inside.sum()), points[inside, :2]]
        best = np.linalg.lstsq(rows, points[inside, 2], rcond=None)[0]
    return best


def _residual(plane: Floats, points: Floats) -> Floats:
    return np.asarray(points[:, 2] - plane[0] - points[:, :2] @ plane[1:])


def _slab(kind: SlabKind, plane: Floats, points: Floats, storey: Storey) -> Slab:
    rms = float(np.sqrt(np.mean(np.square(_residual(plane, points)))))
    rings = _region(points[:, :2], storey)
    return Slab(kind, float(plane[0]), float(plane[1]), float(plane[2]), rings, rms)


def _region(xy: Floats, storey: Storey) -> tuple[Floats, ...]:
    """Outlines of where the cells lie, good to about 0.1 m."""
    raster = storey.raster
    mask = np.zeros(raster.shape, bool)
    i, j, inside = raster.index(xy)
    mask[i[inside], j[inside]] = True
    mask = ndimage.binary_closing(np.pad(mask, 4), np.ones((5, 5), bool))[4:-4, 4:-4]
    shape = mask_outline(mask, raster.low, raster.edge).simplify(0.06)
    return tuple(
        np.asarray(shapely.geometry.polygon.orient(part).exterior.coords)[:-1]
        for part in shapely.get_parts(shape)
        if part.area > 0.1
    )


def mask_outline(mask: Bools, low: Floats, edge: float) -> shapely.Geometry:
    """The union of a mask's pixels, as polygons."""
    boxes = []
    for i in np.flatnonzero(mask.any(axis=1)):
        edges = np.flatnonzero(np.diff(np.r_[False, mask[i], False].astype(np.int8)))
        boxes += [(i, first, i + 1, last) for first, last in zip(edges[::2], edges[1::2], strict=True)]
    if not boxes:
        return shapely.Polygon()
    corners = np.array(boxes, dtype=float) * edge + np.tile(low, 2)
    return shapely.union_all(shapely.box(*corners.T))
