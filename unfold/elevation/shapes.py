"""Rectangles fitted to the rays around them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.edge_fit import EdgeFit, fit_edge
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.local_rays import Box, LocalRays
from unfold.elevation.point_edge import end_of_points

SIDES = ("left", "bottom", "right", "top")
SLOPE_SD = 0.0015  # jambs and boxes are set to about 1.5 mm/m, unless the rays say otherwise
UNSEEN_EDGE_MM = 12.0  # standard uncertainty of an edge that no ray placed: a cell and a half
SMALL_MM = 320.0  # up to here the sides are fitted twice
SKIRTING_MM = 200.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A fitted ring (n, 2) in wall coordinates, counter-clockwise."""

    kind: Literal["rectangle", "circle", "polygon"]
    ring: Floats
    size_mm: tuple[float, ...]
    standard_uncertainty_mm: float  # of the width, height or diameter, the largest
    edges: tuple[EdgeFit | None, ...]

    @property
    def stretch(self) -> float:
        """How much farther than itself a shift of the stations against each other moves the size: the larger of two.

        Two sides seen by different stations both move; one seen at an angle moves farther.
        """
        own = [1.0 if edge is None else edge.stretch for edge in self.edges] or [1.0] * 4
        return float(max(np.hypot(own[0], own[2]), np.hypot(own[1], own[3])))


EdgePlacer: TypeAlias = Callable[[EdgeRays, float, float, float, EdgeRays], EdgeFit | None]
"""Finds an edge from the rays beside it, its rough place, the tolerance of the front piece, the reach, mm, and the rays
before and after its ends."""


def place_between(rays: EdgeRays, start_mm: float, tolerance_mm: float, reach_mm: float, _: EdgeRays) -> EdgeFit | None:
    """Place an edge between the rays on its two sides; plumb or level unless they say otherwise."""
    return fit_edge(rays, start_mm, tolerance_mm, SLOPE_SD, reach_mm)


def place_at_end(
    rays: EdgeRays, start_mm: float, tolerance_mm: float, reach_mm: float, around: EdgeRays
) -> EdgeFit | None:
    """Place an edge where the front piece's points end, for points whose station is not known."""
    return end_of_points(rays, start_mm, tolerance_mm, SLOPE_SD, reach_mm, around)


def placer_for(rays: LocalRays) -> EdgePlacer:
    """The way to place edges among these rays: points without a station all count as seen square on."""
    return place_between if stations_known(rays) else place_at_end


def stations_known(rays: LocalRays) -> bool:
    """Whether any ray tells where it came from."""
    return bool(np.any(rays.da) or np.any(rays.db))


def fit_rectangle(
    rays: LocalRays,
    box: Box,
    turn_deg: float,
    tolerance_mm: float,
    front_outside: bool,
    fixed_bottom: float | None,
    place: EdgePlacer = place_between,
) -> Shape:
    """Fit the four sides one by one; a side that no ray placed keeps its rough place and says how rough it is.

    Where the sides agree that the whole is turned, all of them are fitted again along its turned axes. `fixed_bottom`
    is the level of a floor that the rectangle stands on, None where its lower side is to be fitted; `place` finds one
    edge from the rays beside it.
    """
    lines, fits = _fit_sides(rays, box, tolerance_mm, front_outside, fixed_bottom, place)
    if max(box[2] - box[0], box[3] - box[1]) < SMALL_MM:  # a rough place hides which side face a ray met
        box = _nearer(box, lines, fits)
        lines, fits = _fit_sides(rays, box, tolerance_mm, front_outside, fixed_bottom, place)
    turn = _common_turn(lines, fits) if fixed_bottom is None else 0.0
    if turn != 0.0:
        rays, box, turn_deg = rays.turned(turn), _turned_box(box, turn), turn_deg + turn
        lines, fits = _fit_sides(rays, box, tolerance_mm, front_outside, None, place)
    corners = _corners(lines)
    uncertain = [UNSEEN_EDGE_MM if fit is None else fit.standard_uncertainty_mm for fit in fits]
    if fixed_bottom is not None:
        uncertain[1] = 0.0
    across, up = np.hypot(uncertain[0], uncertain[2]), np.hypot(uncertain[1], uncertain[3])
    size = (
        float(np.mean(corners[[1, 2], 0]) - np.mean(corners[[0, 3], 0])),
        float(np.mean(corners[[2, 3], 1]) - np.mean(corners[[0, 1], 1])),
    )
    return Shape("rectangle", turn_back(corners, turn_deg), size, float(max(across, up)), tuple(fits))


