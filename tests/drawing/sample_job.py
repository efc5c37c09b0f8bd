"""A made-up job with one wall of every sort that the drawings must cope with; the figures are invented."""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.result import Edge, EdgeKind, Elevations, Opening, OpeningKind, WallElevation
from unfold.findings import Finding
from unfold.quantity import Quantity, Verdict, decide, worst_verdict
from unfold.scan.result import Source, Station
from unfold.surface.result import Grid, RayCounts, Straightedge, Surfaces, WallSurface

CELL_MM = 10.0
STEP_MM = 10.0
RULES = (("ten-foot", 3048.0, 3.175), ("two-foot", 609.6, 1.5875))
LEVEL_FROM_SCAN_TURN_DEG = 24.0
ORIGIN_M = np.array([512_000.25, 4_100_000.5, 31.0])


class Hole(NamedTuple):
    """An opening to be cut into a sample wall: kind, left, bottom, width, height, depth."""

    kind: OpeningKind
    left: float
    bottom: float
    width: float
    height: float
    depth: float | None = None
    round: bool = False
    casing: float = 0.0


@dataclass(frozen=True)
class WallPlan:
    """One sample wall: where it runs in plan (m), how high it is (mm), how its surface lies and what is in it."""

    start: tuple[float, float]
    stop: tuple[float, float]
    height: float = 3200.0
    bow: float = 1.0  # mm, sagitta along and up; positive proud
    noise: float = 0.3
    radius_m: float | None = None
    holes: tuple[Hole, ...] = ()
    unseen: tuple[tuple[float, float, float, float], ...] = ()  # left, bottom, width, height
    ceiling_rise: float = 0.0  # mm that the ceiling rises to the right end
    uncertainty: float = 0.25
    ends: tuple[EdgeKind, EdgeKind] = ("inside_corner", "inside_corner")
    loop: int = 0
    straightedges: bool = True


HALL: tuple[WallPlan, ...] = (
    WallPlan(
        (0, 0),
        (0, 7.5),
        bow=1.2,
        holes=(
            Hole("door", 900, 0, 1010, 2110, casing=70),
            Hole("service", 2230, 1060, 86, 86),
            Hole("service", 5200, 300, 146, 86),
        ),
    ),
    WallPlan(
        (0, 7.5),
        (15, 7.5),
        bow=-9.0,
        uncertainty=0.4,
        holes=(
            Hole("window", 1500, 900, 1800, 1400),
            Hole("window", 4200, 900, 1800, 1400),
            Hole("opening", 7200, 0, 2000, 2400),
            Hole("niche", 10500, 1100, 900, 600, 140),
            Hole("service", 12100, 1060, 86, 86),
            Hole("service", 12300, 1060, 86, 86),
            Hole("window", 13200, 1900, 700, 700, round=True),
        ),
        unseen=((9300, 0, 800, 2100), (14000, 0, 900, 900)),
    ),
    WallPlan(
        (15, 7.5),
        (15, 4.0),
        bow=2.4,
        uncertainty=0.5,
        ceiling_rise=-600,
        unseen=((1200, 0, 1400, 90),),
        ends=("inside_corner", "inside_corner"),
    ),
    WallPlan(
        (15, 4.0),
        (14.85, 4.0),
        bow=0.2,
        holes=(Hole("service", 35, 1180, 80, 80),),
        ends=("inside_corner", "outside_corner"),
    ),
    WallPlan(
        (14.85, 4.0),
        (14.85, 1.2),
        height=7000,
        bow=3.5,
        noise=0.6,
        holes=(Hole("window", 700, 4200, 1400, 1600), Hole("service", 1340, 2350, 120, 120, round=True)),
        unseen=((100, 6500, 2600, 500),),
        ends=("outside_corner", "inside_corner"),
    ),
    WallPlan((14.85, 1.2), (13.65, 0), radius_m=1.2, bow=0.8, straightedges=False),
    WallPlan(
        (13.65, 0),
        (0, 0),
        bow=-1.0,
        holes=(
            Hole("opening", 5200, 1000, 1200, 900),
            Hole("service", 300, 280, 86, 86),
            Hole("door", 10600, 0, 1010, 2110, casing=70),
        ),
    ),
    WallPlan((7, 3), (7.6, 3), bow=0.4, ends=("outside_corner", "outside_corner"), loop=1),
    WallPlan((7.6, 3), (7.6, 3.6), bow=0.3, ends=("outside_corner", "outside_corner"), loop=1),
    WallPlan((7.6, 3.6), (7, 3.6), bow=5.0, ends=("outside_corner", "outside_corner"), loop=1),
    WallPlan((7, 3.6), (7, 3), bow=0.3, ends=("outside_corner", "outside_corner"), loop=1),
)


