"""Upright surfaces in plan: lines and circles that cells with level normals lie on, by random sampling (RANSAC).

Cells with level normals are gathered into strips: the cells of one small square of the plan with like normals. A strip
weighs as many cells as stand in it. Lines come from a strip and its neighbours, circles from two strips with normals.

Source: Fischler and Bolles (1981), Random sample consensus, Communications of the ACM 24(6).
"""

import math
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats, Ints
from unfold.room import plan_kernels

STRIP_M = 0.04
LINE_SEEDS = 32
CIRCLE_PAIRS = 64
LINE_REACH_M, PAIR_REACH_M = 0.35, 1.5  # how far around a seed its line's and its circle's partners lie
LINE_BAND_M = 0.06  # a strip's normal is good to ten degrees
MOST_ROUNDS = 120
SEARCHES = 3
MOST_PLACES = 1 << 22  # of a table of strips, bytes and eight times that
LEAST_RADIUS_M, MOST_RADIUS_M = 0.1, 12.0
LEAST_SAGITTA_M = 0.05
NORMAL_COSINE = math.cos(math.radians(20.0))
UNLIKE_COSINE = math.cos(math.radians(10.0))  # a normal this far off weighs as much as the whole tolerance
CIRCLE_COSINE = math.cos(math.radians(14.0))


@dataclass(frozen=True, slots=True)
class Strips:
    """Upright strips of surface in plan."""

    place: Floats  # (n, 4) x, y, and the unit normal in plan, sign arbitrary
    weight: Floats  # (n,) cells in it


@dataclass(frozen=True, slots=True)
class Line:
    """n . p = offset in plan."""

    normal: Floats  # (2,)
    offset: float

    def distance(self, xy: Floats) -> Floats:
        """Signed distance of points (n, 2), positive along the normal."""
        return np.asarray(xy @ self.normal - self.offset)

    def along(self, xy: Floats) -> Floats:
        """Position along the line, metres; grows to the left of the normal."""
        return np.asarray(xy @ np.array([-self.normal[1], self.normal[0]]))

    def at(self, along: Floats) -> Floats:
        """Points (n, 2) of the line at the positions along it."""
        return np.asarray(self.normal * self.offset + np.multiply.outer(along, [-self.normal[1], self.normal[0]]))

    def normal_at(self, along: Floats) -> Floats:
        """Unit normals (n, 2) there."""
        return np.broadcast_to(self.normal, (len(along), 2))


@dataclass(frozen=True, slots=True)
class Circle:
    """|p - centre| = radius in plan."""

    centre: Floats  # (2,)
    radius: float

    def distance(self, xy: Floats) -> Floats:
        """Signed distance of points (n, 2), positive outside."""
        return np.asarray(np.hypot(*(xy - self.centre).T) - self.radius)

    def along(self, xy: Floats) -> Floats:
        """Arc length from the direction of x, counter-clockwise, metres, within half a turn either way."""
        return np.asarray(self.radius * np.arctan2(xy[:, 1] - self.centre[1], xy[:, 0] - self.centre[0]))

    def at(self, along: Floats) -> Floats:
        """Points (n, 2) at the arc lengths."""
        angle = np.asarray(along) / self.radius
        return np.asarray(self.centre + self.radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1))

    def normal_at(self, along: Floats) -> Floats:
        """Unit normals (n, 2), outward."""
        angle = np.asarray(along) / self.radius
        return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


Trace = Line | Circle


def gather_strips(xy: Floats, normals: Floats) -> Strips:
    """Gather cells at `xy` (n, 2) with level unit normals (n, 2) into strips."""
    folded = np.mod(np.arctan2(normals[:, 1], normals[:, 0]), math.pi)
    sector = np.floor(folded / (math.pi / 8)).astype(np.int64)
    group = group_rows(np.c_[np.floor(xy / STRIP_M).astype(np.int64), sector])
    weight = np.bincount(group).astype(float)
    double = 2.0 * folded  # the mean of directions without sign is half the mean of the doubled angles
    cosine, sine = np.bincount(group, np.cos(double)), np.bincount(group, np.sin(double))
    angle = 0.5 * np.arctan2(sine, cosine)
    x, y = np.bincount(group, xy[:, 0]) / weight, np.bincount(group, xy[:, 1]) / weight
    return Strips(np.stack([x, y, np.cos(angle), np.sin(angle)], axis=1), weight)


