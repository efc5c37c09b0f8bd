"""A storey: its floor and ceiling heights, over the plan, and the slabs that they are made of."""

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from unfold.arrays import Bools, Floats, Ints
from unfold.findings import Finding
from unfold.room.cells import LevelCells

PIXEL_M = 0.05
LEAST_STOREY_M = 1.6
LEVEL_COSINE = math.cos(math.radians(25.0))
MOST_RISE_M = 4.0  # of a sloped ceiling, above where most of it lies
LEAST_KNEE, SLOPE_COSINE = 0.25, math.cos(math.radians(10.0))  # of the height, how far down one may slope
ROOF_STEP_M = 0.15  # within which a ceiling goes on
ROOF_COSINE = math.sin(math.radians(20.0))  # flatter than 70 degrees from level: a ceiling may slope that much


@dataclass(frozen=True, slots=True)
class Raster:
    """Square pixels over the plan: pixel [i, j] begins at low + (i, j) * edge."""

    low: Floats  # (2,)
    edge: float
    shape: tuple[int, int]

    def index(self, xy: Floats) -> tuple[Ints, Ints, Bools]:
        """Pixels of points (..., 2), and whether they lie on the raster (clipped when not)."""
        i, j = (np.floor((xy[..., k] - self.low[k]) / self.edge).astype(np.int64) for k in (0, 1))
        rows, columns = self.shape
        inside = (i >= 0) & (i < rows) & (j >= 0) & (j < columns)
        return np.clip(i, 0, rows - 1), np.clip(j, 0, columns - 1), inside

    def centres(self) -> Floats:
        """Centres of all pixels, (rows * columns, 2), in row order."""
        i, j = np.indices(self.shape)
        return np.stack([i.ravel() + 0.5, j.ravel() + 0.5], axis=1) * self.edge + self.low


@dataclass(frozen=True, slots=True)
class Storey:
    """One storey. Heights are level z, metres; None where no such surface was seen."""

    floor_m: float | None
    ceiling_m: float | None
    bottom_m: float  # floor, or the lowest of what was seen
    top_m: float  # highest ceiling, or the highest of what was seen
    raster: Raster
    floor_map_m: Floats  # raster of floor heights; NaN where not seen
    ceiling_map_m: Floats  # raster of ceiling heights (the highest in the pixel); NaN where not seen


def find_storeys(cells: LevelCells) -> list[tuple[float | None, float | None]]:
    """Find the (floor, ceiling) heights of each storey, from the heights where level surface is plenty.

    Heights with much level surface are grouped where they lie less than 1.6 m apart: a group is a floor with its
    steps and tables, a ceiling with its soffits, or a ceiling with the next storey's floor on top. What lies between
    two groups is a storey. The best storey comes first: the one with most stations in it, then with most level surface.
    """
    z = cells.level_m[:, 2]
    heights = z[cells.clear & (np.abs(cells.normals[:, 2]) > LEVEL_COSINE)]
    stations_z = np.array([place[2] for place in cells.stations_m.values()])
    if len(heights) < 30:
        return [(None, None)]
    low = float(heights.min()) - 0.1
    counts = np.bincount(((heights - low) / 0.025).astype(np.int64)).astype(float)
    smooth = np.convolve(counts, np.ones(5), mode="same")
    peaks = _peaks(smooth, 0.22 * float(smooth.max()), low)
    groups = _group(peaks)
    last = len(groups) - 1
    spans = [(_floor_of(groups[k], k == 0), _ceiling_of(groups[k + 1], k + 1 == last)) for k in range(last)]
    if not spans:
        return [_only_one_level(groups[0], z)]

    def merit(span: tuple[float, float]) -> tuple[int, float]:
        inside = int(np.sum((stations_z > span[0]) & (stations_z < span[1])))
        return inside, float(np.sum((heights > span[0] - 0.1) & (heights < span[1] + 0.1)))

    return [(floor, ceiling) for floor, ceiling in sorted(spans, key=merit, reverse=True)]


def _peaks(smooth: Floats, least: float, low: float) -> list[tuple[float, float]]:
    """Local maxima (height, weight) of at least `least`, the greatest within 0.1 m."""
    found: list[tuple[float, float]] = []
    for index in np.flatnonzero(smooth >= least):
        around = smooth[max(0, index - 4) : index + 5]
        if smooth[index] == around.max() and (not found or index * 0.025 + low - found[-1][0] > 0.1):
            found.append((index * 0.025 + low + 0.0125, float(smooth[index])))
    return found