@dataclass(frozen=True)
class SampleJob:
    """What the drawing stage takes."""

    sources: tuple[Source, ...]
    stations: tuple[Station, ...]
    surfaces: Surfaces
    elevations: Elevations
    findings: tuple[Finding, ...] = field(default=())


def sample_job(plans: tuple[WallPlan, ...] = HALL) -> SampleJob:
    """Make the results of all stages for some walls."""
    ids = [f"W{number}" for number in range(1, len(plans) + 1)]
    walls = tuple(make_elevation(plan, name, ids) for plan, name in zip(plans, ids, strict=True))
    surfaces = tuple(make_surface(plan, wall, seed) for seed, (plan, wall) in enumerate(zip(plans, walls, strict=True)))
    findings = (
        Finding(
            "warning", "unit-inferred", "the file states no length unit; metres were inferred from the room's size"
        ),
        Finding("note", "skirting", "skirting 90 mm high hides the foot of W3 from u = 1200 to 2600 mm", "W3"),
    )
    elevations = Elevations(
        walls, np.array([0.0, 0.0, 1.0]), scan_from_level(), "scanner", 0.004, floor_area_mm2=1.08e8, findings=()
    )
    return SampleJob(make_sources(), make_stations(), Surfaces("us-large", surfaces, ()), elevations, findings)