def group_rows(keys: Ints) -> Ints:
    """Which row each of `keys` (n, m) has among their distinct rows in order; by one number a row: sorting is slow."""
    keys = keys - keys.min(axis=0)
    number = np.ravel_multi_index(tuple(keys.T), tuple(keys.max(axis=0) + 1))
    if int(number.max()) > MOST_PLACES:  # cells far apart
        return np.unique(number, return_inverse=True)[1].ravel()
    found = np.zeros(int(number.max()) + 1, bool)
    found[number] = True
    return np.asarray((np.cumsum(found) - 1)[number])


def find_traces(strips: Strips, tolerance_m: float, least_weight: float) -> list[Trace]:
    """Find lines and circles, heaviest first, until what is left carries less than `least_weight` cells.

    What a line cut across, and gave up when all were settled, is searched again.
    """
    generator = np.random.default_rng(20260101)
    settled: list[Trace] = []
    left = np.ones(len(strips.weight), bool)
    for _ in range(SEARCHES):
        search = _Search(Strips(strips.place[left], strips.weight[left]), tolerance_m, generator)
        found = _search_all(search, least_weight)
        if not found:
            break
        settled = _settle(settled + found, strips, tolerance_m, least_weight)
        left = _owners(settled, strips, tolerance_m) < 0
    return settled


def _search_all(search: "_Search", least_weight: float) -> list[Trace]:
    found: list[Trace] = []
    misses = 0
    for _ in range(MOST_ROUNDS):
        best = search.best()
        if best is None:
            break
        trace, score = best
        if score < least_weight:
            misses += 1
            if misses > 2:
                break
            continue
        misses = 0
        if search.claim(trace) == 0:
            break
        found.append(trace)
    return found


def _settle(traces: list[Trace], strips: Strips, tolerance_m: float, least_weight: float) -> list[Trace]:
    """Give every strip to the trace that suits it best, and fit again: a line found early may have cut across others.

    Traces left with less than half of `least_weight` are dropped.
    """
    for _ in range(3):
        owner = _owners(traces, strips, tolerance_m)
        kept: list[Trace] = []
        for index, trace in enumerate(traces):
            own = owner == index
            if own.sum() < 3 or strips.weight[own].sum() < 0.5 * least_weight:
                continue
            kept.append(_refit(trace, strips.place[own], strips.weight[own]))
        traces = kept
    return traces


def _owners(traces: list[Trace], strips: Strips, tolerance_m: float) -> Ints:
    """Which trace suits each strip best by distance and normal; -1 where none comes near."""
    best, owner = np.full(len(strips.weight), np.inf), np.full(len(strips.weight), -1)
    xy = strips.place[:, :2]
    for index, trace in enumerate(traces):
        off = trace.distance(xy) / tolerance_m
        cosine = np.abs(np.sum(trace.normal_at(trace.along(xy)) * strips.place[:, 2:], axis=1))
        misfit = np.square(off) + (1.0 - cosine) / (1.0 - UNLIKE_COSINE)
        better = (np.abs(off) < 1.3) & (cosine > NORMAL_COSINE) & (misfit < best)
        best[better], owner[better] = misfit[better], index
    return owner


def _refit(trace: Trace, place: Floats, weight: Floats) -> Trace:
    if isinstance(trace, Line):
        return fit_line(place, weight) or trace
    fitted = fit_circle(place[:, :2], weight, trace)
    return fitted if abs(fitted.radius - trace.radius) < 0.2 * trace.radius else trace


