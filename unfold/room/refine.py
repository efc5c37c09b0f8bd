"""Each wall's base surface by robust least squares on its own cells, and its frame, extent and ends."""

import math
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.room.cells import LevelCells
from unfold.room.chains import Run, span
from unfold.room.evidence import Columns
from unfold.room.frame import WallFrame
from unfold.room.uprights import Circle, Line, fit_circle

TURN_PRIOR, LEAN_PRIOR = 0.02, 0.02  # a wall with too few cells to tell keeps its trace's direction, and plumb
SQUARE_PRIOR = 0.004  # the cheek of a step is square to the walls it joins, within a few millimetres a metre
CLEAR_M = 0.06  # cells closer than this to a wall's ends, floor or ceiling are left out of the fit


@dataclass(frozen=True, slots=True)
class Base:
    """A wall's base surface before its corners are known.

    A plane: inward . p = offset, with `inward` leaning with the wall. A cylinder: the upright through `circle`.
    """

    inward: Floats  # (3,) of the plane; at the middle of the run for a cylinder
    offset: float
    circle: Circle | None
    concave: bool
    noise_m: float

    def trace_at(self, z: float) -> Line | Circle:
        """The surface's trace in plan at a height; a line's normal points inward."""
        if self.circle is not None:
            return self.circle
        flat = self.inward[:2]
        length = float(np.hypot(*flat))
        return Line(flat / length, (self.offset - self.inward[2] * z) / length)


def fit_base(run: Run, one: Columns, cells: LevelCells, heights: tuple[float, float]) -> Base:
    """Fit a run's base surface to the storey's cells on it; `heights` are those of floor and ceiling there."""
    points = cells.level_m[one.own]
    a, b = sorted(span(run, one))
    margin = min(CLEAR_M, 0.2 * (b - a))
    along = one.trace.along(points[:, :2])
    if isinstance(one.trace, Circle):
        along = a + np.mod(along - a, 2 * math.pi * one.trace.radius)
    inside = (along > a + margin) & (along < b - margin)
    points = points[inside & (points[:, 2] > heights[0] + CLEAR_M) & (points[:, 2] < heights[1] - CLEAR_M)]
    if isinstance(one.trace, Circle):
        return _fit_cylinder(one.trace, run, points, cells.tolerance_m)
    direction = run.end - run.start
    inward = one.trace.normal * np.sign(np.array([direction[1], -direction[0]]) @ one.trace.normal)
    turn_prior = TURN_PRIOR if one.reach_m > 1.0 else SQUARE_PRIOR
    return _fit_plane(inward, one.trace, points, cells.tolerance_m, turn_prior)


def _fit_plane(inward: Floats, line: Line, points: Floats, tolerance_m: float, turn_prior: float) -> Base:
    """Distance = c0 + c1 along + c2 up by least squares with Tukey's weights, the scale from the residuals."""
    across = points[:, :2] @ inward
    along = points[:, :2] @ np.array([inward[1], -inward[0]])
    centre = np.array([along.mean(), points[:, 2].mean()]) if len(points) else np.zeros(2)
    rows = np.stack([np.ones(len(points)), along - centre[0], points[:, 2] - centre[1]], axis=1)
    start = float(line.offset * np.sign(inward @ line.normal))
    if len(points) < 20:
        return Base(np.r_[inward, 0.0], start, None, False, tolerance_m)
    fit, scale = np.array([start, 0.0, 0.0]), tolerance_m / 4.0
    residual = across - rows @ fit
    for _ in range(8):
        weight = np.square(np.clip(1.0 - np.square(residual / (4.0 * scale)), 0.0, None))
        weighted = (rows * weight[:, None]).T
        left = weighted @ rows + np.square(scale) * np.diag([0.0, turn_prior**-2, LEAN_PRIOR**-2])
        fit = np.linalg.solve(left, weighted @ across)
        residual = across - rows @ fit
        scale = max(1.4826 * float(np.median(np.abs(residual))), 2e-4)
    normal = np.r_[inward - fit[1] * np.array([inward[1], -inward[0]]), -fit[2]]
    length = float(np.linalg.norm(normal))
    return Base(normal / length, float(fit[0] - fit[1] * centre[0] - fit[2] * centre[1]) / length, None, False, scale)


def _fit_cylinder(circle: Circle, run: Run, points: Floats, tolerance_m: float) -> Base:
    scale = tolerance_m
    for _ in range(5 if len(points) >= 20 else 0):
        residual = circle.distance(points[:, :2])
        weight = np.square(np.clip(1.0 - np.square(residual / (4.0 * scale)), 0.0, None))
        fitted = fit_circle(points[:, :2], weight, circle, steps=5)
        if abs(fitted.radius - circle.radius) > 0.2 * circle.radius:
            break
        circle = fitted
        scale = max(1.4826 * float(np.median(np.abs(circle.distance(points[:, :2])))), 2e-4)
    radial = (run.middle - circle.centre) / np.linalg.norm(run.middle - circle.centre)
    walk = _turning(run, circle)
    concave = walk < 0  # clockwise with the room on the right: the axis lies in the room
    inward = -radial if concave else radial
    return Base(np.r_[inward, 0.0], 0.0, circle, concave, scale)


