"""Where a wall's surface meets its neighbours, the floor and the ceiling: its true, scribed outline."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.simulate.room import OpeningPlan
from tests.simulate.sheets import Sheet
from unfold.arrays import Bools, Floats

STEP_M = 0.01
CLOSE_M = 1e-9


@dataclass(frozen=True)
class Side:
    """A run of the outline: points first..last in ring order; `kind` is what it meets."""

    kind: str  # "floor", "right", "ceiling", "left", "end"
    first: int
    last: int


@dataclass(frozen=True)
class Outline:
    ring: Floats  # (n, 2) counter-clockwise seen from inside, metres
    sides: tuple[Side, ...]


@dataclass(frozen=True)
class OpeningRing:
    """An opening's rings in its wall, metres, counter-clockwise."""

    plan: OpeningPlan
    clear: Floats  # (n, 2) the opening itself
    face: Floats  # (n, 2) what the wall's visible face ends at: the casing's outer edge, where there is one
    cut: Floats  # (n, 2) what is taken out of the wall's sheet; below the floor where the opening stands on it


def wall_outline(
    surface: Sheet,
    width: float,
    left: Sheet | None,
    right: Sheet | None,
    floor: Sheet,
    ceilings: list[tuple[Sheet, Polygon | None]],
    wall_top: float | None,
) -> Outline:
    """Trace a wall's outline, its corners and edges solved to a nanometre and sampled every 10 mm."""

    def bottom(u: Floats) -> Floats:
        return _solve_v(surface, floor, u)

    def side(neighbour: Sheet | None, start: float, v: Floats) -> Floats:
        return np.full(len(v), start) if neighbour is None else _solve_u(surface, neighbour, v, start)

    corners = {}
    for name, neighbour, start in (("left", left, 0.0), ("right", right, width)):
        inward = STEP_M if name == "left" else -STEP_M
        for high in (False, True):
            u, v = np.array([start]), np.zeros(1)
            for _ in range(5):
                # the ceiling piece is chosen a little inside the wall, its height exactly at the corner
                v = _top(surface, u, ceilings, wall_top, inward) if high else bottom(u)
                u = side(neighbour, start, v)
            corners[name, high] = (u[0], v[0])
    u_bottom = np.linspace(corners["left", False][0], corners["right", False][0], _count(width))
    low = np.column_stack([u_bottom, bottom(u_bottom)])
    crest = _top_run(surface, corners, ceilings, wall_top, width)
    v_right = np.linspace(low[-1, 1], crest[0, 1], _count(crest[0, 1] - low[-1, 1]))[1:-1]
    v_left = np.linspace(crest[-1, 1], low[0, 1], _count(crest[-1, 1] - low[0, 1]))[1:-1]
    rising = np.column_stack([side(right, width, v_right), v_right])
    falling = np.column_stack([side(left, 0.0, v_left), v_left])
    ring = np.concatenate([low, rising, crest, falling])
    a, b, c = len(low) - 1, len(low) + len(rising), len(low) + len(rising) + len(crest) - 1
    return Outline(
        ring,
        (Side("floor", 0, a), Side("right", a, b), Side("ceiling" if ceilings else "end", b, c), Side("left", c, 0)),
    )


def _count(length: float) -> int:
    return int(np.ceil(length / STEP_M)) + 1


def _solve_v(surface: Sheet, floor: Sheet, u: Floats) -> Floats:
    """The v at which the wall meets a floor or ceiling sheet above or below places u (n,)."""
    v = np.full(len(u), floor.frame.origin_m[2])
    facing = floor.frame.inward[2]
    for _ in range(40):
        gap = floor.gap(surface.points(u, v))
        v = v - gap * facing
        if np.abs(gap).max(initial=0.0) < CLOSE_M:
            break
    return v


def _solve_u(surface: Sheet, neighbour: Sheet, v: Floats, start: float) -> Floats:
    """The u near `start` at which the wall meets a neighbour wall at heights v (n,): secant steps."""
    u0 = np.full(len(v), start)
    gap0 = neighbour.gap(surface.points(u0, v))
    u1 = u0 + 1e-4
    for _ in range(30):
        gap1 = neighbour.gap(surface.points(u1, v))
        if np.abs(gap1).max(initial=0.0) < CLOSE_M:
            break
        change = gap1 - gap0
        step = np.where(np.abs(change) > 1e-15, -gap1 * (u1 - u0) / np.where(change == 0, 1, change), 0.0)
        u0, gap0, u1 = u1, gap1, u1 + np.clip(step, -0.2, 0.2)
    return u1


