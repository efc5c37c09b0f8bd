"""Which way is up: from datum marks, from a scanner that levels itself, or estimated from floor, ceiling and walls.

The estimate rests on two facts about rooms: walls' normals are level, and floors' and ceilings' are plumb. Every cell
with a clear local plane votes; a robust weight keeps leaning furniture and stair strings from pulling it over.
"""

import math
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.findings import Finding
from unfold.room.result import Plumb
from unfold.room.up_opinions import agree_on_up, square_to
from unfold.scan.result import Station
from unfold.settings.room import RoomSettings

AGREE_DEG = 0.5  # a levelled scanner's axis is at least this close to the estimate
COARSE_SAMPLE = 10_000
FIT_DEG = 6.0  # a surface this far from level or plumb still speaks for a direction as up, by half or so
SCANNER_DEG = 0.005  # dual-axis compensators of terrestrial scanners: 5 to 20 arc seconds; common practice


@dataclass(frozen=True, slots=True)
class UpEstimate:
    """Up as the surfaces show it."""

    up: Floats  # (3,)
    standard_uncertainty_deg: float
    floor_tilt_deg: float | None  # angle between the mean floor and ceiling normals; None when one of them lacks


def find_plumb(
    stations: tuple[Station, ...], normals: Floats, positions_m: Floats, settings: RoomSettings
) -> tuple[Plumb, list[Finding]]:
    """Choose up from marks, scanner or estimate, in that order.

    Parameters
    ----------
    stations : the scan's stations
    normals : (n, 3) unit normals of cells with a clear local plane, any sign, local axes
    positions_m : (n, 3) where they are
    settings : marks and what to trust
    """
    axis = _scanner_axis(stations)
    estimate = estimate_up(normals, positions_m, None if axis is None else axis[0])
    findings: list[Finding] = []
    marks = _up_from_marks(settings, estimate.up)
    if marks is not None:
        up, spread = marks
        plumb = Plumb("datum", up, spread)
    elif axis is not None and _trusted(axis, estimate, settings):
        up, spread = axis
        plumb = Plumb("scanner", up, max(SCANNER_DEG, spread))
    else:
        plumb = Plumb("estimated", estimate.up, estimate.standard_uncertainty_deg)
    findings += _explain(plumb, axis, estimate)
    return plumb, findings


def angle_deg(a: Floats, b: Floats) -> float:
    """Angle between two unit vectors, exact also when small."""
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(a, b))), float(np.dot(a, b))))


def rotation_to_up(up: Floats) -> Floats:
    """Rotation (3, 3) that takes `up` to z by the shortest turn, so that a levelled scan keeps its axes."""
    x, y, z = (float(value) for value in up)
    if z < -0.999999:
        return np.diag([1.0, -1.0, -1.0])
    share = 1.0 / (1.0 + z)
    return np.array([[1.0 - x * x * share, -x * y * share, -x], [-x * y * share, 1.0 - y * y * share, -y], [x, y, z]])


