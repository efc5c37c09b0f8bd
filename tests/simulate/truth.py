"""What is exactly true of a simulated room, in the same terms and structure as elevations.json and flatness.json."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.simulate.building import Building, BuiltWall
from tests.simulate.outline import OpeningRing
from tests.simulate.scanner import Instrument, scan_from_room
from tests.simulate.sheets import Packed, pack
from tests.simulate.straightedge import Worst, worst_at_angle, worst_straightedge
from tests.simulate.visibility import Stand, reach_on, stands_of
from unfold.arrays import Bools, Floats

CELL_M = 0.01
RULES = (("us-large", 3048.0, 3.175), ("us-large-local", 609.6, 1.5875))


@dataclass(frozen=True)
class WallTruth:
    """One wall: its JSON dictionaries, and its true heights on a 10 mm grid whose first cell's corner is (u0, v0)."""

    elevation: dict[str, Any]
    flatness: dict[str, Any]
    u0_mm: float
    v0_mm: float
    height_mm: Floats  # (rows, columns) NaN off the wall and in openings
    seen: Bools  # (rows, columns) some ray reaches the wall
    well_seen: Bools  # (rows, columns) some station covers it with no gap over 50 mm


def truth_of(building: Building, instrument: Instrument) -> tuple[dict[str, Any], list[WallTruth]]:
    """Work out truth.json, and each wall's true height map."""
    scene = pack(building.sheets)
    stands = stands_of(building, scene, instrument)
    walls = [_wall(building, scene, stands, i, instrument) for i in range(len(building.walls))]
    turn, offset = scan_from_room(building)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, offset
    area = sum(
        Polygon(_ring_of_chain(building, c)).area
        for c, chain in enumerate(building.room.chains)
        if chain.closed and not Polygon(_ring_of_chain(building, c)).exterior.is_ccw
    )
    holes = sum(
        Polygon(_ring_of_chain(building, c)).area
        for c, chain in enumerate(building.room.chains)
        if chain.closed and Polygon(_ring_of_chain(building, c)).exterior.is_ccw
    )
    document = {
        "format": "unfold-truth",
        "version": 1,
        "name": building.room.name,
        "description": building.room.description,
        "profile": instrument.name,
        "unit": building.room.unit,
        "room": {
            "up_scan": turn[:, 2].tolist(),
            "scan_from_level": matrix.tolist(),
            "floor_area_mm2": (area - holes) * 1e6,
        },
        "walls": [{**wall.elevation, "flatness": wall.flatness} for wall in walls],
        "not_walls": []
        if not any(piece.faces for piece in building.room.ceilings)
        else ["bulkhead faces may be listed"],
    }
    return document, walls


def _ring_of_chain(building: Building, c: int) -> Floats:
    pieces = []
    for wall in building.walls:
        if wall.chain == c:
            low = wall.outline.ring[: wall.outline.sides[0].last]
            pieces.append(wall.surface.points(low[:, 0], low[:, 1])[:, :2])
    return np.concatenate(pieces)


def _wall(building: Building, scene: Packed, stands: list[Stand], index: int, instrument: Instrument) -> WallTruth:
    wall = building.walls[index]
    ring = wall.outline.ring
    low, high = ring.min(axis=0), ring.max(axis=0)
    columns, rows = (math.ceil((high[k] - low[k]) / CELL_M) for k in (0, 1))
    u, v = np.meshgrid(low[0] + (np.arange(columns) + 0.5) * CELL_M, low[1] + (np.arange(rows) + 0.5) * CELL_M)
    face = _face(wall)
    on_wall = shapely.contains_xy(face, u, v)
    seen, well_seen = np.zeros(u.shape, bool), np.zeros(u.shape, bool)
    seen[on_wall], well_seen[on_wall] = reach_on(wall, u[on_wall], v[on_wall], scene, stands, instrument)
    heights = np.full(u.shape, np.nan)
    heights[on_wall] = wall.surface.heights(u[on_wall], v[on_wall]) * 1000
    elevation = _elevation(building, index, face, _rings(on_wall & ~seen, low), seen, on_wall)
    return WallTruth(elevation, _flatness(wall, seen, u, v), low[0] * 1000, low[1] * 1000, heights, seen, well_seen)


def _face(wall: BuiltWall) -> Polygon:
    face = Polygon(wall.outline.ring)
    for ring in wall.openings:
        cut = Polygon(ring.face)
        face = face.difference(shapely.union(cut, Polygon(ring.cut)))
    return face


