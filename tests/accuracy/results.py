"""One case's figures, and whether a fabricator could cut each wall from it as it is."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.accuracy.jobs import Case, TrueWall, run_case
from tests.accuracy.matching import Pair, is_round, match
from tests.accuracy.shapes import ShapeErrors, compare_shape
from tests.accuracy.surfaces import SurfaceErrors, compare_surface, plumb_error_deg
from tests.simulate.scanner import Instrument

SCARCE_SHARE = 0.5  # of a wall well seen, under which "cannot be decided" is the right verdict
HIDDEN_SHARE = 0.05  # of a wall well seen, under which nobody can find it


@dataclass(frozen=True)
class Limits:
    """What makes a wall right. Millimetres; shares 0..1."""

    corner_mm: float
    outline_p95_mm: float
    opening_mm: float
    unseen_share: float = 0.01
    hidden_share: float = 0.03


LIMITS = {"tripod": Limits(2.0, 2.0, 3.0), "handheld": Limits(12.0, 12.0, 16.0)}


@dataclass(frozen=True)
class WallResult:
    """One true wall: what became of it, and every line that failed it."""

    room: str
    seed: int
    wall: str
    found: bool
    shape: ShapeErrors | None
    surface: SurfaceErrors | None
    failed: tuple[str, ...]
    lost_area: float = 0.0  # of a wall not found


@dataclass(frozen=True)
class CaseResult:
    room: str
    seed: int
    walls: tuple[WallResult, ...]
    invented: tuple[str, ...]
    plumb_deg: float | None
    plumb_source: str
    seconds: float
    failure: str | None
    invented_area: float = 0.0


def measure_case(job: tuple[str, int, Instrument, Path, str, bool]) -> CaseResult:
    """Run and judge one room with one seed: (room, seed, instrument, folder for scans, profile, keep)."""
    name, seed, instrument, work, profile, keep = job
    return judge(run_case(name, seed, instrument, work, keep), LIMITS[profile])


def judge(case: Case, limits: Limits) -> CaseResult:
    """Hold a whole job against the truth."""
    if case.failure is not None:
        lost = tuple(_lost(case, wall, "the run failed") for wall in case.walls)
        return CaseResult(case.room, case.seed, lost, (), None, "", case.seconds, case.failure)
    pairs, missing, invented = match(case.walls, case.measured)
    walls = [_judge_pair(case, pair, limits) for pair in pairs]
    walls += [_lost(case, wall, "wall not found") for wall in missing if _seen_share(wall) >= HIDDEN_SHARE]
    room = case.elevations["room"]
    allowed = [] if case.truth["not_walls"] else invented
    names = tuple(f"{wall.id} {wall.data['shape']} {wall.data['area_mm2'] / 1e6:.2f} m2" for wall in allowed)
    return CaseResult(
        case.room,
        case.seed,
        tuple(walls),
        names,
        plumb_error_deg(case.elevations, case.truth),
        str(room["plumb_source"]),
        case.seconds,
        None,
        float(sum(wall.data["area_mm2"] for wall in allowed)),
    )


def _seen_share(wall: TrueWall) -> float:
    """The share of a true wall that some station covers well."""
    return float(np.mean(wall.well_seen[np.isfinite(wall.heights_mm)]))


def _lost(case: Case, wall: TrueWall, why: str) -> WallResult:
    return WallResult(case.room, case.seed, wall.id, False, None, None, (why,), float(wall.data["area_mm2"]))


def _judge_pair(case: Case, pair: Pair, limits: Limits) -> WallResult:
    surface = compare_surface(pair, case.building)
    shape = None if is_round(pair.true) else compare_shape(pair)
    scarce = _seen_share(pair.true) < SCARCE_SHARE
    failed = [] if shape is None else _shape_failures(shape, limits)
    failed += [
        f"verdict {v.rule}: {v.verdict}, true {v.true_mm:.2f}, measured {_say(v.measured_mm)} "
        f"u {_say(v.uncertainty_mm)}"
        for v in surface.verdicts
        if not (v.right or (scarce and v.verdict == "cannot be decided"))
    ]
    return WallResult(case.room, case.seed, pair.true.id, True, shape, surface, tuple(failed))


def _say(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f}"


def _shape_failures(shape: ShapeErrors, limits: Limits) -> list[str]:
    failed = [
        f"corner {name}: {distance:.1f} mm"
        for name, distance in zip(shape.corner_names, shape.corners, strict=True)
        if distance > limits.corner_mm
    ]
    if len(shape.outline) and (p95 := float(np.percentile(shape.outline, 95))) > limits.outline_p95_mm:
        failed.append(f"outline: P95 {p95:.1f} mm, worst {shape.worst_at}")
    failed += [f"opening missed: {name}" for name in shape.missed]
    failed += [f"opening invented: {name}" for name in shape.invented]
    for opening in shape.openings:
        if opening.kind != opening.found_kind:
            failed.append(f"opening kind: {opening.id} {opening.kind} called {opening.found_kind}")
        allowed = max(limits.opening_mm, 2 * opening.uncertainty_mm if opening.side_hidden else 0.0)
        if max(*(abs(e) for e in opening.size_mm), opening.place_mm) > allowed:
            sizes = " x ".join(f"{e:+.1f}" for e in opening.size_mm)
            failed.append(
                f"opening size or place: {opening.id} {opening.kind} {sizes}, off {opening.place_mm:.1f} mm, "
                f"u {opening.uncertainty_mm:.1f}"
            )
    whole = max(shape.true_area, 1.0)
    if (shape.unseen_as_wall + shape.unseen_as_opening) / whole > limits.unseen_share:
        failed.append(
            f"unseen called wall {shape.unseen_as_wall / whole:.1%}, "
            f"opening {shape.unseen_as_opening / whole:.1%} of the wall"
        )
    if shape.seen_as_unseen / whole > limits.hidden_share:
        failed.append(f"seen called unseen: {shape.seen_as_unseen / whole:.1%} of the wall")
    return failed