def estimate_up(normals: Floats, positions_m: Floats, hint: Floats | None = None) -> UpEstimate:
    """Estimate up from the normals of cells, whatever axis of the file is up and however the cloud is tilted.

    `hint` (3,) is the axis that the scanner stood on: it tells which way up is, not how exactly.
    """
    few = np.arange(0, len(normals), max(1, len(normals) // COARSE_SAMPLE))
    up = _coarse_up(normals[few], positions_m[few]) if hint is None else hint
    for scale_deg in (8.0, 4.0, 2.0, 1.0):
        up = _refine(up, normals, math.sin(math.radians(scale_deg)), False)
    for scale_deg in (1.5, 1.0, 1.0):  # by now a ceiling that slopes has no say any more
        up = _refine(up, normals, math.sin(math.radians(scale_deg)), True)
    up, spread, tilts = agree_on_up(up, normals, positions_m)
    floor_tilt = float(np.hypot(*(tilts[0] - tilts[1]))) if len(tilts) == 2 else None
    return UpEstimate(up, spread, floor_tilt)


def _coarse_up(normals: Floats, positions_m: Floats) -> Floats:
    """Choose among the scan's axes and the commonest normals the one that most surfaces are level or plumb to."""
    candidates = [np.eye(3)[axis] for axis in (2, 1, 0)] + _commonest(normals)
    scores = [_upness(candidate, normals, positions_m, rank) for rank, candidate in enumerate(candidates)]
    best = candidates[int(np.argmax(scores))]
    along_file = [axis for axis in np.eye(3)[[2, 1, 0]] if abs(axis @ best) > math.cos(math.radians(30.0))]
    sign = np.sign(along_file[0] @ best) if along_file else np.sign(best[np.argmax(np.abs(best))])
    return np.asarray(best * sign, dtype=float)


def _commonest(normals: Floats) -> list[Floats]:
    """Find up to six well separated directions that many normals share (signs dropped)."""
    signed = normals * np.where(normals[:, [2]] + 1e-3 * normals[:, [1]] + 1e-6 * normals[:, [0]] < 0, -1.0, 1.0)
    bins, places, counts = np.unique(
        np.round(signed * 12.0).astype(np.int64), axis=0, return_inverse=True, return_counts=True
    )
    del bins
    found: list[Floats] = []
    for place in np.argsort(-counts, kind="stable"):
        mean = signed[places.ravel() == place].mean(axis=0)
        mean /= np.linalg.norm(mean)
        if all(abs(mean @ other) < math.cos(math.radians(15.0)) for other in found):
            found.append(mean)
        if len(found) == 6:
            break
    return found


def _upness(candidate: Floats, normals: Floats, positions_m: Floats, rank: int) -> float:
    """Score a direction as up: the share of surfaces level or plumb to it, and a storey's height along it.

    The scan's z axis goes first, then y, then x: formats and programs put up there, in that order.
    """
    cosine = np.minimum(np.abs(normals @ candidate), 1.0)
    off = np.degrees(np.arccos(cosine))
    level = float(np.mean(np.exp(-0.5 * np.square(off / FIT_DEG))))
    plumb = float(np.mean(np.exp(-0.5 * np.square((90.0 - off) / FIT_DEG))))
    across = _least_width(positions_m, candidate)
    height = float(np.ptp(np.percentile(positions_m @ candidate, [1, 99])))
    along = int(np.argmax(np.abs(candidate)))
    prior = (0.7, 0.85, 1.0)[along] * (1.0 if rank < 3 else 0.95)
    lying = 2.0 < across < 3.6  # a storey's height, but across: the room would lie on its side
    flat = 1.0 if height <= 1.2 * across else (0.62 if lying else 0.8)
    tall = 1.0 if height > 2.1 else 0.85 if height > 1.8 else 0.6
    return (level + plumb) * prior * flat * tall * (1.0 if level > 0.01 else 0.7)


def _least_width(positions_m: Floats, axis: Floats) -> float:
    """Narrowest extent of the points over the directions square to an axis, metres."""
    a, b = square_to(axis)
    turns = np.radians(np.arange(0.0, 180.0, 10.0))
    for _ in range(2):  # a narrow room is as narrow as it is only along its own walls: within a degree
        spans = np.percentile(positions_m @ (np.cos(turns) * a[:, None] + np.sin(turns) * b[:, None]), [1, 99], axis=0)
        widths = spans[1] - spans[0]
        turns = turns[np.argmin(widths)] + np.radians(np.arange(-9.0, 10.0))
    return float(widths.min())


def _refine(up: Floats, normals: Floats, scale: float, strict: bool) -> Floats:
    """One step of robust least squares for a small turn of `up`: Cauchy's weights, or Welsch's when strict."""
    cosine = normals @ up
    level, plumb = np.abs(cosine) > 0.9, np.abs(cosine) < 0.35
    a, b = square_to(up)
    rows, residuals = _equations(normals, cosine, level, plumb, a, b)
    share = np.square(residuals / scale)
    weights = np.exp(-0.5 * share) if strict else 1.0 / (1.0 + share)
    left = (rows * weights[:, None]).T @ rows + 1e-9 * np.eye(2)
    turn = np.linalg.solve(left, -(rows * weights[:, None]).T @ residuals)
    turned = up + turn[0] * a + turn[1] * b
    return np.asarray(turned / np.linalg.norm(turned), dtype=float)


def _equations(
    normals: Floats, cosine: Floats, level: Bools, plumb: Bools, a: Floats, b: Floats
) -> tuple[Floats, Floats]:
    """Rows and residuals: a wall's normal should have no part along up, and a floor's none across it."""
    walls = normals[plumb]
    floors = normals[level] * np.sign(cosine[level])[:, None]
    floor_a, floor_b = floors @ a, floors @ b
    ones, zeros = np.ones(len(floors)), np.zeros(len(floors))
    rows = np.concatenate([np.c_[walls @ a, walls @ b], np.c_[ones, zeros], np.c_[zeros, ones]])
    residuals = np.concatenate([cosine[plumb], -floor_a, -floor_b])
    return rows, residuals


def _scanner_axis(stations: tuple[Station, ...]) -> tuple[Floats, float] | None:
    """Mean standing axis of the stations that state one, and its spread in degrees."""
    axes = np.array([station.axis for station in stations if station.axis is not None], dtype=float)
    if len(axes) == 0:
        return None
    mean = axes.sum(axis=0)
    mean /= np.linalg.norm(mean)
    off = [angle_deg(mean, axis) for axis in axes]
    return np.asarray(mean, dtype=float), math.sqrt(float(np.mean(np.square(off)))) / math.sqrt(len(axes))


def _trusted(axis: tuple[Floats, float], estimate: UpEstimate, settings: RoomSettings) -> bool:
    if settings.plumb != "auto":
        return settings.plumb == "scanner"
    off = angle_deg(axis[0], estimate.up)
    return off <= max(AGREE_DEG, 3.0 * estimate.standard_uncertainty_deg) and off < 3.0 and axis[1] < AGREE_DEG


def _up_from_marks(settings: RoomSettings, near: Floats) -> tuple[Floats, float] | None:
    """Solve up from plumb and level marks by least squares; None when they do not pin it down."""
    lines = [(np.subtract(upper, lower), True) for lower, upper in settings.plumb_marks]
    lines += [(np.subtract(second, first), False) for first, second in settings.level_marks]
    if not lines:
        return None
    rows: list[Floats] = []
    for vector, plumb in lines:
        rows += list(np.cross(np.eye(3), vector)) if plumb else [np.asarray(vector, dtype=float)]
    values, vectors = np.linalg.eigh(np.array(rows).T @ np.array(rows))
    if values[1] < 1e-4 * values[2] or values[1] <= 0.0:
        return None
    up = vectors[:, 0] * (np.sign(vectors[:, 0] @ near) or 1.0)
    misfit = math.sqrt(max(float(values[0]), 0.0))
    own = math.sqrt(2.0) * settings.mark_uncertainty_mm * 1e-3
    spread = max(own, misfit) / math.sqrt(float(values[1]))
    return np.asarray(up, dtype=float), math.degrees(spread)


def _explain(plumb: Plumb, axis: tuple[Floats, float] | None, estimate: UpEstimate) -> list[Finding]:
    findings = []
    off = angle_deg(plumb.up_local, estimate.up)
    if plumb.source == "estimated":
        z_off = angle_deg(plumb.up_local, np.array([0.0, 0.0, 1.0]))
        why = "the scan names no levelled scanner" if axis is None else "the scanner's axis disagrees with the walls"
        findings.append(
            Finding(
                "note",
                "plumb-estimated",
                f"Plumb is estimated from walls, floor and ceiling ({why}); standard uncertainty "
                f"{plumb.standard_uncertainty_deg:.2f} deg, {z_off:.2f} deg from the file's z axis.",
            )
        )
    elif off > max(1.0, 3.0 * estimate.standard_uncertainty_deg):
        text = f"Plumb ({plumb.source}) is {off:.1f} deg off what the walls and floor show."
        findings.append(Finding("warning", "plumb-disagrees", text))
    if estimate.floor_tilt_deg is not None and estimate.floor_tilt_deg > 2.0:
        findings.append(
            Finding(
                "warning",
                "floor-ceiling-disagree",
                f"Floor and ceiling are {estimate.floor_tilt_deg:.1f} deg from parallel: one of them slopes, or the "
                "scan is distorted; check a known dimension before using any figure.",
            )
        )
    return findings