def _turning(run: Run, circle: Circle) -> float:
    """Sign of the way the run turns about the centre: +1 counter-clockwise."""
    angles = [math.atan2(*(point - circle.centre)[::-1]) for point in (run.start, run.middle)]
    return 1.0 if math.sin(angles[1] - angles[0]) > 0 else -1.0


def corner(first: Base, second: Base, near: Floats, z: float, cells: LevelCells) -> Floats | None:
    """Where two base surfaces meet in plan at height z, close to `near`; None when they do not.

    A line and an arc that all but touch meet twice close together: the meeting is then the one that leaves the cells
    around it nearest to their own surface.
    """
    a, b = first.trace_at(z), second.trace_at(z)
    points = _meetings(a, b)
    points = points[np.hypot(*(points - near).T) < 0.6]
    if len(points) < 2:
        return points[0] if len(points) else None
    around = cells.level_m[np.abs(cells.level_m[:, :2] - near).max(axis=1) < 1.0]
    around = around[np.abs(around[:, 2] - z) < 0.6, :2]
    ahead = np.array([-first.inward[1], first.inward[0]])  # walking direction of the first, room on the right
    on_a, on_b = np.abs(a.distance(around)), np.abs(b.distance(around))
    mine = np.minimum(on_a, on_b) < 0.02
    misfit = [
        float(np.sum(np.where((around[mine] - point) @ ahead < 0.0, on_a[mine], on_b[mine]))) for point in points
    ]
    return np.asarray(points[int(np.argmin(misfit))])


def _meetings(a: Line | Circle, b: Line | Circle) -> Floats:
    if isinstance(a, Line) and isinstance(b, Line):
        matrix = np.stack([a.normal, b.normal])
        if abs(np.linalg.det(matrix)) < math.sin(math.radians(2.0)):
            return np.empty((0, 2))
        return np.linalg.solve(matrix, np.array([a.offset, b.offset]))[None]
    if isinstance(a, Circle) and isinstance(b, Circle):
        between = b.centre - a.centre
        distance = float(np.hypot(*between))
        if distance < 1e-9:
            return np.empty((0, 2))
        normal = between / distance
        chord = (a.radius**2 - b.radius**2 + distance**2) / (2 * distance)
        return _meetings(Line(normal, float(normal @ a.centre + chord)), a)
    line, circle = (a, b) if isinstance(a, Line) else (b, a)
    assert isinstance(line, Line) and isinstance(circle, Circle)
    off = float(line.distance(circle.centre[None])[0])
    half = math.sqrt(max(circle.radius**2 - off**2, 0.0))
    if abs(off) > circle.radius + 0.05:
        return np.empty((0, 2))
    foot = float(line.along(circle.centre[None])[0])
    return line.at(np.array([foot - half, foot + half]))


def frame_between(base: Base, start: Floats, end: Floats, floor_z: float, middle_z: float) -> tuple[WallFrame, float]:
    """Frame with u = 0 at `start` (2,) and v = 0 at the floor, and the width to `end`; both given at `middle_z`."""
    if base.circle is not None:
        return _cylinder_frame(base, start, end, floor_z)
    flat = base.inward[:2] / np.hypot(*base.inward[:2])
    right = np.array([-flat[1], flat[0], 0.0])
    up = np.cross(base.inward, right)
    at = np.r_[start, middle_z]
    at = at - (base.inward @ at - base.offset) * base.inward
    origin = at + up * (floor_z - at[2]) / up[2]
    return WallFrame(origin, right, up, base.inward), float((end - start) @ right[:2])


def _cylinder_frame(base: Base, start: Floats, end: Floats, floor_z: float) -> tuple[WallFrame, float]:
    circle = base.circle
    assert circle is not None
    radial = (start - circle.centre) / np.linalg.norm(start - circle.centre)
    inward = np.r_[-radial if base.concave else radial, 0.0]
    right = np.array([-inward[1], inward[0], 0.0])
    angle = math.atan2(*(end - circle.centre)[::-1]) - math.atan2(*(start - circle.centre)[::-1])
    sweep = (-angle if base.concave else angle) % (2 * math.pi)
    if sweep < 1e-6:
        sweep = 2 * math.pi
    origin = np.r_[circle.centre + circle.radius * radial, floor_z]
    radius = circle.radius if base.concave else -circle.radius
    seam = -0.5 * circle.radius * (2 * math.pi - sweep)  # opposite the wall's middle
    return WallFrame(origin, right, np.array([0.0, 0.0, 1.0]), inward, radius, seam), circle.radius * sweep
