"""Errors that no amount of points on a wall reduces: how the stations sit, drift, correlated noise, plumb."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from unfold.arrays import Floats
from unfold.findings import Finding
from unfold.settings.surface import SurfaceSettings
from unfold.surface.registration import Registration, station_error_mm

_MODEL_MM = 0.03  # of the map itself: cells, interpolation, the search's own grid
_HAND_MM2 = np.pi * 50.0**2  # the area of a lump of a hand's size, which the map may smooth away
_LUMP_SQUARE = 0.3  # mean square of a rounded lump of height 1 over its area
_MM_PER_M_PER_DEG = 1000.0 * np.pi / 180.0
_LEAST_STRETCHES = 5
_LEAST_PASSES = 3.0  # of the mean tile
_LEAST_DRIFT_MM = 0.3  # stretches that agree better may be no stretches of time at all
_FREE_STRETCHES = 3.0  # a slow drift gives no more independent ones
_UNSEEN_SHARE = 0.1  # of the drift that stretches, offset and tilted as wholes, may leave in a wall's shape
_DECIMETRE_MM = 100.0
_SPAN_MM = 3000.0  # over which an error of shape comes in full


@dataclass(frozen=True, slots=True)
class SharedError:
    """Standard uncertainties for one wall.

    `height_mm` moves the wall as a whole; `shape_mm` bends it over some metres (seams between stations, drift);
    `patch_mm` is an error of a decimetre's mean (correlated noise); `model_mm` that of the map itself.
    """

    height_mm: float
    shape_mm: float
    patch_mm: float
    model_mm: float
    plumb_mm_per_m: float
    shape_name: str = "registration"

    def of_straightedge(self, length_mm: float) -> dict[str, float]:
        """Parts of a straightedge's standard uncertainty: a gap compares one place with two others, half of each."""
        gap = float(np.sqrt(1.5))
        shape = gap * self.shape_mm * min(1.0, length_mm / _SPAN_MM)
        return {self.shape_name: shape, "correlated_noise": gap * self.patch_mm, "model": self.model_mm}


@dataclass(frozen=True, slots=True)
class Drift:
    """How a scan taken on the move drifted, from the offsets of its stretches along the walls' normals."""

    place_mm: float  # root mean square of the offsets
    step_mm: float  # of the differences from one stretch to the next
    tilt_mm_per_m: float


@dataclass(frozen=True, slots=True)
class SharedErrors:
    """What is known of the whole scan: each wall's shared error follows from it."""

    settings: SurfaceSettings
    plumb_deg: float
    station_mm: float  # standard deviation of a station's place along a wall's normal
    stated: bool  # the scan says where it was taken from
    drift: Drift | None = None  # what a scan without stations shows of its own drift

    def of_wall(
        self, wall: str, registration: Registration, noise_mm: float, points_per_mm2: float, rounding_mm: float = 0.0
    ) -> tuple[SharedError, list[Finding]]:
        """The shared error of one wall, and what had to be assumed for it; `rounding_mm` is an error of a patch."""
        error, findings = self._of_wall(wall, registration, noise_mm, points_per_mm2)
        return replace(error, patch_mm=float(np.hypot(error.patch_mm, rounding_mm))), findings

    def _of_wall(
        self, wall: str, registration: Registration, noise_mm: float, points_per_mm2: float
    ) -> tuple[SharedError, list[Finding]]:
        model = model_error_mm(noise_mm, points_per_mm2)
        plumb = _MM_PER_M_PER_DEG * self.plumb_deg
        if not self.stated:
            return self._drifted(wall, registration, noise_mm, model, plumb)
        stations = max(len(registration.offsets_mm), 1)
        shape = 0.0 if registration.connected else self.station_mm
        patch = registration.correlated_mm or 0.0
        error = SharedError(self.station_mm / float(np.sqrt(stations)), shape, patch, model, plumb)
        return error, [] if len(registration.offsets_mm) else [_registration_assumed(wall, self.station_mm)]

    def _drifted(
        self, wall: str, registration: Registration, noise_mm: float, model_mm: float, plumb: float
    ) -> tuple[SharedError, list[Finding]]:
        """The error of a wall scanned on the move: from what its stretches show of the drift, else as assumed."""
        drift, settings = self.drift, self.settings
        if settings.drift is None and drift is not None and registration.seen_by >= _LEAST_PASSES:
            within = drift.step_mm / float(np.sqrt(12.0 * registration.seen_by))
            shape = float(np.hypot(within, _UNSEEN_SHARE * drift.place_mm))
            lean = float(np.hypot(plumb, drift.tilt_mm_per_m / np.sqrt(_FREE_STRETCHES)))
            height, patch = drift.place_mm / float(np.sqrt(_FREE_STRETCHES)), registration.correlated_mm or 0.0
            patch /= float(np.sqrt(registration.seen_by))
            return SharedError(height, shape, patch, model_mm, lean, "drift"), [_drift_seen(wall, drift)]
        assumed = settings.drift if settings.drift is not None else noise_mm
        return SharedError(assumed, assumed, 0.0, model_mm, plumb, "drift"), [_drift_assumed(wall, assumed)]


