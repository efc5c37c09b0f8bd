"""Walls of a small ferry terminal for the layout's tests: scribed outlines, openings, surfaces and verdicts.

Everything is exact and made here: the truth is known, and no scan is needed. Walls stand in a rectangular hall; each
sample wall may be bowed at its edges, leaning, dented or bulged.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Edge, EdgeKind, Elevations, Opening, OpeningKind, WallElevation
from unfold.quantity import Quantity, Verdict, worst_verdict
from unfold.surface.result import Grid, RayCounts, Straightedge, Surfaces, WallSurface

CELL_MM = 10.0
Surface = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True)
class Corner:
    """A corner of an outline, and the kind of edge that starts there, with its bow into the wall (positive) in mm."""

    u: float
    v: float
    kind: EdgeKind
    neighbour: str | None = None
    bow_mm: float = 0.0


def scribed_outline(corners: Sequence[Corner], step_mm: float = 10.0) -> tuple[Floats, tuple[Edge, ...]]:
    """Sample an outline every `step_mm` or finer; each edge bows as a parabola."""
    points: list[Floats] = []
    firsts: list[int] = []
    for here, there in zip(corners, [*corners[1:], corners[0]], strict=True):
        start, end = np.array([here.u, here.v]), np.array([there.u, there.v])
        length = float(np.hypot(*(end - start)))
        share = np.arange(max(1, int(np.ceil(length / step_mm)))) / max(1, int(np.ceil(length / step_mm)))
        inward = np.array([-(end - start)[1], (end - start)[0]]) / length
        firsts.append(sum(len(part) for part in points))
        points.append(
            start + share[:, None] * (end - start) + (4.0 * here.bow_mm * share * (1.0 - share))[:, None] * inward
        )
    outline = np.concatenate(points)
    lasts = [*firsts[1:], 0]
    edges = tuple(
        Edge(corner.kind, corner.neighbour, first, last, abs(corner.bow_mm), 0.3)
        for corner, first, last in zip(corners, firsts, lasts, strict=True)
    )
    return outline, edges


def rectangle_corners(
    width: float, height: float, left: str | None = None, right: str | None = None, bow: float = 0.0
) -> list[Corner]:
    """A plain wall: floor, right corner, ceiling, left corner; counter-clockwise."""
    sides: list[EdgeKind] = ["inside_corner" if name else "end" for name in (right, left)]
    return [
        Corner(0.0, 0.0, "floor", "floor", bow),
        Corner(width, 0.0, sides[0], right, -bow),
        Corner(width, height, "ceiling", "ceiling", bow / 2.0),
        Corner(0.0, height, sides[1], left, bow),
    ]


def rectangle(left: float, low: float, width: float, height: float) -> Floats:
    """A ring, counter-clockwise."""
    return np.array([[left, low], [left + width, low], [left + width, low + height], [left, low + height]])


def opening(name: str, kind: OpeningKind, left: float, low: float, width: float, height: float) -> Opening:
    """A rectangular opening."""
    depth = 90.0 if kind == "niche" else 50.0 if kind == "service" else None
    evidence: Literal["recess", "through"] = "recess" if kind in ("niche", "service") else "through"
    return Opening(
        name,
        kind,
        rectangle(left, low, width, height),
        "rectangle",
        (width, height),
        depth,
        evidence,
        0.5,
        None,
    )


def round_opening(name: str, u: float, v: float, diameter: float) -> Opening:
    """A pipe's hole."""
    angle = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    ring = np.array([u, v]) + diameter / 2.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return Opening(name, "service", ring, "circle", (diameter,), 50.0, "recess", 0.5, None)


