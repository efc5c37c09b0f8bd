"""Errors that no amount of points on a wall reduces: how the stations sit, drift, correlated noise, plumb."""

from dataclasses import dataclass

import numpy as np

from unfold.findings import Finding
from unfold.settings.surface import SurfaceSettings
from unfold.surface.registration import Registration

_MODEL_MM = 0.03  # of the map itself: cells, interpolation, the search's own grid
_HAND_MM2 = np.pi * 50.0**2  # the area of a lump of a hand's size, which the map may smooth away
_LUMP_SQUARE = 0.3  # mean square of a rounded lump of height 1 over its area
_MM_PER_M_PER_DEG = 1000.0 * np.pi / 180.0
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
class SharedErrors:
    """What is known of the whole scan: each wall's shared error follows from it."""

    settings: SurfaceSettings
    plumb_deg: float
    station_mm: float  # standard deviation of a station's place along a wall's normal
    stated: bool  # the scan says where it was taken from

    def of_wall(
        self, wall: str, registration: Registration, noise_mm: float, points_per_mm2: float
    ) -> tuple[SharedError, list[Finding]]:
        """The shared error of one wall, and what had to be assumed for it."""
        model = model_error_mm(noise_mm, points_per_mm2)
        plumb = _MM_PER_M_PER_DEG * self.plumb_deg
        if not self.stated:
            drift = self.settings.drift if self.settings.drift is not None else noise_mm
            return SharedError(drift, drift, 0.0, model, plumb, "drift"), [_drift_assumed(wall, drift)]
        stations = max(len(registration.offsets_mm), 1)
        shape = 0.0 if registration.connected else self.station_mm
        patch = registration.correlated_mm or 0.0
        error = SharedError(self.station_mm / float(np.sqrt(stations)), shape, patch, model, plumb)
        return error, [] if len(registration.offsets_mm) else [_registration_assumed(wall, self.station_mm)]


def model_error_mm(noise_mm: float, points_per_mm2: float) -> float:
    """Standard uncertainty of a gap from what the map may smooth away.

    A lump of a hand's size stands out by its height times the root of its points; half the height that stands out by
    one standard error is taken, for most walls have no such lump.
    """
    points = max(points_per_mm2 * _HAND_MM2, 1.0)
    return float(np.hypot(_MODEL_MM, 0.5 * noise_mm / np.sqrt(_LUMP_SQUARE * points)))


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
