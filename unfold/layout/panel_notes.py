"""What has to be said of a panel before it is cut, carried and set."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString

from unfold.arrays import Floats
from unfold.layout.cutting_shapes import narrowest_mm
from unfold.layout.panels import PanelShape
from unfold.layout.result import Cutout
from unfold.layout.wall_face import WallFace
from unfold.quantity import COVERAGE_FACTOR
from unfold.settings.layout import LayoutSettings

POINTED_MM = 5.0
LEAST_UNSEEN_MM2 = 400.0  # smaller unseen patches are between single points


def panel_notes(
    panel: PanelShape, cutouts: Sequence[Cutout], face: WallFace, settings: LayoutSettings
) -> tuple[str, ...]:
    """Collect what a panel's shape, its cutouts and the gaps in the measurement ask for."""
    notes = [
        *_shape_notes(panel.notch_corners),
        *_sharp_notes(panel),
        *_strip_notes(panel, settings),
        *_bridge_notes(panel, cutouts, settings),
        *_unseen_notes(panel, face),
        *_uncertain_notes(panel, face, settings),
    ]
    return tuple(notes)


def _shape_notes(corners: Floats) -> list[str]:
    if not len(corners):
        return []
    places = " and ".join(f"u {u:.0f}, v {v:.0f}" for u, v in corners)
    kind = {1: "L-shaped", 2: "U-shaped"}.get(len(corners), "notched")
    return [
        f"{kind}: cracks start at the inside corner{'s' * (len(corners) > 1)} at {places}; "
        "carry it on a frame, or split it there"
    ]


def _sharp_notes(panel: PanelShape) -> list[str]:
    if not len(panel.sharp_corners):
        return []
    places = " and ".join(f"u {u:.0f}, v {v:.0f}" for u, v in panel.sharp_corners)
    return [f"no room for the cutter's radius at {places}: drill there first"]


def _strip_notes(panel: PanelShape, settings: LayoutSettings) -> list[str]:
    width = narrowest_mm(panel.shape, settings.joints.least_strip)
    if width is None:
        return []
    if width < POINTED_MM:
        return ["runs out to a sharp point, which breaks easily"]
    return [f"narrow: {width:.0f} mm at its narrowest (wanted {settings.joints.least_strip:g}); it breaks easily"]


def _bridge_notes(panel: PanelShape, cutouts: Sequence[Cutout], settings: LayoutSettings) -> list[str]:
    notes, least = [], settings.cutting.least_bridge
    rings = [LineString(np.concatenate([cutout.ring_mm, cutout.ring_mm[:1]])) for cutout in cutouts]
    for index, (cutout, ring) in enumerate(zip(cutouts, rings, strict=True)):
        to_edge = ring.distance(panel.shape.exterior)
        if to_edge < least:
            notes.append(f"the cutout of {cutout.of} leaves {to_edge:.0f} mm to the edge (at least {least:g})")
        for other, other_ring in zip(cutouts[index + 1 :], rings[index + 1 :], strict=True):
            between = ring.distance(other_ring)
            if between < least:
                notes.append(
                    f"{between:.0f} mm are left between the cutouts of {cutout.of} and {other.of} (at least {least:g})"
                )
    return notes


def _unseen_notes(panel: PanelShape, face: WallFace) -> list[str]:
    hidden = panel.shape.intersection(face.unseen).area
    if hidden < LEAST_UNSEEN_MM2:
        return []
    return [
        f"{hidden * 1e-6:.3f} m2 of the wall behind it were not seen: look for boxes and bumps there before cutting"
    ]


def _uncertain_notes(panel: PanelShape, face: WallFace, settings: LayoutSettings) -> list[str]:
    """Edges and openings that the panel meets and that the measurement leaves open by more than their gap."""
    notes = []
    for edge in face.wall.edges:
        gap = max(settings.gaps.change_of_plane, settings.joints.width)
        if COVERAGE_FACTOR * edge.standard_uncertainty_mm > gap:
            line = LineString(face.edge_points(edge)) if edge.first != edge.last else None
            if line is not None and shapely.dwithin(panel.shape, line, 60.0):
                spread = COVERAGE_FACTOR * edge.standard_uncertainty_mm
                notes.append(
                    f"its {edge.kind.replace('_', ' ')} edge is known to ± {spread:.1f} mm only: tape it before cutting"
                )
    for name, shape in face.openings.items():
        opening = face.opening(name)
        clearance = settings.gaps.box if opening.kind == "service" else settings.gaps.opening
        spread = COVERAGE_FACTOR * opening.standard_uncertainty_mm
        if spread > clearance and shapely.dwithin(panel.shape, shape, clearance + 1.0):
            notes.append(f"{name} is known to ± {spread:.1f} mm only: tape it before cutting")
    return notes