def elevation(
    name: str, corners: Sequence[Corner], openings: Sequence[Opening] = (), unseen: Sequence[Floats] = (),
    place: tuple[float, float, float] = (0.0, 0.0, 0.0), radius_mm: float | None = None,
) -> WallElevation:  # fmt: skip
    """One wall; `place` is its left foot in plan (x, y in metres) and the direction of `right` in degrees."""
    outline, edges = scribed_outline(corners)
    angle = np.radians(place[2])
    right = np.array([np.cos(angle), np.sin(angle), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    u, v = outline.T
    gross = abs(float(np.dot(u, np.roll(v, -1)) - np.dot(v, np.roll(u, -1)))) / 2.0
    return WallElevation(
        id=name, origin_scan_m=np.array([place[0], place[1], 0.0]), right=right, up=up, inward=np.cross(right, up),
        shape="plane" if radius_mm is None else "cylinder", radius_mm=radius_mm, outline_mm=outline, edges=edges,
        openings=tuple(openings), unseen_mm=tuple(unseen), area_mm2=gross, seen_share=1.0, level_v_mm=1000.0,
        plumb_u_mm=float(u.mean()),
    )  # fmt: skip


def flat(u: Floats, v: Floats) -> Floats:
    """A perfect wall."""
    return 0.0 * u + 0.0 * v


def dent(u0: float, v0: float, radius: float, depth: float) -> Surface:
    """A round dent (or, with a negative depth, a bump) with a smooth rim."""

    def height(u: Floats, v: Floats) -> Floats:
        share = np.clip(np.hypot(u - u0, v - v0) / radius, 0.0, 1.0)
        shape: Floats = -depth * np.cos(np.pi / 2.0 * share) ** 2
        return shape

    return height


def bow(width: float, most: float) -> Surface:
    """A wall bowed along its width, proud in the middle."""

    def height(u: Floats, v: Floats) -> Floats:
        shape: Floats = 4.0 * most * (u / width) * (1.0 - u / width) + 0.0 * v
        return shape

    return height


def surface(
    wall: WallElevation, height: Surface = flat, worst: tuple[float, float] = (1.0, 0.3), standard_error: float = 0.05,
    uncertainty: float = 0.15, lean: float = 0.2,
) -> WallSurface:  # fmt: skip
    """A surface with its verdict; `worst` are the gaps under the long and the short straightedge in mm."""
    low, high = wall.outline_mm.min(axis=0), wall.outline_mm.max(axis=0)
    columns, rows = (np.ceil((high - low) / CELL_MM).astype(int) + 2).tolist()
    grid = Grid(float(low[0]) - CELL_MM / 2.0, float(low[1]) - CELL_MM / 2.0, CELL_MM, rows, columns)
    u = grid.u0_mm + CELL_MM * np.arange(columns)[None, :]
    v = grid.v0_mm + CELL_MM * np.arange(rows)[:, None]
    heights = height(u, v) + 0.0 * (u + v)
    is_wall = np.ones((rows, columns), np.bool_)
    for ring in (*(one.ring_mm for one in wall.openings), *wall.unseen_mm):
        (left, bottom), (right, top) = ring.min(axis=0), ring.max(axis=0)
        is_wall &= ~((u >= left) & (u <= right) & (v >= bottom) & (v <= top))
    straightedges = tuple(
        straightedge(rule, length, tolerance, gap, uncertainty)
        for rule, length, tolerance, gap in (
            ("us-large", 3048.0, 3.175, worst[0]), ("us-large-local", 609.6, 1.5875, worst[1]),
        )
    )  # fmt: skip
    nothing = np.zeros((rows, columns), np.uint32)
    rays = RayCounts(nothing, nothing, nothing, nothing, nothing, np.full((rows, columns), np.nan))
    return WallSurface(
        wall=wall.id, grid=grid, height_mm=np.where(is_wall, heights, np.nan),
        standard_error_mm=np.where(is_wall, standard_error, np.nan), count=is_wall.astype(np.uint32) * 9,
        is_wall=is_wall, rays=rays, noise_mm=1.0, registration_mm=0.2, lean_mm_per_m=Quantity(lean, 0.1),
        bow_horizontal_mm=Quantity(0.0, 0.2), bow_vertical_mm=Quantity(0.0, 0.2), flatness_least_squares_mm=1.0,
        flatness_minimum_zone_mm=0.9, straightedges=straightedges,
        verdict=worst_verdict([one.verdict for one in straightedges]), uncertainty_parts={},
    )  # fmt: skip


def straightedge(rule: str, length: float, tolerance: float, gap: float, uncertainty: float) -> Straightedge:
    """A straightedge with its verdict by the house's rule."""
    from unfold.quantity import decide

    verdict: Verdict = decide(gap, uncertainty, tolerance)
    return Straightedge(
        rule,
        length,
        tolerance,
        Quantity(gap, uncertainty),
        1500.0,
        1200.0,
        0.0,
        length,
        0.0 if verdict == "conforms" else 0.1,
        verdict,
    )


def elevations(*walls: WallElevation) -> Elevations:
    """Some walls as the elevation stage gives them."""
    return Elevations(walls, np.array([0.0, 0.0, 1.0]), np.eye(4), "scanner", 0.01, 30e6, ())


def surfaces(*walls: WallSurface) -> Surfaces:
    """Some surfaces as the surface stage gives them."""
    return Surfaces("us-large", walls, ())


@dataclass(frozen=True)
class Sample:
    """A job's worth of walls."""

    elevations: Elevations
    surfaces: Surfaces


def one_wall(wall: WallElevation, measured: WallSurface | None = None) -> Sample:
    """A job with one wall."""
    return Sample(elevations(wall), surfaces(measured or surface(wall)))


HALL_M = (6.2, 4.4)  # plan of the ticket hall
HALL_HEIGHT = 2700.0


def ticket_hall() -> Sample:
    """A hall of four walls: a plain one, one with a door and boxes, one with a drop and a dent, one to rebuild."""
    long, short = HALL_M[0] * 1000.0, HALL_M[1] * 1000.0
    w1 = elevation("W1", rectangle_corners(short, HALL_HEIGHT, "W4", "W2", 4.0), place=(0.0, 0.0, 90.0))
    w2 = elevation(
        "W2", rectangle_corners(long, HALL_HEIGHT, "W1", "W3", -3.0),
        [
            opening("W2-O1", "door", 1800.0, 0.0, 910.0, 2050.0),
            opening("W2-O2", "service", 3100.0, 300.0, 70.0, 115.0),
            opening("W2-O3", "service", 2850.0, 1050.0, 70.0, 115.0),
            round_opening("W2-O4", 5000.0, 600.0, 60.0),
        ],
        place=(0.0, short / 1000.0, 0.0),
    )  # fmt: skip
    w3 = elevation(
        "W3", drop_corners(short, HALL_HEIGHT, "W2", "W4"),
        [opening("W3-O1", "window", 900.0, 950.0, 1400.0, 1150.0)], place=(long / 1000.0, short / 1000.0, -90.0),
    )  # fmt: skip
    w4 = elevation(
        "W4", rectangle_corners(long, HALL_HEIGHT, "W3", "W1", 2.0),
        [opening("W4-O1", "niche", 3500.0, 900.0, 600.0, 500.0)],
        [rectangle(4700.0, 5.0, 600.0, 800.0)], place=(long / 1000.0, 0.0, 180.0),
    )  # fmt: skip
    measured = surfaces(
        surface(w1),
        surface(w2, bow(long, 1.5)),
        surface(w3, dent(3300.0, 1200.0, 500.0, 6.0), worst=(5.8, 3.0)),
        surface(w4, lambda u, v: bow(long, 45.0)(u, v) + dent(2000.0, 1000.0, 800.0, 20.0)(u, v), worst=(24.0, 9.0)),
    )
    return Sample(elevations(w1, w2, w3, w4), measured)


def drop_corners(width: float, height: float, left: str, right: str) -> list[Corner]:
    """An L-shaped wall: a bulkhead hangs into its upper right corner."""
    return [
        Corner(0.0, 0.0, "floor", "floor", 2.0),
        Corner(width, 0.0, "inside_corner", right, 0.0),
        Corner(width, height - 400.0, "ceiling", "ceiling", 1.0),
        Corner(width - 700.0, height - 400.0, "ceiling", "ceiling", 0.0),
        Corner(width - 700.0, height, "ceiling", "ceiling", 0.0),
        Corner(0.0, height, "inside_corner", left, -1.0),
    ]
