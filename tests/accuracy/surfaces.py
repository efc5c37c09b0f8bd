"""A measured wall's heights and flatness figures held against the truth."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tests.accuracy.matching import Pair, face, to_true
from tests.simulate.building import Building
from tests.simulate.scanner import scan_from_room
from unfold.arrays import AnyArray, Floats

BUMP_CODE = 5.0


@dataclass(frozen=True)
class FigureError:
    """One figure: what was measured, what is true, and the standard uncertainty that was stated."""

    name: str
    measured: float
    true: float
    uncertainty: float

    @property
    def covered(self) -> bool:
        return abs(self.measured - self.true) <= 2 * self.uncertainty


@dataclass(frozen=True)
class Verdict:
    """One rule on one wall."""

    rule: str
    tolerance_mm: float
    true_mm: float
    measured_mm: float | None
    uncertainty_mm: float | None
    verdict: str

    @property
    def wrong_conforms(self) -> bool:
        return self.verdict == "conforms" and self.true_mm > self.tolerance_mm

    @property
    def right(self) -> bool:
        """It says what is true; or that it cannot be decided, of a wall that is that near the tolerance."""
        if self.verdict == "cannot be decided":
            return self.uncertainty_mm is not None and abs(self.true_mm - self.tolerance_mm) <= 4 * self.uncertainty_mm
        return (self.verdict == "conforms") == (self.true_mm <= self.tolerance_mm)


@dataclass(frozen=True)
class SurfaceErrors:
    """Heights in millimetres: measured less true of each cell in the wall's face, and the stated standard error."""

    cells: Floats
    stated: Floats
    beside: int  # cells called measured wall that lie in an opening or off the wall
    figures: tuple[FigureError, ...]
    verdicts: tuple[Verdict, ...]
    bumps: tuple[tuple[float, float, bool], ...]  # across, height, told from flat


def compare_surface(pair: Pair, building: Building) -> SurfaceErrors:
    """Hold one measured wall's surface against the exact one."""
    surface = pair.measured.surface
    rows, columns = np.nonzero(np.isfinite(surface["height_mm"]))
    cell = float(surface["cell_mm"])
    u, v = float(surface["u0_mm"]) + columns * cell, float(surface["v0_mm"]) + rows * cell
    points = pair.measured.frame.level_from_uvh(np.column_stack([u, v, surface["height_mm"][rows, columns]]) / 1000)
    turn, offset = scan_from_room(building)
    wall = building.walls[pair.true.index]
    in_room = (points - offset) @ turn
    gap = wall.surface.gap(in_room) * 1000
    uvh = wall.surface.frame.uvh_from_level(in_room) * 1000
    true_face = face(np.asarray(pair.true.data["outline"]), [np.asarray(o["ring"]) for o in pair.true.data["openings"]])
    shapely.prepare(true_face)
    inside = shapely.contains_xy(true_face, uvh[:, 0], uvh[:, 1])
    outside = ~shapely.contains_xy(true_face.buffer(cell), uvh[:, 0], uvh[:, 1])
    error = gap[inside]
    stated = surface["standard_error_mm"][rows, columns][inside]
    return SurfaceErrors(
        error,
        stated,
        int(outside.sum()),
        _figures(pair),
        _verdicts(pair),
        _bumps(wall.surface.terms, _listed(pair)),
    )


def _figures(pair: Pair) -> tuple[FigureError, ...]:
    true, flat = pair.true.data["flatness"], pair.measured.flatness
    found = []
    for name in ("lean_mm_per_m", "bow_horizontal_mm", "bow_vertical_mm"):
        uncertainty = flat.get(name.replace("_mm", "_standard_uncertainty_mm", 1))
        if flat.get(name) is not None and true.get(name) is not None and uncertainty is not None:
            found.append(FigureError(name, flat[name], true[name], uncertainty))
    for entry in flat["straightedge"]:
        truth = _rule(true, entry["rule"])
        if truth is not None and entry["worst_mm"] is not None:
            found.append(
                FigureError(
                    f"straightedge {entry['length_mm']:.0f}",
                    entry["worst_mm"],
                    truth["worst_mm"],
                    entry["standard_uncertainty_mm"],
                )
            )
    return tuple(found)


def _verdicts(pair: Pair) -> tuple[Verdict, ...]:
    found = []
    for truth in pair.true.data["flatness"]["straightedge"]:
        entry = _rule(pair.measured.flatness, truth["rule"]) or {
            "worst_mm": None,
            "standard_uncertainty_mm": None,
            "verdict": "missing",
        }
        found.append(
            Verdict(
                truth["rule"],
                truth["tolerance_mm"],
                truth["worst_mm"],
                entry["worst_mm"],
                entry["standard_uncertainty_mm"],
                entry["verdict"],
            )
        )
    return tuple(found)


def _rule(flatness: dict[str, Any], rule: str) -> dict[str, Any] | None:
    return next((entry for entry in flatness["straightedge"] if entry["rule"] == rule), None)


def _listed(pair: Pair) -> Floats:
    """Lumps that flatness.json lists as told from flat: u and v on the true wall, mm, and height (n, 3)."""
    lumps = [lump for lump in pair.measured.flatness.get("lumps", ()) if not lump["doubtful"]]
    if not lumps:
        return np.zeros((0, 3))
    places = to_true([[lump["at"]["u"], lump["at"]["v"]] for lump in lumps], pair.measured, pair.true)
    return np.column_stack([places[:, :2], [lump["height_mm"] for lump in lumps]])


def _bumps(terms: Floats, listed: Floats) -> tuple[tuple[float, float, bool], ...]:
    """Across and height of each true bump, mm, and whether a lump of its sign is listed where its middle is."""
    found = []
    for row in terms[terms[:, 0] == BUMP_CODE]:
        across, height = row[4] * 2000, row[1] * 1000
        near = np.hypot(*(listed[:, :2] - row[2:4] * 1000).T) < max(across / 3, 15.0)
        found.append((across, height, bool((near & (listed[:, 2] * height > 0)).any())))
    return tuple(found)


def plumb_error_deg(elevations: dict[str, Any], truth: dict[str, Any]) -> float:
    """Angle between the measured plumb-up and the true one."""
    a, b = (np.asarray(doc["room"]["up_scan"], float) for doc in (elevations, truth))
    cross: AnyArray = np.cross(a, b)
    return math.degrees(math.atan2(float(np.linalg.norm(cross)), float(a @ b)))
