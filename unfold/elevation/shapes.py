"""Rectangles and circles fitted to the rays around them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.edge_fit import EdgeFit, EdgeRays, fit_edge
from unfold.elevation.local_rays import Box, LocalRays
from unfold.elevation.point_edge import end_of_points
from unfold.elevation.point_ring import BLURS_MM, circle_in_points, field_likelihood, point_field
from unfold.elevation.rings import signed_distance

SIDES = ("left", "bottom", "right", "top")
SLOPE_SD = 0.0015  # jambs and boxes are set to about 1.5 mm/m, unless the rays say otherwise
UNSEEN_EDGE_MM = 12.0  # standard uncertainty of an edge that no ray placed: a cell and a half
SMALL_MM = 320.0  # up to here the sides are fitted twice
SKIRTING_MM = 200.0
CIRCLE_POINTS = 90


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


EdgePlacer: TypeAlias = Callable[[EdgeRays, float, float, float], EdgeFit | None]
"""Finds an edge from the rays beside it, its rough place, the tolerance of the front piece and the reach, mm."""


def place_between(rays: EdgeRays, start_mm: float, tolerance_mm: float, reach_mm: float) -> EdgeFit | None:
    """Place an edge between the rays on its two sides; plumb or level unless they say otherwise."""
    return fit_edge(rays, start_mm, tolerance_mm, SLOPE_SD, reach_mm)


def place_at_end(rays: EdgeRays, start_mm: float, tolerance_mm: float, reach_mm: float) -> EdgeFit | None:
    """Place an edge where the front piece's points end, for points whose station is not known."""
    return end_of_points(rays, start_mm, tolerance_mm, SLOPE_SD, reach_mm)


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
        edge = place(beside, sign * rough, tolerance_mm, reach)
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


def fit_circle(rays: LocalRays, box: Box, turn_deg: float, tolerance_mm: float, front_outside: bool) -> Shape | None:
    """Fit a circle by maximum likelihood, the blur with it; None when one side of it holds no ray."""
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    start = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2, (box[2] - box[0] + box[3] - box[1]) / 4])
    if front_outside and not stations_known(rays):
        field = point_field(rays.a, rays.b, rays.depth, box, tolerance_mm)
        found, uncertainty = circle_in_points(field, start)
        return _circle(found[:2], float(found[2]), uncertainty, turn_deg)
    a, b, front = _circle_labels(rays, start, tolerance_mm, front_outside)
    near = np.hypot(a - start[0], b - start[1]) < start[2] + 40.0
    a, b, front = a[near], b[near], front[near]
    if not (np.any(front) and np.any(~front)):
        return None

    def misfit(parameters: Floats) -> float:
        distance = np.hypot(a - parameters[0], b - parameters[1]) - parameters[2]
        return -_label_likelihood(distance if front_outside else -distance, front, float(np.exp(parameters[3])))

    simplex = np.array([[*start, 0.7]] * 5) + np.diag([6.0, 6.0, 6.0, 0.7, 0.0])[:, :4]
    best = minimize(
        misfit,
        [*start, 0.7],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.02, "fatol": 0.01, "maxiter": 400},
    )
    return _circle(best.x[:2], float(best.x[2]), _radius_uncertainty(misfit, best.x), turn_deg)


def _circle(middle: Floats, radius: float, uncertainty: float, turn_deg: float) -> Shape:
    turn = np.linspace(0, 2 * np.pi, CIRCLE_POINTS, endpoint=False)
    ring = middle + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return Shape("circle", turn_back(ring, turn_deg), (2 * radius,), 2 * uncertainty, ())