def _rings(cells: Bools, low: Floats) -> list[list[list[float]]]:
    """Outer rings of the cells that are true, in millimetres; specks under 4 cells are left out."""
    boxes = [
        shapely.box(low[0] + j0 * CELL_M, low[1] + i * CELL_M, low[0] + j1 * CELL_M, low[1] + (i + 1) * CELL_M)
        for i in range(len(cells))
        for j0, j1 in _runs(cells[i])
    ]
    joined = shapely.union_all(boxes, grid_size=1e-6) if boxes else Polygon()
    return [
        [[1000 * x, 1000 * y] for x, y in piece.exterior.coords[:-1]]
        for piece in shapely.get_parts(joined)
        if piece.area >= 4 * CELL_M**2
    ]


def _runs(row: Bools) -> list[tuple[int, int]]:
    change = np.flatnonzero(np.diff(np.r_[0, row.astype(np.int8), 0]))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))


def _elevation(
    building: Building, index: int, face: Polygon, unseen: list[list[list[float]]], seen: Bools, on_wall: Bools
) -> dict[str, Any]:
    wall = building.walls[index]
    turn, offset = scan_from_room(building)
    frame = wall.surface.frame
    outline = wall.outline.ring * 1000
    openings = [_opening(f"T{index + 1}-O{k + 1}", ring) for k, ring in enumerate(wall.openings)]
    return {
        "id": f"T{index + 1}",
        "chain": wall.chain,
        "frame": {
            "origin_scan_m": (turn @ frame.origin_m + offset).tolist(),
            "right": (turn @ frame.right).tolist(),
            "up": (turn @ frame.up).tolist(),
            "inward": (turn @ frame.inward).tolist(),
        },
        "shape": "plane" if frame.radius_m is None else "cylinder",
        **({} if frame.radius_m is None else _curve(frame.radius_m)),
        "outline": outline.tolist(),
        "edges": [_edge(building, index, side, outline) for side in wall.outline.sides],
        "openings": openings,
        "unseen": unseen,
        "area_mm2": face.area * 1e6,
        "seen_share": float(seen.sum() / max(on_wall.sum(), 1)),
        "datum": {"level_v_mm": 0.0, "plumb_u_mm": 0.0},
    }


def _curve(radius_m: float) -> dict[str, Any]:
    return {"radius_mm": abs(radius_m) * 1000, "curvature": "concave" if radius_m > 0 else "convex"}


def _opening(name: str, ring: OpeningRing) -> dict[str, Any]:
    plan = ring.plan
    face = ring.face * 1000
    size = [plan.width * 1000] if plan.circle else _size(face, plan.v is None)
    return {
        "id": name,
        "kind": plan.kind,
        "ring": face.tolist(),
        "clear_ring": (ring.clear * 1000).tolist(),
        "shape": "circle" if plan.circle else "rectangle",
        "size_mm": size,
        "depth_mm": plan.depth * 1000 if plan.behind in ("solid", "pane") else None,
        "behind": plan.behind,
    }


def _size(face: Floats, on_floor: bool) -> list[float]:
    """Width and height; over a floor that slopes or sags the height is to its mean."""
    low = float(face[:-2, 1].mean()) if on_floor else float(face[:, 1].min())
    return [float(np.ptp(face[:, 0])), float(face[:, 1].max()) - low]


def _edge(building: Building, index: int, side: Any, outline: Floats) -> dict[str, Any]:
    chain = [i for i, wall in enumerate(building.walls) if wall.chain == building.walls[index].chain]
    place = chain.index(index)
    closed = building.room.chains[building.walls[index].chain].closed and len(chain) > 1
    run = (
        outline[side.first : side.last + 1]
        if side.last >= side.first
        else np.concatenate([outline[side.first :], outline[: side.last + 1]])
    )
    chord = run[-1] - run[0]
    across = np.array([-chord[1], chord[0]]) / max(np.hypot(*chord), 1e-9)
    kind, neighbour = side.kind, {"floor": "floor", "ceiling": "ceiling"}.get(side.kind)
    if side.kind in ("left", "right"):
        step = 1 if side.kind == "right" else -1
        beyond = place + step
        if closed or 0 <= beyond < len(chain):
            other = chain[beyond % len(chain)]
            kind, neighbour = _corner(building, *((index, other) if step > 0 else (other, index))), f"T{other + 1}"
        else:
            kind = "end"
    return {
        "kind": kind,
        "neighbour": neighbour,
        "first": side.first,
        "last": side.last,
        "bow_mm": float(np.abs((run - run[0]) @ across).max()),
    }