class _Search:
    """The strips not yet explained, and hypotheses drawn from them."""

    def __init__(self, strips: Strips, tolerance_m: float, generator: np.random.Generator) -> None:
        self._place, self._weight = strips.place, strips.weight
        self._open = np.ones(len(strips.weight), bool)
        self._tolerance = tolerance_m
        self._generator = generator
        self._line_turn_deg = 0.0  # how far normals stray on the heaviest line: what noise does to them
        reach = float(np.max(np.hypot(*strips.place[:, :2].T))) if len(strips.weight) else 1.0
        self._half = int(reach / 0.05) + 2
        self._bins = np.zeros(2 * self._half + 1)

    def best(self) -> tuple[Trace, float] | None:
        """Draw hypotheses and return the best with its weight, refined."""
        free = np.flatnonzero(self._open)
        if len(free) < 4:
            return None
        chance = self._weight[free] / self._weight[free].sum()
        seeds = self._generator.choice(free, size=max(LINE_SEEDS, CIRCLE_PAIRS), p=chance)
        line, line_score = self._best_line(seeds[:LINE_SEEDS])
        circle, circle_score = self._best_circle(seeds, line_score)
        if circle is not None and circle_score > 1.2 * line_score:
            return circle, circle_score
        return None if line is None else (line, line_score)

    def _best_line(self, seeds: Ints) -> tuple[Line | None, float]:
        rows = plan_kernels.draw_lines(
            seeds, self._place, self._weight, self._open, LINE_REACH_M, LINE_BAND_M, NORMAL_COSINE
        )
        order = np.argsort(-self._score_lines(rows), kind="stable")[:2]
        refined = [self._refine_line(Line(rows[index, :2], float(rows[index, 2]))) for index in order]
        scores = self._score_lines(np.array([[*line.normal, line.offset] for line in refined]))
        best = int(np.argmax(scores))
        return refined[best], float(scores[best])

    def _score_lines(self, rows: Floats) -> Floats:
        return np.asarray(
            plan_kernels.score_lines(
                rows, self._place, self._weight, self._open, self._tolerance, NORMAL_COSINE, 0.05, 20,
                self._bins, self._half,
            )
        )  # fmt: skip

    def _inliers(self, trace: Trace, tolerance: float, cosine: float = NORMAL_COSINE) -> Bools:
        xy = self._place[:, :2]
        along = trace.along(xy)
        agree = np.abs(np.sum(trace.normal_at(along) * self._place[:, 2:], axis=1)) > cosine
        return np.asarray(self._open & agree & (np.abs(trace.distance(xy)) < tolerance))

    def _refine_line(self, line: Line) -> Line:
        for widen in (1.5, 1.0, 1.0):
            inside = self._inliers(line, widen * self._tolerance)
            if inside.sum() < 3:
                return line
            line = fit_line(self._place[inside], self._weight[inside]) or line
        return line

    def _best_circle(self, seeds: Ints, line_score: float) -> tuple[Circle | None, float]:
        """The best circle; those that come nowhere near the best line are not looked at closely."""
        chances = self._generator.random(len(seeds))
        rows = plan_kernels.draw_circles(
            seeds, chances, self._place, self._open, PAIR_REACH_M, self._tolerance, LEAST_RADIUS_M, MOST_RADIUS_M
        )
        circles = [Circle(row[:2], float(row[2])) for row in rows if row[2] > 0.0]
        if not circles:
            return None, 0.0
        scores = self._score_circles(circles)
        order = [index for index in np.argsort(-scores, kind="stable")[:2] if scores[index] > 0.7 * line_score]
        refined = [refined for index in order if (refined := self._refine_circle(circles[index])) is not None]
        if not refined:
            return None, 0.0
        scores = self._score_circles(refined)
        best = int(np.argmax(scores))
        return refined[best], float(scores[best])

    def _score_circles(self, circles: list[Circle]) -> Floats:
        rows = np.array([[*circle.centre, circle.radius] for circle in circles])
        return np.asarray(
            plan_kernels.score_circles(
                rows, self._place, self._weight, self._open, self._circle_tolerances(circles), NORMAL_COSINE
            )
        )

    def _circle_tolerances(self, circles: list[Circle]) -> Floats:
        """Tighter on small circles: a square column's corner comes within a tenth of its radius of one."""
        radius = np.array([one.radius for one in circles])
        return np.minimum(self._tolerance, np.maximum(0.06 * radius + 0.008, 0.4 * self._tolerance))

    def _refine_circle(self, circle: Circle) -> Circle | None:
        for widen in (1.5, 1.0, 1.0):
            tolerance = float(self._circle_tolerances([circle])[0])
            inside = self._inliers(circle, widen * tolerance, CIRCLE_COSINE)
            if inside.sum() < 5:
                return None
            circle = fit_circle(self._place[inside, :2], self._weight[inside], circle, steps=6)
            if not LEAST_RADIUS_M < circle.radius < MOST_RADIUS_M:
                return None
        return circle if self._is_round(circle, inside, tolerance) else None

    def _is_round(self, circle: Circle, inside: Bools, tolerance: float) -> bool:
        """Tell an arc from flats that touch a circle: it bends enough, without gaps, and its normals turn evenly."""
        xy, weight = self._place[inside, :2], self._weight[inside]
        span = _arc_span(circle, xy)
        sagitta = circle.radius * (1.0 - math.cos(min(span, math.pi) / 2.0))
        if sagitta < LEAST_SAGITTA_M or span < math.radians(20.0):
            return False
        along = circle.along(xy)
        covered = len(np.unique(np.floor(along / 0.05))) * 0.05 / (span * circle.radius)
        cosine = np.abs(np.sum(circle.normal_at(along) * self._place[inside, 2:], axis=1))
        turn = np.degrees(np.arccos(np.clip(cosine, 0.0, 1.0)))
        off_normal = math.sqrt(float(np.average(np.square(turn), weights=weight)))
        rms = math.sqrt(float(np.average(np.square(circle.distance(xy)), weights=weight)))
        allowed = 7.5 if span > math.radians(200.0) else 3.0  # flats that touch a small circle all round stray by 8
        even = off_normal < max(allowed, 1.8 * self._line_turn_deg)
        return covered > 0.6 and rms < 0.45 * tolerance and even

    def claim(self, trace: Trace) -> int:
        """Take the trace's strips out of the search; returns how many."""
        inside = self._inliers(trace, 1.3 * self._tolerance)
        if isinstance(trace, Line) and self._line_turn_deg == 0.0:
            cosine = np.abs(self._place[inside, 2:] @ trace.normal)
            turn = np.degrees(np.arccos(np.clip(cosine, 0.0, 1.0)))
            self._line_turn_deg = math.sqrt(float(np.average(np.square(turn), weights=self._weight[inside])))
        self._open &= ~inside
        return int(inside.sum())


