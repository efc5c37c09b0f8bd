"""The table of figures: one row a goal, over all rooms and seeds."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from tests.accuracy.results import CaseResult, WallResult
from tests.accuracy.shapes import ShapeErrors
from tests.accuracy.surfaces import FigureError, SurfaceErrors
from unfold.arrays import Floats


@dataclass(frozen=True)
class Goal:
    """What is aimed at, for a tripod and for a handheld scanner."""

    tripod: str
    handheld: str


@dataclass(frozen=True)
class Row:
    name: str
    goal: str
    measured: str


GOALS = {
    "headline": Goal("95 %", "-"),
    "walls": Goal("all / none", "all / none"),
    "corner": Goal("0.7, 1.5 mm", "5, 10 mm"),
    "outline": Goal("0.7, 2 mm", "5, 12 mm"),
    "openings": Goal("98 % / none; 95 %", "90 % / none; 85 %"),
    "size": Goal("1.5 mm", "8 mm"),
    "coverage": Goal("93-98 %, u at most 0.5 mm", "93-98 %"),
    "heights": Goal("98 %; 0.2 mm", "stated, and within 2u"),
    "bump": Goal("30 mm across, 1 mm high", "stated"),
    "area": Goal("99 % / 99 %", "95 % / 95 %"),
    "conforms": Goal("0", "0"),
    "plumb": Goal("0.01 deg levelled", "0.1 deg"),
    "unseen": Goal("under 1 %", "under 1 %"),
}

MOST_BUMPS = 12  # kinds of bumps in a table; more are taken together


def rows(cases: Sequence[CaseResult], profile: str) -> list[Row]:
    """Every row of the table."""
    walls = [wall for case in cases for wall in case.walls]
    shapes = [wall.shape for wall in walls if wall.shape is not None]
    surfaces = [wall.surface for wall in walls if wall.surface is not None]
    right = sum(not wall.failed for wall in walls)
    invented = sum(len(case.invented) for case in cases)
    found = sum(wall.found for wall in walls)
    failed_runs = sum(case.failure is not None for case in cases)
    made = [
        ("headline", "walls right all at once", f"{_share(right, len(walls))} ({right} of {len(walls)})"),
        (
            "walls",
            "walls found / invented",
            f"{found} of {len(walls)} / {invented}" + (f"; {failed_runs} runs failed" if failed_runs else ""),
        ),
        ("corner", "corner position, RMS and P95", _rms_p95([s.corners for s in shapes])),
        ("outline", "observed outline distance, RMS and P95", _rms_p95([s.outline for s in shapes])),
        ("openings", "openings found / invented; right kind", _openings(shapes, walls)),
        ("size", "opening width and height error, RMS", _size(shapes)),
        *(("coverage", f"{name}: true value within 2u; median u", text) for name, text in _coverage(surfaces)),
        ("heights", "height map cells within 0.5 mm; deviation", _heights(surfaces)),
        ("heights", "height map cells within 2u as stated", _stated(surfaces)),
        ("bump", "bumps listed as lumps (across x height: share)", _bumps(surfaces)),
        ("area", "completeness / correctness of wall area, buffer 10 mm", _areas(cases, walls)),
        ("conforms", 'wrong "conforms"', str(sum(v.wrong_conforms for s in surfaces for v in s.verdicts))),
        ("conforms", "verdicts: conforms / does not / cannot be decided (right)", _verdicts(surfaces)),
        *(("plumb", f"plumb from {source}: worst", text) for source, text in _plumb(cases)),
        ("unseen", "unseen area reported as wall; as opening", _unseen(shapes)),
    ]
    return [Row(name, getattr(GOALS[key], profile), text) for key, name, text in made]


def _share(part: float, whole: float) -> str:
    return "none" if whole == 0 else f"{100 * part / whole:.1f} %"


def _rms_p95(parts: Sequence[Floats]) -> str:
    values = np.concatenate([np.zeros(0), *parts])
    if len(values) == 0:
        return "none"
    return f"{np.sqrt(np.mean(values**2)):.2f}, {np.percentile(values, 95):.2f} mm (worst {values.max():.1f})"


def _openings(shapes: Sequence[ShapeErrors], walls: Sequence[WallResult]) -> str:
    found = [opening for shape in shapes for opening in shape.openings]
    missed = sum(len(shape.missed) for shape in shapes)
    invented = sum(len(shape.invented) for shape in shapes)
    kind = sum(opening.kind == opening.found_kind for opening in found)
    return f"{_share(len(found), len(found) + missed)} / {invented}; {_share(kind, len(found))} (of walls found)"


def _size(shapes: Sequence[ShapeErrors]) -> str:
    openings = [opening for shape in shapes for opening in shape.openings]
    errors = np.array([error for opening in openings if not opening.side_hidden for error in opening.size_mm])
    within = [abs(error) <= 2 * o.uncertainty_mm for o in openings if not o.side_hidden for error in o.size_mm]
    bounded = [abs(error) <= 2 * o.uncertainty_mm for o in openings if o.side_hidden for error in o.size_mm]
    if len(errors) == 0:
        return "none"
    median, worst = np.median(np.abs(errors)), np.abs(errors).max()
    hidden = f"; with a side hidden {_share(sum(bounded), len(bounded))} within 2u" if bounded else ""
    share = _share(sum(within), len(within))
    return f"{_rms(errors):.2f} mm (median {median:.2f}, worst {worst:.1f}; {share} within 2u{hidden})"


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _coverage(surfaces: Sequence[SurfaceErrors]) -> list[tuple[str, str]]:
    figures: dict[str, list[FigureError]] = {}
    for figure in chain.from_iterable(surface.figures for surface in surfaces):
        figures.setdefault(figure.name, []).append(figure)
    return [(name, _covered(group)) for name, group in sorted(figures.items())] or [("straightedge, bow, lean", "none")]


def _covered(group: Sequence[FigureError]) -> str:
    errors = np.array([figure.measured - figure.true for figure in group])
    share = _share(sum(figure.covered for figure in group), len(group))
    median = np.median([figure.uncertainty for figure in group])
    return f"{share} of {len(group)}; u {median:.2f} (bias {errors.mean():+.2f}, RMS error {_rms(errors):.2f})"


def _heights(surfaces: Sequence[SurfaceErrors]) -> str:
    cells = np.concatenate([np.zeros(0), *(s.cells for s in surfaces)])
    if len(cells) == 0:
        return "none"
    near, beside = float((np.abs(cells) <= 0.5).sum()), sum(s.beside for s in surfaces)
    return f"{_share(near, len(cells))}; {cells.std():.2f} mm; {_share(beside, len(cells))} beside the wall"


def _stated(surfaces: Sequence[SurfaceErrors]) -> str:
    cells = np.concatenate([np.zeros(0), *(s.cells for s in surfaces)])
    stated = np.concatenate([np.zeros(0), *(s.stated for s in surfaces)])
    return _share(float((np.abs(cells) <= 2 * stated).sum()), len(cells))


def _bumps(surfaces: Sequence[SurfaceErrors]) -> str:
    seen: dict[tuple[float, float], list[bool]] = {}
    for across, height, told in chain.from_iterable(s.bumps for s in surfaces):
        seen.setdefault((round(across), round(abs(height), 2)), []).append(told)
    if len(seen) > MOST_BUMPS:
        told_all = [told for group in seen.values() for told in group]
        (least, most), heights = (min(a for a, _ in seen), max(a for a, _ in seen)), [h for _, h in seen]
        sizes = f"{least:.0f}-{most:.0f} x {min(heights):.1f}-{max(heights):.1f}"
        return f"{sizes}: {_share(sum(told_all), len(told_all))} of {len(told_all)}"
    groups = sorted(seen.items())
    return "; ".join(f"{across:.0f} x {height:g}: {_share(sum(t), len(t))}" for (across, height), t in groups) or "none"


def _areas(cases: Sequence[CaseResult], walls: Sequence[WallResult]) -> str:
    """Over all walls: those not found count as missing area, invented ones as wrong area."""
    shapes = [wall.shape for wall in walls if wall.shape is not None]
    true = sum(shape.true_area for shape in shapes) + sum(wall.lost_area for wall in walls)
    measured = sum(shape.measured_area for shape in shapes) + sum(case.invented_area for case in cases)
    complete, correct = sum(s.complete_area for s in shapes), sum(s.correct_area for s in shapes)
    return f"{_share(complete, true)} / {_share(correct, measured)}"


def _verdicts(surfaces: Sequence[SurfaceErrors]) -> str:
    verdicts = [v for s in surfaces for v in s.verdicts]
    counts = [
        sum(v.verdict == name for v in verdicts) for name in ("conforms", "does not conform", "cannot be decided")
    ]
    return f"{counts[0]} / {counts[1]} / {counts[2]} ({_share(sum(v.right for v in verdicts), len(verdicts))})"


def _plumb(cases: Sequence[CaseResult]) -> list[tuple[str, str]]:
    groups: dict[str, list[float]] = {}
    for case in cases:
        if case.plumb_deg is not None:
            groups.setdefault(case.plumb_source, []).append(case.plumb_deg)
    return [
        (source, f"{max(values):.4f} deg (RMS {np.sqrt(np.mean(np.square(values))):.4f})")
        for source, values in sorted(groups.items())
    ]


def _unseen(shapes: Sequence[ShapeErrors]) -> str:
    unseen, whole = sum(s.unseen_area for s in shapes), sum(s.true_area for s in shapes)
    wall, opening = sum(s.unseen_as_wall for s in shapes), sum(s.unseen_as_opening for s in shapes)
    seen, back = sum(s.seen_area for s in shapes), sum(s.seen_as_unseen for s in shapes)
    return (
        f"{_share(wall, unseen)}; {_share(opening, unseen)} of unseen ({_share(wall + opening, whole)} of wall); "
        f"{_share(back, seen)} of seen area called unseen"
    )
