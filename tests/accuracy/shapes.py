"""A measured wall's shape held against the truth: corners, outline, openings, unseen areas and areas."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, binary_erosion
from shapely.geometry import LinearRing, Point, Polygon, box

from tests.accuracy.matching import Pair, cells_polygon, face, polygon, to_true
from unfold.arrays import AnyArray, Floats

OBSERVED_MM = 30.0
BUFFER_MM = 10.0  # of the completeness and correctness measures


@dataclass(frozen=True)
class OpeningError:
    """One opening that was found."""

    id: str
    kind: str
    found_kind: str
    size_mm: tuple[float, ...]  # errors of width and height, or of the diameter
    place_mm: float  # of its middle
    uncertainty_mm: float
    side_hidden: bool  # one of its sides no ray could see: nobody can measure it, only say how far out it may be


@dataclass(frozen=True)
class ShapeErrors:
    """Everything about the shape of one wall; millimetres and square millimetres."""

    corners: Floats  # (n,) distances
    corner_names: tuple[str, ...]
    outline: Floats  # (m,) distances, both ways, of observed parts
    openings: tuple[OpeningError, ...] = ()
    missed: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()
    true_area: float = 0.0
    measured_area: float = 0.0
    complete_area: float = 0.0
    correct_area: float = 0.0
    unseen_area: float = 0.0
    unseen_as_wall: float = 0.0
    unseen_as_opening: float = 0.0
    seen_area: float = 0.0
    seen_as_unseen: float = 0.0
    worst_at: str = field(default="")


def compare_shape(pair: Pair) -> ShapeErrors:
    """Hold one measured wall's shape against the truth, in the true wall's frame."""
    true, measured = pair.true, pair.measured
    outline = to_true(measured.data["outline"], measured, true)
    names, corners = _corners(pair, outline)
    distances, worst_at = _outline(pair, outline)
    rings = [to_true(opening["ring"], measured, true) for opening in measured.data["openings"]]
    found, missed, invented = _openings(pair, rings)
    true_face = face(np.asarray(true.data["outline"]), [np.asarray(o["ring"]) for o in true.data["openings"]])
    measured_face = face(outline, rings)
    unseen = [polygon(to_true(ring, measured, true)) for ring in measured.data["unseen"]]
    areas = _unseen_areas(pair, measured_face, shapely.union_all(unseen) if unseen else Polygon(), rings)
    return ShapeErrors(
        corners, names, distances, found, missed, invented,
        true_face.area, measured_face.area,
        true_face.intersection(measured_face.buffer(BUFFER_MM)).area,
        measured_face.intersection(true_face.buffer(BUFFER_MM)).area,
        *areas, worst_at=worst_at,
    )  # fmt: skip


def _corners(pair: Pair, outline: Floats) -> tuple[tuple[str, ...], Floats]:
    """Distance from each true corner between two edges that are no ends to the nearest end of a measured edge."""
    ring = np.asarray(pair.true.data["outline"])
    ends = np.array(sorted({i for edge in pair.measured.data["edges"] for i in (edge["first"], edge["last"])})) % len(
        outline
    )
    edges = pair.true.data["edges"]
    names, found = [], []
    for k, edge in enumerate(edges):
        following = edges[(k + 1) % len(edges)]
        if "end" in (edge["kind"], following["kind"]) or not _observed(pair, ring[[edge["last"] % len(ring)]])[0]:
            continue
        names.append(f"{edge['kind']}/{following['kind']}")
        found.append(float(np.min(np.linalg.norm(outline[ends, :2] - ring[edge["last"] % len(ring)], axis=1))))
    return tuple(names), np.array(found)


def _observed(pair: Pair, places: Floats) -> AnyArray:
    """Whether places (n, 2) have seen wall within 30 mm."""
    seen = np.asarray(pair.true.well_seen, bool)
    reach = int(OBSERVED_MM / 10)
    near = binary_dilation(np.pad(seen, 10), np.ones((2 * reach + 1, 2 * reach + 1), bool))
    column = np.floor((places[:, 0] - pair.true.corner_mm[0]) / 10).astype(int) + 10
    row = np.floor((places[:, 1] - pair.true.corner_mm[1]) / 10).astype(int) + 10
    inside = (row >= 0) & (column >= 0) & (row < near.shape[0]) & (column < near.shape[1])
    result: AnyArray = inside & near[np.clip(row, 0, near.shape[0] - 1), np.clip(column, 0, near.shape[1] - 1)]
    return result


def _outline(pair: Pair, outline: Floats) -> tuple[Floats, str]:
    """Distances between the outlines, each sampled every 10 mm, of their observed parts that are no ends."""
    ring = np.asarray(pair.true.data["outline"])
    ends = np.zeros(len(ring), bool)
    for edge in pair.true.data["edges"]:
        if edge["kind"] == "end":
            last = edge["last"] if edge["last"] >= edge["first"] else edge["last"] + len(ring)
            ends[np.arange(edge["first"], last + 1) % len(ring)] = True
    true_line, measured_line = LinearRing(ring), LinearRing(outline[:, :2])
    keep = _observed(pair, ring) & ~ends
    there = np.array([measured_line.distance(Point(*place)) for place in ring[keep]])
    samples = shapely.get_coordinates(shapely.segmentize(measured_line, 10.0))
    nearest = np.array([true_line.project(Point(*place)) for place in samples])
    length = np.r_[0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    index = np.clip(np.searchsorted(length, nearest), 0, len(ring) - 1)
    back = np.array([true_line.distance(Point(*place)) for place, i in zip(samples, index, strict=True) if keep[i]])
    worst = ring[keep][int(np.argmax(there))] if len(there) else np.zeros(2)
    note = f"{there.max():.1f} mm at u {worst[0]:.0f} v {worst[1]:.0f}" if len(there) else ""
    return np.concatenate([there, back]), note


def _openings(pair: Pair, rings: list[Floats]) -> tuple[tuple[OpeningError, ...], tuple[str, ...], tuple[str, ...]]:
    """Pair openings by how much of both they share."""
    found, missed, used = [], [], set[int]()
    shapes = [polygon(ring) for ring in rings]
    for truth in pair.true.data["openings"]:
        shape = polygon(truth["ring"])
        shared = [s.intersection(shape).area / max(s.union(shape).area, 1e-9) for s in shapes]
        best = int(np.argmax(shared)) if shared else -1
        if best >= 0 and shared[best] > 0.3 and best not in used:
            used.add(best)
            found.append(_opening_error(pair, truth, best, rings[best]))
        elif _asked_for(pair, shape):
            missed.append(f"{truth['id']} {truth['kind']} {'x'.join(f'{s:.0f}' for s in truth['size_mm'])}")
    hidden = [polygon(t["ring"]) for t in pair.true.data["openings"] if not _asked_for(pair, polygon(t["ring"]))]
    invented = tuple(
        _name(opening, shapes[i])
        for i, opening in enumerate(pair.measured.data["openings"])
        if i not in used and not any(shapes[i].intersection(h).area > 0.5 * shapes[i].area for h in hidden)
    )
    return tuple(found), tuple(missed), invented


def _name(opening: dict[str, Any], shape: Polygon) -> str:
    size = "x".join(f"{s:.0f}" for s in opening["size_mm"])
    return f"{opening['id']} {opening['kind']} {size} at {shape.centroid.x:.0f},{shape.centroid.y:.0f}"


def _opening_error(pair: Pair, truth: dict[str, object], index: int, ring: Floats) -> OpeningError:
    opening = pair.measured.data["openings"][index]
    true_size, size = (
        np.atleast_1d(np.asarray(truth["size_mm"], float)),
        np.atleast_1d(np.asarray(opening["size_mm"], float)),
    )
    if len(true_size) != len(size):
        true_size, size = np.array([true_size.max()]), np.array([size.max()])
    middle = (ring[:, :2].min(axis=0) + ring[:, :2].max(axis=0)) / 2
    true_ring = np.asarray(truth["ring"], float)
    true_middle = (true_ring.min(axis=0) + true_ring.max(axis=0)) / 2
    return OpeningError(
        str(truth["id"]),
        str(truth["kind"]),
        opening["kind"],
        tuple((size - true_size).tolist()),
        float(np.hypot(*(middle - true_middle))),
        float(opening["standard_uncertainty_mm"]),
        any(_seen_share(pair, strip) < 0.5 for strip in _sides(polygon(true_ring))),
    )


def _sides(shape: Polygon) -> list[Polygon]:
    """The strips of 30 mm outside an opening's left, right, lower and upper side."""
    u0, v0, u1, v1 = shape.bounds
    reach = OBSERVED_MM
    return [
        box(u0 - reach, v0, u0, v1),
        box(u1, v0, u1 + reach, v1),
        box(u0, v0 - reach, u1, v0),
        box(u0, v1, u1, v1 + reach),
    ]


