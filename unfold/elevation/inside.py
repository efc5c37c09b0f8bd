"""What the rays met inside of an opening: a back, a pane, a room behind, nothing."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Bools, Floats
from unfold.elevation.collect import ZoneRays
from unfold.elevation.hollows import goes_on, is_hollow
from unfold.elevation.local_rays import SIDE_FACE_MM, LocalRays, to_surface
from unfold.elevation.local_surface import LocalSurface
from unfold.elevation.rings import signed_area, signed_distance

BACK_MM = 600.0  # what ended farther behind the wall is not the opening's own back
BIN_MM = 6.0
REVEAL_MM = 60.0  # rays that cross this near to the ring may have met its reveal
LEAST_RAYS = 6
TILE_MM, SEEN_TILES = 60.0, 0.75
OUT_MM = 25.0  # how far beyond a ring its side faces may lie: it may be placed too narrow
LEAST_SHARE = 0.6  # of the rays inside that must have gone behind the wall
BOARD_MM = 60.0  # boards around an opening stand up to this far before the wall
RIM_MM = (5.0, 25.0)  # beside the ring, where the wall must be
LEAST_FRAMED = 0.6  # of the rays there that must have ended on it
SIGNIFICANT = 4.0  # standard deviations of the noise that a recess must be deep
CLEANLY_FRAMED, LEAST_ACROSS_CLEAN = 0.95, 1.6
LEAST_ACROSS = 2.2  # a ring narrower than this many ray spacings may be a few stray points


@dataclass(frozen=True, slots=True)
class Inside:
    """Shares of the rays that cross an opening well inside of its ring, but for those that ended on its side faces."""

    through_share: float  # ended far behind the wall, or nowhere
    back_share: float  # ended at one depth: a back, a leaf or a pane
    frame_share: float  # the same among the rays beside the ring: a window's frame
    deeper_share: float  # ended deeper than that
    depth_mm: float | None  # that depth
    rays: int
    hollow: bool = False  # hardly a point came out of it: told by its reveal and by what is missing


def look_inside(
    rays: ZoneRays, crossed_mm: float, surface: LocalSurface, ring: Floats, noise_mm: float
) -> Inside | None:
    """Tell what lies behind a ring from the rays that cross it; None when hardly any ray went behind the wall."""
    local = to_surface(rays, crossed_mm, surface, 0.0)
    distance = signed_distance(ring, np.column_stack([local.a, local.b]))
    size = float(min(np.ptp(ring[:, 0]), np.ptp(ring[:, 1])))
    core_mm = min(REVEAL_MM, 0.25 * size)
    crossing = distance < -min(3.0, 0.1 * size)
    behind = crossing & (local.depth > max(3 * noise_mm, 3.0))
    unknown = not np.any(rays.du) and not np.any(rays.dv)
    if unknown and is_hollow(local, ring, noise_mm):
        return Inside(1.0, 0.0, 0.0, 1.0, None, 0, hollow=True)
    if unknown and goes_on(local, distance, ring, noise_mm):
        return None
    if behind.sum() < LEAST_RAYS or behind.sum() < LEAST_SHARE * crossing.sum():
        return None
    depth = local.depth
    blurred = 3 * noise_mm if unknown else 0.0
    beside = (distance > RIM_MM[0] + blurred) & (distance < RIM_MM[1] + blurred) & (local.depth > -BOARD_MM)
    on_wall = local.depth[beside] < max(3 * noise_mm, 3.0)
    if on_wall.sum() < LEAST_RAYS or on_wall.mean() < LEAST_FRAMED:
        return None
    clean = behind.sum() == crossing.sum() and on_wall.mean() > CLEANLY_FRAMED
    if np.median(depth[behind]) < SIGNIFICANT * noise_mm or not _spread_out(behind, ring, clean):
        return None
    facing = behind & ~_on_side(local, ring)
    if facing.sum() < LEAST_RAYS:
        facing = behind
    core = facing & (distance < -core_mm)
    if core.sum() < LEAST_RAYS:
        core = facing
    border = behind & (distance > -REVEAL_MM) & (distance < -10.0)
    through = depth > BACK_MM
    peak = _peak_depth(depth[facing & ~through], noise_mm)
    if peak is None:
        return Inside(float(through[core].mean()), 0.0, 0.0, 1.0, None, int(behind.sum()))
    at_peak = np.abs(depth - peak) < max(2.5 * noise_mm, BIN_MM)
    frame = float(at_peak[border].mean()) if border.sum() >= 10 else 0.0
    # a ray that ended on a side face deeper than the back passed a pane all the same
    passed = behind & (distance < -core_mm) & (depth > peak + max(2.5 * noise_mm, BIN_MM))
    deeper = float(passed.sum() / max((core | passed).sum(), 1))
    return Inside(float(through[core].mean()), float(at_peak[core].mean()), frame, deeper, peak, int(behind.sum()))


def returned_share(edge: ZoneRays, inner: ZoneRays, surface: LocalSurface, ring: Floats) -> float:
    """Points per area well inside of a ring against those on the wall around it; 1 where stations tell more.

    Without stations the rays that passed a pane leave no trace: only the points that it returned are there to count.
    """
    core = Polygon(ring).buffer(-REVEAL_MM)
    if np.any(edge.du) or np.any(edge.dv) or core.is_empty or core.area < (3 * REVEAL_MM) ** 2:
        return 1.0
    around = signed_distance(ring, np.column_stack([edge.u, edge.v]))
    on_wall = (around > 10.0) & (around < 40.0) & (np.abs(edge.h - surface.at(edge.u, edge.v)) < 30.0)
    area = Polygon(ring).buffer(40.0).area - Polygon(ring).buffer(10.0).area
    if on_wall.sum() < 30:
        return 1.0
    beside = on_wall.sum() / max(edge.share, 1e-9) / area
    return float(np.quantile(_densities(inner, core), SEEN_TILES) / beside)


def _densities(inner: ZoneRays, core: BaseGeometry) -> Floats:
    """Points per area on square tiles over a core's bounds: the jambs may hide more than half of them."""
    u0, v0, u1, v1 = core.bounds
    across, up = (np.linspace(low, high, max(int((high - low) / TILE_MM), 1) + 1) for low, high in ((u0, u1), (v0, v1)))
    number, _, _ = np.histogram2d(inner.u, inner.v, [across, up])
    return np.asarray(number / max(inner.share, 1e-9) / ((across[1] - across[0]) * (up[1] - up[0])))