def _circle_labels(
    rays: LocalRays, start: Floats, tolerance_mm: float, front_outside: bool
) -> tuple[Floats, Floats, np.ndarray]:
    """Where each ray counts against a circle, and whether it met the front piece; see `edge_fit` for the reasons."""
    front = rays.depth < tolerance_mm
    a = np.where(front, rays.a + rays.da * rays.depth, rays.a)
    b = np.where(front, rays.b + rays.db * rays.depth, rays.b)
    out = np.column_stack([rays.a - start[0], rays.b - start[1]])
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)
    toward = (rays.da * out[:, 0] + rays.db * out[:, 1]) * (1.0 if front_outside else -1.0)
    ended = np.hypot(rays.a + rays.da * rays.depth - start[0], rays.b + rays.db * rays.depth - start[1])
    side_face = ~front & (toward > 0.02) & (np.abs(ended - start[2]) < 8.0)
    # the side face itself lies at the edge, whatever its depth: it counts for neither side
    keep = ~side_face
    return a[keep], b[keep], front[keep]


def _label_likelihood(beyond: Floats, front: np.ndarray, blur: float) -> float:
    """Log-likelihood of labels at signed distances on the front piece's side of an edge (positive: on it)."""
    share = 1.0 / (1.0 + np.exp(-np.clip(beyond / blur, -40, 40)))
    chance = 0.02 + 0.96 * share
    return float(np.sum(np.log(np.where(front, chance, 1 - chance))))


def _radius_uncertainty(misfit: object, best: Floats) -> float:
    """Half the width over which the likelihood stays within 1/2 of its best, the centre and blur held."""
    assert callable(misfit)
    least = misfit(best)
    steps = np.arange(0.1, 12.0, 0.1)
    widths = []
    for sign in (1.0, -1.0):
        beyond = next((s for s in steps if misfit(best + np.array([0, 0, sign * s, 0])) > least + 0.5), 12.0)
        widths.append(beyond)
    return max(float(np.mean(widths)), 0.1)


def ring_likelihood(
    rays: LocalRays, shape: Shape, box: Box, turn_deg: float, tolerance_mm: float, front_outside: bool
) -> float:
    """Log-likelihood of a ring for the rays around it, to compare a circle with a rectangle."""
    if front_outside and not stations_known(rays):
        field = point_field(rays.a, rays.b, rays.depth, box, tolerance_mm)
        cells, side = (signed_distance(shape.ring, turn_back(at, turn_deg)) for at in (field.cells, field.side))
        around = float(np.hypot(*(shape.ring - np.roll(shape.ring, 1, axis=0)).T).sum())
        return max(field_likelihood(field, cells, side, around, blur) for blur in BLURS_MM)
    start = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2, (box[2] - box[0] + box[3] - box[1]) / 4])
    a, b, front = _circle_labels(rays, start, tolerance_mm, front_outside)
    distance = signed_distance(shape.ring, turn_back(np.column_stack([a, b]), turn_deg))
    beyond = distance if front_outside else -distance
    return max(_label_likelihood(beyond, front, blur) for blur in (0.8, 1.5, 3.0))


def likeliest_rectangle(rays: LocalRays, shape: Shape, box: Box, turn_deg: float, tolerance_mm: float) -> float:
    """The log-likelihood of the likeliest upright rectangle near a fitted one.

    The fitted one has the mean of each side's posterior, which is not its likeliest place: a circle, which is placed by
    the likelihood alone, would win against it too often.
    """
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    turned = turn_back(shape.ring, -turn_deg)
    start = np.concatenate([turned.min(axis=0), turned.max(axis=0)])

    def misfit(sides: Floats) -> float:
        corners = np.array([[sides[0], sides[1]], [sides[2], sides[1]], [sides[2], sides[3]], [sides[0], sides[3]]])
        ring = Shape("rectangle", turn_back(corners, turn_deg), (), 0.0, ())
        return -ring_likelihood(rays, ring, box, turn_deg, tolerance_mm, True)

    simplex = start + np.vstack([np.zeros(4), np.diag([3.0, 3.0, -3.0, -3.0])])
    found = minimize(
        misfit,
        start,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.1, "fatol": 0.05, "maxiter": 150},
    )
    return -float(found.fun)