def shared_errors(
    walls: Sequence[Registration], settings: SurfaceSettings, plumb_deg: float, stated: bool
) -> SharedErrors:
    """Gather from all walls what is known of the scan as a whole."""
    drift = None if stated else seen_drift(walls)
    return SharedErrors(settings, plumb_deg, station_error_mm(walls, settings.station_error), stated, drift)


def seen_drift(walls: Sequence[Registration]) -> Drift | None:
    """What the stretches of a scan show of its drift; None when they show none, which proves nothing."""
    shown = [wall for wall in walls if len(wall.offsets_mm) >= _LEAST_STRETCHES]
    if not shown:
        return None
    place = np.sqrt(np.mean(np.concatenate([wall.offsets_mm for wall in shown]) ** 2))
    step = np.sqrt(np.mean(np.concatenate([np.diff(wall.offsets_mm) for wall in shown]) ** 2))
    tilt = np.sqrt(np.mean(np.concatenate([wall.corrections_mm[:, 2] for wall in shown]) ** 2))
    return Drift(float(place), float(step), float(tilt)) if place >= _LEAST_DRIFT_MM else None


def model_error_mm(noise_mm: float, points_per_mm2: float) -> float:
    """Standard uncertainty of a gap from what the map may smooth away.

    A lump of a hand's size stands out by its height times the root of its points; half the height that stands out by
    one standard error is taken, for most walls have no such lump.
    """
    points = max(points_per_mm2 * _HAND_MM2, 1.0)
    return float(np.hypot(_MODEL_MM, 0.5 * noise_mm / np.sqrt(_LUMP_SQUARE * points)))


def rounded_point_mm(step_mm: Floats, normal: Floats) -> float:
    """Standard deviation along a wall's `normal` (3,), unit, of a point whose coordinates are rounded to steps (3,)."""
    return float(np.linalg.norm(step_mm * normal)) / float(np.sqrt(12.0))


def rounding_error_mm(step_mm: Floats, normal: Floats, noise_mm: float) -> float:
    """Standard uncertainty of a decimetre's mean height from coordinates that are rounded to steps (3,), in the axes
    of the wall's unit `normal` (3,).

    Noise evens rounding out, the first harmonic of its error by exp(-2 pi^2 (noise / step)^2) (Widrow and Kollar 2008,
    from memory), and so does a wall that crosses several steps within the decimetre. A wall along the steps without
    noise shows one step however it bends.
    """
    along = np.sqrt(np.maximum(1.0 - normal**2, 0.0)) * _DECIMETRE_MM
    own = max(noise_mm**2 - rounded_point_mm(step_mm, normal) ** 2, 0.0)
    known = step_mm > 0
    step = np.where(known, step_mm, 1.0)
    left = np.exp(-2.0 * np.pi**2 * own / step**2) * np.minimum(1.0, step / (np.pi * np.maximum(along, 1e-9)))
    return float(np.linalg.norm(np.where(known, left * step * normal, 0.0))) / float(np.sqrt(12.0))


def _drift_seen(wall: str, drift: Drift) -> Finding:
    text = f"{wall}: the scan drifted by {drift.place_mm:.1f} mm between passes; its passes were set against each other"
    return Finding("note", "drift-seen", text, wall)


def _drift_assumed(wall: str, drift_mm: float) -> Finding:
    text = (
        f"{wall}: the scan does not say where it was taken from, so its drift cannot be seen; "
        f"{drift_mm:.1f} mm is assumed (surface.drift)"
    )
    return Finding("note", "drift-assumed", text, wall)


def _registration_assumed(wall: str, error_mm: float) -> Finding:
    text = (
        f"{wall}: no two stations saw the same part of it, so its height is taken to be uncertain by {error_mm:.1f} mm"
    )
    return Finding("note", "registration-assumed", text, wall)
