"""True parallel offsets of scribed edges: every piece of the edge moved by the same distance, pieces meeting in mitres.

Library buffers simplify the line that they are given by a share of the distance; a scribed cut does not forgive that,
so the offset is built vertex by vertex, and by a union of pieces only where it would cross itself.
"""

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from unfold.arrays import Floats

MITRE_LIMIT = 3.0  # times the distance; sharper corners are cut off


def parallel_strip(points: Floats, distance_mm: float) -> BaseGeometry:
    """Return the strip between a polyline and its parallel on the left.

    Parameters
    ----------
    points : (n, 2) float64
        The polyline, millimetres; n at least 2. The strip ends square to its first and last piece.
    distance_mm : float
        Width of the strip, zero or more.
    """
    points = without_repeats(points)
    if distance_mm <= 0.0 or len(points) < 2:
        return Polygon()
    parallel = parallel_line(points, distance_mm)
    pieces = np.diff(points, axis=0)
    kept_direction = np.einsum("ij,ij->i", np.diff(parallel, axis=0), pieces) > 0.0
    strip = Polygon(np.concatenate([points, parallel[::-1]]))
    if kept_direction.all() and strip.is_valid:
        return strip
    return _strip_by_pieces(points, distance_mm)


def parallel_line(points: Floats, distance_mm: float) -> Floats:
    """Move a polyline (n, 2) to its left; pieces meet in mitres, the ends move square to their piece."""
    normals = left_normals(points)
    before, after = normals[np.r_[0, : len(normals)]], normals[np.r_[: len(normals), len(normals) - 1]]
    middle = before + after
    scale = 2.0 / np.maximum(np.einsum("ij,ij->i", middle, middle), 1e-9)
    scale = np.minimum(scale, MITRE_LIMIT / np.sqrt(np.maximum(np.einsum("ij,ij->i", middle, middle), 1e-9)))
    moved: Floats = points + distance_mm * middle * scale[:, None]
    return moved


def mitre_wedge(corner: Floats, before: Floats, after: Floats, before_mm: float, after_mm: float) -> BaseGeometry:
    """Return what two strips of different width leave open round a corner that turns to the right.

    `before` and `after` are the left normals of the pieces that meet at `corner`, (2,) each. Where the mitre would
    reach farther than three times the wider strip, as at nearly straight corners, it is cut off.
    """
    first, last = corner + before * before_mm, corner + after * after_mm
    system = np.array([before, after])
    if abs(np.linalg.det(system)) > 1e-6:
        tip = corner + np.linalg.solve(system, [before_mm, after_mm])
        if np.hypot(*(tip - corner)) <= MITRE_LIMIT * max(before_mm, after_mm):
            return Polygon([corner, first, tip, last])
    return Polygon([corner, first, last])


def left_normals(points: Floats) -> Floats:
    """Unit normals (n - 1, 2) on the left of each piece of a polyline (n, 2)."""
    pieces = np.diff(points, axis=0)
    normals: Floats = np.stack([-pieces[:, 1], pieces[:, 0]], axis=1) / np.hypot(*pieces.T)[:, None]
    return normals


def without_repeats(points: Floats) -> Floats:
    """Drop points that lie on their forerunner."""
    keep = np.r_[True, np.hypot(*np.diff(points, axis=0).T) > 1e-6] if len(points) else np.zeros(0, bool)
    kept: Floats = points[keep]
    return kept


def _strip_by_pieces(points: Floats, distance_mm: float) -> BaseGeometry:
    normals = left_normals(points)
    moved = normals * distance_mm
    corners = np.stack([points[:-1], points[1:], points[1:] + moved, points[:-1] + moved], axis=1)
    parts = list(shapely.polygons(corners))
    turns = normals[:-1, 0] * normals[1:, 1] - normals[:-1, 1] * normals[1:, 0]
    for index in np.flatnonzero(turns < -1e-12):
        corner = points[index + 1]
        parts.append(mitre_wedge(corner, normals[index], normals[index + 1], distance_mm, distance_mm))
    return shapely.union_all(shapely.make_valid(parts))