def _on_side(local: LocalRays, ring: Floats) -> Bools:
    """Whether each ray ended beside the ring's line, on a side face: it tells nothing of the back.

    Where a station looks along the wall most rays end there. Points of unknown station crossed where they lie.
    """
    depth = np.minimum(local.depth, BACK_MM)
    ended = np.column_stack([local.a + local.da * depth, local.b + local.db * depth])
    distance = signed_distance(ring, ended)
    return np.asarray((distance > -SIDE_FACE_MM) & (distance < OUT_MM) & (local.depth < BACK_MM))


def _spread_out(behind: Bools, ring: Floats, clean: bool) -> bool:
    """Whether the ring is wider than a few ray spacings both ways, so that it is no chance group of stray points.

    It may be narrower where all rays in it went behind and all around it ended on the wall.
    """
    area = abs(signed_area(ring))
    spacing = np.sqrt(area / max(int(behind.sum()), 1))
    return bool(min(np.ptp(ring[:, 0]), np.ptp(ring[:, 1])) > (LEAST_ACROSS_CLEAN if clean else LEAST_ACROSS) * spacing)


def _peak_depth(depths: Floats, noise_mm: float) -> float | None:
    """The depth at which most rays ended, where they stand out from those spread over a reveal."""
    if depths.size < LEAST_RAYS:
        return None
    width = max(BIN_MM, 2 * noise_mm)
    counts, edges = np.histogram(depths, np.arange(0.0, BACK_MM + 2 * width, width))
    pairs = counts[:-1] + counts[1:]
    top = int(np.argmax(pairs))
    near = np.abs(depths - edges[top + 1]) < 1.5 * width
    spread_evenly = depths.size * 2 * width / max(float(np.quantile(depths, 0.98)), 4 * width)
    if pairs[top] < 1.5 * spread_evenly and pairs[top] < 0.5 * depths.size:
        return None
    return float(np.median(depths[near]))