def _fit_sides(
    rays: LocalRays, box: Box, tolerance_mm: float, front_outside: bool, fixed_bottom: float | None, place: EdgePlacer
) -> tuple[list[tuple[float, float]], list[EdgeFit | None]]:
    """The sides left, bottom, right, top as (offset, slope), and the fits behind them."""
    lines: list[tuple[float, float]] = []
    fits: list[EdgeFit | None] = []
    for which, rough in zip(SIDES, box, strict=True):
        if which == "bottom" and fixed_bottom is not None:
            lines.append((fixed_bottom, 0.0))
            fits.append(None)
            continue
        upright = which in ("left", "right")
        low, high = (box[1], box[3]) if upright else (box[0], box[2])
        margin = min(15.0, 0.15 * (high - low))
        if upright and fixed_bottom is not None and not front_outside:
            low += min(SKIRTING_MM, 0.3 * (high - low))  # a skirting board ends at the casing, as proud as it
        sign = 1.0 if (which in ("left", "bottom")) == front_outside else -1.0
        reach = min(40.0, 0.45 * (box[2] - box[0] if upright else box[3] - box[1]) + 8.0)
        beside = rays.side(which, low + margin, high - margin, front_outside, box)
        around = rays.past_ends(which, low, high, front_outside)
        edge = place(beside, sign * rough, tolerance_mm, reach, around)
        fits.append(edge)
        lines.append((rough, 0.0) if edge is None else (sign * edge.offset_mm, sign * edge.slope))
    return lines, fits


def _nearer(box: Box, lines: list[tuple[float, float]], fits: list[EdgeFit | None]) -> Box:
    """The rough box with the sides that were placed."""
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    placed = [
        rough if fit is None else line[0] + line[1] * middle[1 - k % 2]
        for k, (rough, line, fit) in enumerate(zip(box, lines, fits, strict=True))
    ]
    sound = placed[2] - placed[0] > 0.5 * (box[2] - box[0]) and placed[3] - placed[1] > 0.5 * (box[3] - box[1])
    return (placed[0], placed[1], placed[2], placed[3]) if sound else box


def _common_turn(lines: list[tuple[float, float]], fits: list[EdgeFit | None]) -> float:
    """Counter-clockwise turn of the whole rectangle in degrees, by the sides' slopes; 0 unless it is beyond doubt.

    A side that the rays held plumb or level by default counts as little as its own slope's uncertainty allows.
    """
    turns, weights = [], []
    for index, (line, fit) in enumerate(zip(lines, fits, strict=True)):
        if fit is not None and fit.slope_uncertainty > 0:
            turns.append(-line[1] if index in (0, 2) else line[1])
            weights.append(fit.slope_uncertainty**-2.0)
    if not turns:
        return 0.0
    turn = float(np.average(turns, weights=weights))
    beyond_doubt = abs(turn) > max(2 * SLOPE_SD, 4.0 / np.sqrt(np.sum(weights)))
    return float(np.degrees(np.arctan(turn))) if beyond_doubt else 0.0


def _turned_box(box: Box, turn_deg: float) -> Box:
    """A box of the same size about the same middle, along axes turned by an angle."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    a, b = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    a, b = c * a + s * b, -s * a + c * b
    half_a, half_b = (box[2] - box[0]) / 2, (box[3] - box[1]) / 2
    return a - half_a, b - half_b, a + half_a, b + half_b


def _corners(lines: list[tuple[float, float]]) -> Floats:
    """Corners of four sides left, bottom, right, top given as (offset, slope), counter-clockwise from below left."""
    left, bottom, right, top = lines
    return np.array([_meet(left, bottom), _meet(right, bottom), _meet(right, top), _meet(left, top)])


def _meet(upright: tuple[float, float], level: tuple[float, float]) -> tuple[float, float]:
    """Solve a = o1 + s1 b and b = o2 + s2 a."""
    a = (upright[0] + upright[1] * level[0]) / (1 - upright[1] * level[1])
    return a, level[0] + level[1] * a


def turn_back(points: Floats, turn_deg: float) -> Floats:
    """Points (n, 2) from axes turned by `turn_deg` back to (u, v)."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.asarray(points @ np.array([[c, s], [-s, c]]))