def scan_from_level() -> Floats:
    """A turn about plumb and a shift to map coordinates."""
    turn = np.radians(LEVEL_FROM_SCAN_TURN_DEG)
    matrix = np.eye(4)
    matrix[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    matrix[:3, 3] = ORIGIN_M
    return matrix


def make_sources() -> tuple[Source, ...]:
    """Two files, one with a name that would break a page that does not escape it."""
    return (
        Source("ticket_hall.e57", "3b7c" * 16, 18_400_512, 3, "m", "format"),
        Source('corner <b>&amp; "niche"</b> é雪.xyz', "09af" * 16, 912_004, 1, "m", "inferred"),
    )


def make_stations() -> tuple[Station, ...]:
    """Three stations on a tripod and one whose place is not known."""
    turn = scan_from_level()[:3, :3]
    places = [(3.0, 4.8, 1.6), (10.5, 5.2, 1.6), (11.0, 1.8, 1.6)]
    known = tuple(
        Station(f"station {number}", 0, turn @ np.array(place), np.array([0.0, 0.0, 1.0]), 6_133_504)
        for number, place in enumerate(places, 1)
    )
    return (*known, Station("corner", 1, None, None, 912_004))


def make_elevation(plan: WallPlan, name: str, ids: list[str]) -> WallElevation:
    """Unfold one sample wall."""
    start, stop = np.array([*plan.start, 0.0]), np.array([*plan.stop, 0.0])
    chord = stop - start
    width, right = plan_width(plan), chord / np.linalg.norm(chord)
    if plan.radius_m is not None:
        half = 0.5 * width / 1000.0 / plan.radius_m
        right = np.array([[np.cos(half), -np.sin(half), 0], [np.sin(half), np.cos(half), 0], [0, 0, 1]]) @ right
    up = np.array([0.0, 0.0, 1.0])
    turn, shift = scan_from_level()[:3, :3], scan_from_level()[:3, 3]
    outline, edges = make_outline(plan, width, name, ids)
    openings = tuple(make_opening(hole, f"{name}-O{number}") for number, hole in enumerate(plan.holes, 1))
    unseen = tuple(rectangle(*box) for box in plan.unseen)
    hole_area = sum(ring_area(opening.ring_mm) for opening in openings)
    area = ring_area(outline) - hole_area
    return WallElevation(
        name,
        turn @ start + shift,
        turn @ right,
        turn @ up,
        turn @ np.cross(right, up),
        "plane" if plan.radius_m is None else "cylinder",
        None if plan.radius_m is None else 1000.0 * plan.radius_m,
        outline,
        edges,
        openings,
        unseen,
        area,
        seen_share=1.0 - sum(ring_area(ring) for ring in unseen) / area,
        level_v_mm=1000.0,
        plumb_u_mm=0.5 * width,
        loop=plan.loop,
    )


def plan_width(plan: WallPlan) -> float:
    """Width along the wall, mm; an arc's own length where the wall is round."""
    chord = 1000.0 * float(np.hypot(plan.stop[0] - plan.start[0], plan.stop[1] - plan.start[1]))
    if plan.radius_m is None:
        return chord
    return 2.0 * 1000.0 * plan.radius_m * float(np.arcsin(chord / 2000.0 / plan.radius_m))


def make_outline(plan: WallPlan, width: float, name: str, ids: list[str]) -> tuple[Floats, tuple[Edge, ...]]:
    """A scribed ring: floor, right, ceiling, left, each bowed by a few millimetres and sampled every STEP_MM."""
    left_top, right_top = plan.height, plan.height + plan.ceiling_rise
    corners = np.array([(0, 0), (width, 0), (width, right_top), (0, left_top)], dtype=float)
    bows = (2.0, -1.2, 3.0, 1.5)
    sides, counts = [], []
    for start, stop, bow in zip(corners, np.roll(corners, -1, axis=0), bows, strict=True):
        span = stop - start
        share = np.linspace(0.0, 1.0, max(2, round(float(np.hypot(*span)) / STEP_MM)), endpoint=False)[:, None]
        inward = np.array([-span[1], span[0]]) / np.hypot(*span)
        sides.append(start + share * span + bow * np.sin(np.pi * share) * inward)
        counts.append(len(share))
    firsts = np.concatenate([[0], np.cumsum(counts)])
    total, index = int(firsts[-1]), ids.index(name)
    kinds: tuple[EdgeKind, ...] = ("floor", plan.ends[1], "ceiling", plan.ends[0])
    neighbours = ("floor", ids[(index + 1) % len(ids)], "ceiling", ids[index - 1])
    edges = tuple(
        Edge(kind, neighbour, int(firsts[side]), int(firsts[side + 1]) % total, abs(bows[side]), 0.35)
        for side, (kind, neighbour) in enumerate(zip(kinds, neighbours, strict=True))
    )
    return np.concatenate(sides), edges


def make_opening(hole: Hole, name: str) -> Opening:
    """Cut one hole."""
    clear = None
    if hole.round:
        angle = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
        ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * hole.width / 2.0
        ring += [hole.left + hole.width / 2.0, hole.bottom + hole.width / 2.0]
    else:
        ring = rectangle(hole.left, hole.bottom, hole.width, hole.height)
    if hole.casing:
        clear = rectangle(hole.left + hole.casing, hole.bottom, hole.width - 2 * hole.casing, hole.height - hole.casing)
    size = (hole.width,) if hole.round else (hole.width, hole.height)
    evidence: Literal["through", "recess"] = "through" if hole.kind in ("door", "window", "opening") else "recess"
    return Opening(
        name,
        hole.kind,
        ring,
        "circle" if hole.round else "rectangle",
        size,
        hole.depth,
        "absence" if hole.kind == "service" else evidence,
        0.6,
        clear,
    )


def rectangle(left: float, bottom: float, width: float, height: float) -> Floats:
    """A rectangle as a counter-clockwise ring."""
    return np.array([(left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height)])


def ring_area(ring: Floats) -> float:
    """Area of a ring by the shoelace formula, positive when counter-clockwise."""
    x, y = ring.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def make_surface(plan: WallPlan, wall: WallElevation, seed: int) -> WallSurface:
    """Measure one sample wall: a bow both ways with some noise, nothing where it is open or unseen."""
    width, height = wall.outline_mm.max(axis=0)
    grid = Grid(-50.0, -50.0, CELL_MM, round((height + 100.0) / CELL_MM), round((width + 100.0) / CELL_MM))
    u = grid.u0_mm + CELL_MM * np.arange(grid.columns)
    v = (grid.v0_mm + CELL_MM * np.arange(grid.rows))[:, None]
    shape = plan.bow * (np.sin(np.pi * u / width) * np.sin(np.pi * v / height) * 1.5 - 0.6)
    heights = shape + np.random.default_rng(seed).normal(0.0, plan.noise, (grid.rows, grid.columns))
    measured = (u > 8.0) & (u < width - 8.0) & (v > 8.0) & (v < height - 8.0)
    for ring in [*(opening.ring_mm for opening in wall.openings), *wall.unseen_mm]:
        (left, bottom), (right, top) = ring.min(axis=0), ring.max(axis=0)
        measured = measured & ~((u > left - 8) & (u < right + 8) & (v > bottom - 8) & (v < top + 8))
    empty = np.zeros((grid.rows, grid.columns), dtype=np.uint32)
    straightedges = tuple(make_straightedge(plan, rule, float(width), float(height)) for rule in RULES)
    return WallSurface(
        wall.id,
        grid,
        np.where(measured, heights, np.nan),
        np.where(measured, plan.noise, np.nan),
        np.where(measured, 40, 0).astype(np.uint32),
        measured,
        RayCounts(empty, empty, empty, empty, empty, np.full(empty.shape, np.nan)),
        noise_mm=1.1,
        registration_mm=0.2,
        lean_mm_per_m=Quantity(0.84, 0.05),
        bow_horizontal_mm=Quantity(plan.bow, 0.2),
        bow_vertical_mm=Quantity(plan.bow, 0.2),
        flatness_least_squares_mm=2.2 * abs(plan.bow),
        flatness_minimum_zone_mm=2.0 * abs(plan.bow),
        straightedges=straightedges,
        verdict=worst_verdict(edge.verdict for edge in straightedges),
        uncertainty_parts={"point noise": 0.05, "registration": 0.2, "model": 0.1},
    )


def make_straightedge(plan: WallPlan, rule: tuple[str, float, float], width: float, height: float) -> Straightedge:
    """Judge one sample wall by one rule; the worst is invented in proportion to the bow."""
    name, length, tolerance = rule
    if not plan.straightedges:
        return Straightedge(name, length, tolerance, None, None, None, None, None, None, "cannot be decided")
    used = min(length, float(np.hypot(width, height)))
    worst = abs(plan.bow) * min(1.0, used / max(width, height)) * 1.5
    verdict: Verdict = decide(worst, plan.uncertainty, tolerance)
    steep = (
        float(np.degrees(np.arctan2(height, width)))
        if used < length
        else (28.0 if length > 1000 and width > length else 80.0)
    )
    share = 0.0 if verdict == "conforms" else 0.12
    return Straightedge(
        name,
        length,
        tolerance,
        Quantity(worst, plan.uncertainty),
        0.5 * width,
        0.5 * height,
        steep,
        used,
        share,
        verdict,
    )