def _ceiling_choice(
    surface: Sheet, u: Floats, ceilings: list[tuple[Sheet, Polygon | None]]
) -> tuple[list[Floats], list[Bools]]:
    """Each piece's height over places u and whether the piece reaches the wall there."""
    foot = surface.points(u, np.full(len(u), 1.0)) + 0.005 * _inward(surface, u)
    heights, reached = [], []
    for sheet, area in ceilings:
        heights.append(_solve_v(surface, sheet, u))
        reached.append(np.ones(len(u), bool) if area is None else shapely.contains_xy(area, foot[:, 0], foot[:, 1]))
    return heights, reached


def _inward(surface: Sheet, u: Floats) -> Floats:
    h0 = surface.frame.level_from_uvh(np.column_stack([u, 0 * u, 0 * u]))
    return surface.frame.level_from_uvh(np.column_stack([u, 0 * u, 0 * u + 1.0])) - h0


def _top(
    surface: Sheet, u: Floats, ceilings: list[tuple[Sheet, Polygon | None]], wall_top: float | None, inward: float = 0.0
) -> Floats:
    """The wall's upper end over places u; the ceiling piece is chosen `inward` beside them."""
    if wall_top is not None:
        return np.full(len(u), wall_top)
    heights = _ceiling_choice(surface, u, ceilings)[0]
    reached = _ceiling_choice(surface, u + inward, ceilings)[1]
    lowest: Floats = np.min(
        [np.where(yes, height, np.inf) for height, yes in zip(heights, reached, strict=True)], axis=0
    )
    return lowest


def _top_run(
    surface: Sheet,
    corners: dict[tuple[str, bool], tuple[float, float]],
    ceilings: list[tuple[Sheet, Polygon | None]],
    wall_top: float | None,
    width: float,
) -> Floats:
    """The upper edge from right to left, with an upright step wherever another ceiling piece begins."""
    right, left = corners["right", True], corners["left", True]
    u = np.linspace(right[0], left[0], _count(width))[1:-1]
    v = _top(surface, u, ceilings, wall_top)
    run = [right]
    for i in range(len(u)):
        if i > 0 and abs(v[i] - v[i - 1]) > 0.02:
            run += _step(surface, u[i - 1], u[i], ceilings, wall_top)
        run.append((u[i], v[i]))
    if len(u) and abs(left[1] - v[-1]) > 0.02:
        run += _step(surface, u[-1], left[0], ceilings, wall_top)
    return np.array([*run, left])


def _step(
    surface: Sheet, u0: float, u1: float, ceilings: list[tuple[Sheet, Polygon | None]], wall_top: float | None
) -> list[tuple[float, float]]:
    """Both ends of an upright step of the upper edge between places u0 and u1, sampled between."""
    low, high = u0, u1

    def at(u: float) -> float:
        return float(_top(surface, np.array([u]), ceilings, wall_top)[0])

    before = at(u0)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if abs(at(middle) - before) < 0.02 else (low, middle)
    rise = np.linspace(at(low), at(high), _count(abs(at(high) - at(low))))
    return [(low, float(v)) for v in rise]


def opening_ring(surface: Sheet, plan: OpeningPlan, floor: Sheet) -> OpeningRing:
    """An opening's rings on its wall."""
    if plan.circle:
        turn = np.linspace(0, 2 * np.pi, 181)[:-1]
        radius = plan.width / 2
        ring = np.column_stack(
            [plan.u + radius + radius * np.cos(turn), (plan.v or 0.0) + radius + radius * np.sin(turn)]
        )
        return OpeningRing(plan, ring, ring, ring)
    clear = _rectangle(surface, floor, plan.u, plan.u + plan.width, plan.v, _head(plan))
    cut = (
        clear.copy()
        if plan.v is not None
        else _rectangle(surface, floor, plan.u, plan.u + plan.width, -0.2, _head(plan))
    )
    if plan.casing is None:
        return OpeningRing(plan, clear, clear, cut)
    edge = plan.casing[0]
    low = None if plan.v is None else plan.v - edge
    face = _rectangle(surface, floor, plan.u - edge, plan.u + plan.width + edge, low, _head(plan) + edge)
    return OpeningRing(plan, clear, face, cut)


def _head(plan: OpeningPlan) -> float:
    return (plan.v or 0.0) + plan.height


def _rectangle(surface: Sheet, floor: Sheet, u0: float, u1: float, v0: float | None, v1: float) -> Floats:
    if v0 is not None:
        return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
    u = np.linspace(u0, u1, _count(u1 - u0))
    low = np.column_stack([u, _solve_v(surface, floor, u)])
    return np.concatenate([low, [[u1, v1], [u0, v1]]])
