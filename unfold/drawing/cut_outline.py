"""A panel as it is cut: its outline and cutouts as paths, with the lower left corner of its bounds at (0, 0)."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.curve import fit_path, mirror_path, move_path
from unfold.layout.result import Panel, Placement
from unfold.settings.cut import CutSettings


@dataclass(frozen=True, slots=True)
class CutOutline:
    """Paths (n, 3) of x, y, bulge, the outline first, and the rings (n, 2) that they were fitted to."""

    paths: tuple[Floats, ...]
    rings: tuple[Floats, ...]
    size_mm: Floats  # (2,) of the bounding rectangle of the outline's ring
    label_mm: Floats  # (2,) a point well inside
    up: Floats  # (2,) unit vector: which way is up on the wall


def cut_outline(panel: Panel, settings: CutSettings) -> CutOutline:
    """Fit the panel's rings, in its own coordinates, seen from the room."""
    least = panel.ring_mm.min(axis=0)
    rings = tuple(ring - least for ring in (panel.ring_mm, *(cutout.ring_mm for cutout in panel.cutouts)))
    paths = tuple(fit_path(ring, settings.tolerance_mm, settings.arcs) for ring in rings)
    return CutOutline(paths, rings, np.ptp(panel.ring_mm, axis=0), _label_place(rings), np.array([0.0, 1.0]))


def placed_outline(outline: CutOutline, placement: Placement) -> CutOutline:
    """Move an outline to its place on the sheet."""
    shift = np.asarray(placement.origin_mm, dtype=float)
    if placement.turned:
        shift = shift + np.array([outline.size_mm[1], 0.0])
    origin = (float(shift[0]), float(shift[1]))

    def moved(points: Floats) -> Floats:
        return move_path(np.column_stack([points, np.zeros(len(points))]), placement.turned, origin)[:, :2]

    return CutOutline(
        tuple(move_path(path, placement.turned, origin) for path in outline.paths),
        tuple(moved(ring) for ring in outline.rings),
        outline.size_mm[::-1] if placement.turned else outline.size_mm,
        moved(outline.label_mm[None, :])[0],
        np.array([-outline.up[1], outline.up[0]]) if placement.turned else outline.up,
    )


def mirrored_outline(outline: CutOutline, about_x: float) -> CutOutline:
    """Mirror an outline in the upright line x = about_x, for cutting with the face down."""
    flip, shift = np.array([-1.0, 1.0]), np.array([2.0 * about_x, 0.0])
    return CutOutline(
        tuple(mirror_path(path, about_x) for path in outline.paths),
        tuple(ring[::-1] * flip + shift for ring in outline.rings),
        outline.size_mm,
        outline.label_mm * flip + shift,
        outline.up * flip,
    )


def _label_place(rings: tuple[Floats, ...]) -> Floats:
    """Choose a point inside the outline, clear of the cutouts: of a coarse grid, the farthest from any edge."""
    import shapely

    shape = shapely.Polygon(rings[0], list(rings[1:]))
    shapely.prepare(shape)
    size = rings[0].max(axis=0)
    shares = np.array([0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9])
    grid = np.stack(np.meshgrid(shares, shares), axis=-1).reshape(-1, 2) * size
    inside = grid[shapely.contains_xy(shape, grid[:, 0], grid[:, 1])]
    if len(inside) == 0:
        point = shape.representative_point()
        return np.array([point.x, point.y])
    return np.asarray(inside[np.argmax(np.round(shapely.distance(shape.boundary, shapely.points(inside)), 3))])