def fit_line(place: Floats, weight: Floats) -> Line | None:
    """Orthogonal least squares (Pearson 1901) of weighted points."""
    centre = np.average(place[:, :2], axis=0, weights=weight)
    shifted = place[:, :2] - centre
    _, vectors = np.linalg.eigh((shifted * weight[:, None]).T @ shifted)
    normal = vectors[:, 0]
    if abs(np.average(np.abs(place[:, 2:] @ normal), weights=weight)) < NORMAL_COSINE:
        return None
    return Line(normal, float(normal @ centre))


def fit_circle(xy: Floats, weight: Floats, start: Circle, steps: int = 20) -> Circle:
    """Geometric least-squares circle by Gauss-Newton steps (Gander, Golub and Strebel 1994)."""
    cx, cy, radius = float(start.centre[0]), float(start.centre[1]), start.radius
    for _ in range(steps):
        dx, dy = xy[:, 0] - cx, xy[:, 1] - cy
        distance = np.maximum(np.hypot(dx, dy), 1e-12)
        rows = np.stack([dx / distance, dy / distance, np.ones(len(xy))], axis=1)
        root = np.sqrt(weight)
        step = np.linalg.lstsq(rows * root[:, None], (distance - radius) * root, rcond=None)[0]
        cx, cy, radius = cx + step[0], cy + step[1], radius + step[2]
        if np.abs(step).max() < 1e-10:
            break
    return Circle(np.array([cx, cy]), float(abs(radius)))


def _arc_span(circle: Circle, xy: Floats) -> float:
    """Angle of the circle that the points cover: a full turn less the widest gap."""
    angle = np.sort(np.arctan2(xy[:, 1] - circle.centre[1], xy[:, 0] - circle.centre[0]))
    gaps = np.diff(np.r_[angle, angle[0] + 2 * math.pi])
    return float(2 * math.pi - gaps.max())