def _group(peaks: list[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    groups = [[peaks[0]]]
    for peak in peaks[1:]:
        if peak[0] - groups[-1][-1][0] < LEAST_STOREY_M:
            groups[-1].append(peak)
        else:
            groups.append([peak])
    return groups


def _floor_of(group: list[tuple[float, float]], first: bool) -> float:
    """The floor of a group: the lowest height of the first; else the height over the slab, the widest gap."""
    heights = [height for height, _ in group]
    return heights[0] if first or len(group) == 1 else heights[int(np.argmax(np.diff(heights))) + 1]


def _ceiling_of(group: list[tuple[float, float]], last: bool) -> float:
    """The ceiling of a group: the highest of the last; else the height under the slab, the widest gap."""
    heights = [height for height, _ in group]
    return heights[-1] if last or len(group) == 1 else heights[int(np.argmax(np.diff(heights)))]


def _only_one_level(group: list[tuple[float, float]], z: Floats) -> tuple[float | None, float | None]:
    """One level alone is a floor when most of the scan lies above it, else a ceiling."""
    height = max(group, key=lambda peak: peak[1])[0]
    return (group[0][0], None) if np.median(z) > height else (None, height)


def map_storey(cells: LevelCells, span: tuple[float | None, float | None], highest_m: float = math.inf) -> Storey:
    """Lay the floor and ceiling heights of one storey out over the plan; its ceiling stays below `highest_m`."""
    floor, ceiling = span
    level_m, normals_z, clear = cells.level_m, cells.normals[:, 2], cells.clear
    upright = clear & (np.abs(normals_z) < ROOF_COSINE)
    z_up = level_m[upright, 2] if upright.any() else level_m[:, 2]
    bottom = floor if floor is not None else float(np.percentile(z_up, 1))
    top = ceiling if ceiling is not None else float(np.percentile(z_up[z_up > bottom], 99.5))
    inside = (level_m[:, 2] > bottom - 0.4) & (level_m[:, 2] < top + 0.4)
    low, high = np.percentile(level_m[inside, :2], [0.2, 99.8], axis=0)
    low, high = low - 0.5, high + 0.5
    edge = max(PIXEL_M, float(np.sqrt(np.prod(high - low) / 1_000_000)))
    rows, columns = (int(value) for value in np.ceil((high - low) / edge))
    raster = Raster(low, edge, (rows, columns))
    is_floor = clear & (np.abs(normals_z) > LEVEL_COSINE) & (np.abs(level_m[:, 2] - bottom) < 0.35)
    share = (level_m[:, 2] - bottom) / (top - bottom)
    slopes = (np.abs(normals_z) < SLOPE_COSINE) & (share > LEAST_KNEE)  # to a knee wall, as no furniture's top does
    is_roof = clear & (np.abs(normals_z) > ROOF_COSINE) & ((share > 0.6) | slopes)
    is_roof &= inside | raster.index(level_m[:, :2])[2] & (level_m[:, 2] < min(highest_m, top + MOST_RISE_M))
    is_roof[is_roof] = _hangs_together(level_m[is_roof], (inside & (share > 0.6))[is_roof])
    floor_map = _extreme(raster, level_m[is_floor], np.fmin) if floor is not None else np.full(raster.shape, np.nan)
    return Storey(floor, ceiling, bottom, top, raster, floor_map, _extreme(raster, level_m[is_roof], np.fmax))


def _hangs_together(points_m: Floats, first: Bools) -> Bools:
    """Points (n, 3) that hang together with the `first` ones: a sloped ceiling goes on above where most of it lies."""
    if not first.any():
        return first
    place = np.floor((points_m - points_m.min(axis=0)) / ROOF_STEP_M).astype(np.int64)
    space = np.zeros(place.max(axis=0) + 1, bool)
    space[tuple(place.T)] = True
    pieces = ndimage.label(space, np.ones((3, 3, 3)))[0][tuple(place.T)]
    return np.isin(pieces, pieces[first])


def _extreme(raster: Raster, points_m: Floats, choose: np.ufunc) -> Floats:
    result = np.full(raster.shape, np.nan)
    i, j, inside = raster.index(points_m[:, :2])
    choose.at(result, (i[inside], j[inside]), points_m[inside, 2])
    return result


def next_floor_m(spans: list[tuple[float | None, float | None]]) -> float:
    """The lowest floor above the first storey's ceiling; infinite where there is none."""
    ceiling = spans[0][1]
    above = [floor for floor, _ in spans[1:] if floor is not None and ceiling is not None and floor > ceiling - 0.1]
    return min(above, default=math.inf)


def other_storeys(spans: list[tuple[float | None, float | None]]) -> list[Finding]:
    """Say so when the scan holds more than the storey measured."""
    if len(spans) < 2 or spans[0][0] is None or spans[0][1] is None:
        return []
    others = ", ".join(f"{low:.2f} to {high:.2f} m" for low, high in spans[1:] if low is not None and high is not None)
    return [
        Finding(
            "warning",
            "other-storeys",
            f"The scan holds {len(spans)} storeys; this job measures the one from {spans[0][0]:.2f} to "
            f"{spans[0][1]:.2f} m; crop the scan to measure the others ({others}).",
        )
    ]