def _asked_for(pair: Pair, shape: Polygon) -> bool:
    """Whether seven tenths of the wall within 30 mm around an opening were seen."""
    border = shape.buffer(OBSERVED_MM, join_style="mitre").difference(shape)
    return _seen_share(pair, border, nothing=0.0) >= 0.7


def _seen_share(pair: Pair, area: Polygon, nothing: float = 1.0) -> float:
    """The share of the wall within an area that was well seen; `nothing` where the wall does not reach there."""
    area = area.intersection(polygon(pair.true.data["outline"]))
    if area.is_empty:
        return nothing
    u0, v0, u1, v1 = area.bounds
    places = np.array([[x, y] for x in np.arange(u0 + 5, u1, 10) for y in np.arange(v0 + 5, v1, 10)]).reshape(-1, 2)
    places = places[shapely.contains_xy(area, places[:, 0], places[:, 1])]
    column = np.floor((places[:, 0] - pair.true.corner_mm[0]) / 10).astype(int)
    row = np.floor((places[:, 1] - pair.true.corner_mm[1]) / 10).astype(int)
    rows, columns = pair.true.well_seen.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    return float(np.mean(pair.true.well_seen[row[inside], column[inside]])) if inside.any() else nothing


def _unseen_areas(
    pair: Pair, measured_face: Polygon, unseen: Polygon, rings: list[Floats]
) -> tuple[float, float, float, float, float]:
    """True unseen area, how much of it is called wall and opening; true seen area, how much of it is called unseen."""
    on_wall = np.isfinite(pair.true.heights_mm)
    seen = np.asarray(pair.true.seen, bool)
    core = np.ones((7, 7), bool)
    hidden = cells_polygon(binary_erosion(on_wall & ~seen, core, border_value=1), pair.true.corner_mm)
    clear = cells_polygon(binary_erosion(on_wall & np.asarray(pair.true.well_seen, bool), core), pair.true.corner_mm)
    openings = shapely.union_all([polygon(ring) for ring in rings]) if rings else Polygon()
    wall = measured_face.difference(unseen)
    return (
        hidden.area,
        hidden.intersection(wall).area,
        hidden.intersection(openings).area,
        clear.area,
        clear.intersection(unseen).area,
    )
