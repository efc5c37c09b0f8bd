"""A wall's scribed outline: its lower edge, right side, upper edge and left side joined into one ring."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.corner import SAMPLE_MM, SideLine
from unfold.elevation.result import Edge, EdgeKind
from unfold.elevation.slab_edge import Run
from unfold.room.result import WallEnd

LEAST_STEP_MM = 5.0  # two runs nearer than this at their common end meet in a kink
LEAST_POINT_MM = 0.05  # neighbouring points of a ring nearer than this are one


@dataclass(frozen=True, slots=True)
class EdgeRun:
    """One edge before it joins the ring: its points (n, 2) in ring order."""

    kind: EdgeKind
    neighbour: str | None
    points: Floats
    standard_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Outline:
    ring: Floats  # (n, 2) counter-clockwise
    edges: tuple[Edge, ...]


def join_outline(
    bottom: Sequence[Run],
    top: Sequence[Run],
    left: SideLine,
    right: SideLine,
    ends: tuple[WallEnd, WallEnd],
    bottom_kind: EdgeKind,
    top_kind: EdgeKind,
    step_u_uncertainty_mm: float,
) -> Outline:
    """Join the four sides of a wall into its outline.

    Parameters
    ----------
    bottom, top : sequence of Run
        Lower and upper edge from left to right, steps between the runs.
    left, right : SideLine
        The upright sides, longer than the wall is high.
    ends : (WallEnd, WallEnd)
        What the wall meets at its left and right side.
    """
    low_left, low_right = _corner(bottom[0], left), _corner(bottom[-1], right)
    high_right, high_left = _corner(top[-1], right), _corner(top[0], left)
    runs = _level_runs(bottom, low_left, low_right, bottom_kind, step_u_uncertainty_mm)
    runs.append(_side_run(right, low_right, high_right, ends[1]))
    backward = _level_runs(top, high_left, high_right, top_kind, step_u_uncertainty_mm)
    runs += [EdgeRun(r.kind, r.neighbour, r.points[::-1], r.standard_uncertainty_mm) for r in backward[::-1]]
    falling = _side_run(left, low_left, high_left, ends[0])
    runs.append(EdgeRun(falling.kind, falling.neighbour, falling.points[::-1], falling.standard_uncertainty_mm))
    return _close(runs)


def _corner(run: Run, side: SideLine) -> Floats:
    """Where a level run meets an upright side: alternate between the two until they agree."""
    v = float(np.median(run.v_mm))
    for _ in range(12):
        u = float(side.u_at(v))
        v = float(run.v_at(u))
    return np.array([u, v])


def _level_runs(
    runs: Sequence[Run], first: Floats, last: Floats, kind: EdgeKind, step_uncertainty: float
) -> list[EdgeRun]:
    """A lower or upper edge from left to right: its runs and, between them, the steps."""
    neighbour = kind if kind in ("floor", "ceiling") else None
    found: list[EdgeRun] = []
    for i, run in enumerate(runs):
        start = first[0] if i == 0 else max(run.u_mm[0], first[0])  # a step may lie right at a corner
        stop = last[0] if i == len(runs) - 1 else min(run.u_mm[-1], last[0])
        if stop - start < LEAST_POINT_MM:
            continue
        count = int(np.ceil((stop - start) / SAMPLE_MM)) + 1
        u = np.linspace(start, stop, max(count, 2))
        points = np.column_stack([u, run.v_at(u)])
        before = found[-1].points[-1] if found else points[0]
        if abs(points[0, 1] - before[1]) > LEAST_STEP_MM:
            found.append(EdgeRun(kind, neighbour, _straight(before, points[0]), step_uncertainty))
        uncertainty = float(np.sqrt(np.mean(np.interp(u, run.u_mm, run.uncertainty_mm) ** 2)))
        found.append(EdgeRun(kind, neighbour, points, uncertainty))
    return found


def _side_run(side: SideLine, low: Floats, high: Floats, end: WallEnd) -> EdgeRun:
    count = max(int(np.ceil((high[1] - low[1]) / SAMPLE_MM)) + 1, 2)
    v = np.linspace(low[1], high[1], count)
    points = np.column_stack([side.u_at(v), v])
    points[0], points[-1] = low, high
    uncertainty = float(np.sqrt(np.mean(np.interp(v, side.v_mm, side.uncertainty_mm) ** 2)))
    return EdgeRun(end.kind, end.neighbour, points, uncertainty)


def _straight(start: Floats, stop: Floats) -> Floats:
    count = max(int(np.ceil(float(np.hypot(*(stop - start))) / SAMPLE_MM)) + 1, 2)
    return np.linspace(start, stop, count)


def _close(runs: Sequence[EdgeRun]) -> Outline:
    """Chain the runs into a ring without repeated points, and index the edges in it."""
    points: list[Floats] = []
    edges = []
    for run in runs:
        first = len(points)
        points += list(run.points[:-1])
        edges.append((run, first))
    ring = np.array(points)
    starts = [first for _, first in edges]
    lasts = [*starts[1:], 0]
    return Outline(
        ring,
        tuple(
            Edge(run.kind, run.neighbour, first, last, chord_bow(run.points), run.standard_uncertainty_mm)
            for (run, first), last in zip(edges, lasts, strict=True)
        ),
    )


def chord_bow(points: Floats) -> float:
    """Largest distance of points (n, 2) from the chord between the first and the last, millimetres."""
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length == 0.0:
        return float(np.hypot(*(points - points[0]).T).max())
    across = (chord[0] * (points[:, 1] - points[0, 1]) - chord[1] * (points[:, 0] - points[0, 0])) / length
    return float(np.abs(across).max())