def _corner(building: Building, left: int, right: int) -> str:
    """Kind of the corner between a wall and the one at its right."""
    a, b = building.walls[left], building.walls[right]
    end = a.surface.frame.level_from_uvh(np.array([[a.width_m - 1e-4, 0, 0], [a.width_m, 0, 0]]))
    heading = end[1] - end[0]
    turn = heading[0] * b.surface.frame.right[1] - heading[1] * b.surface.frame.right[0]
    return "inside_corner" if turn < 0 else "outside_corner"


def _flatness(wall: BuiltWall, good: Bools, u: Floats, v: Floats) -> dict[str, Any]:
    """Lean, bow and straightedge of the noise-free surface where it was seen and is no opening."""
    curved = wall.surface.frame.radius_m is not None
    if good.sum() < 10:
        return {"lean_mm_per_m": None, "bow_horizontal_mm": None, "bow_vertical_mm": None, "straightedge": []}
    height = wall.surface.heights(u.ravel(), v.ravel()).reshape(u.shape) * 1000
    h, x, y = height[good], u[good], v[good]
    plane = np.linalg.lstsq(np.column_stack([np.ones(len(h)), x, y]), h, rcond=None)[0]
    quadratic = _quadratic(h, x, y)
    flat = height - (plane[0] + plane[1] * u + plane[2] * v)
    corner = (float(u.min() - CELL_M / 2), float(v.min() - CELL_M / 2))
    if curved:
        edges = [_on_curve(wall.surface.frame.radius_m, height, good, u, v, corner, *rule) for rule in RULES]
    else:
        edges = [_straightedge(flat, good, corner, *rule) for rule in RULES]
    return {
        "lean_mm_per_m": float(plane[2]),
        "bow_horizontal_mm": float(-quadratic[3] * (np.ptp(x) / 2) ** 2),
        "bow_vertical_mm": float(-quadratic[5] * (np.ptp(y) / 2) ** 2),
        "flatness_least_squares_mm": float(flat[good].max() - flat[good].min()),
        "straightedge": edges,
    }


def _quadratic(h: Floats, x: Floats, y: Floats) -> Floats:
    """Least-squares coefficients of 1, x, y, x x, x y, y y about the middle of the extent."""
    x, y = x - (x.max() + x.min()) / 2, y - (y.max() + y.min()) / 2
    columns = np.column_stack([np.ones(len(h)), x, y, x * x, x * y, y * y])
    return np.asarray(np.linalg.lstsq(columns, h, rcond=None)[0])


def _on_curve(
    radius_m: float | None,
    height: Floats,
    good: Bools,
    u: Floats,
    v: Floats,
    corner: tuple[float, float],
    rule: str,
    length_mm: float,
    tolerance_mm: float,
) -> dict[str, Any]:
    """The worse of a straightedge along the axis and a template of the surface's own radius, at most 45 degrees of it.

    Heights are those over the least-squares cylinder of what was seen (ISO 12180-1), unrolled.
    """
    assert radius_m is not None
    turn = u[good] / radius_m
    places = np.column_stack([np.ones(turn.shape), np.cos(turn), np.sin(turn), v[good] * np.cos(turn)])
    places = np.column_stack([places, v[good] * np.sin(turn)])
    form = height.copy()
    form[good] -= places @ np.linalg.lstsq(places, height[good], rcond=None)[0]
    form[~good] = 0.0
    around = min(length_mm, 1000 * abs(radius_m) * math.pi / 4)
    found = [
        worst_at_angle(form, good, CELL_M * 1000, length, angle) for length, angle in ((length_mm, 90.0), (around, 0.0))
    ]
    worst = max(found, key=lambda one: one.gap)
    return _entry(worst, corner, rule, length_mm, tolerance_mm)


def _straightedge(
    flat: Floats, good: Bools, corner: tuple[float, float], rule: str, length_mm: float, tolerance_mm: float
) -> dict[str, Any]:
    worst = worst_straightedge(flat, good, CELL_M * 1000, length_mm)
    return _entry(worst, corner, rule, length_mm, tolerance_mm)


def _entry(
    worst: Worst, corner: tuple[float, float], rule: str, length_mm: float, tolerance_mm: float
) -> dict[str, Any]:
    u0, v0 = corner
    return {
        "rule": rule,
        "length_mm": length_mm,
        "tolerance_mm": tolerance_mm,
        "worst_mm": worst.gap,
        "at": {"u": u0 * 1000 + worst.u, "v": v0 * 1000 + worst.v, "angle_deg": worst.angle_deg},
        "verdict": "conforms" if worst.gap <= tolerance_mm else "does not conform",
    }
