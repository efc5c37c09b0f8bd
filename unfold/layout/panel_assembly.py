"""Panels with everything that belongs to them: cutouts, mass, sheet, the way in, label and notes."""

import math
from collections.abc import Mapping

from unfold.elevation.result import Elevations
from unfold.layout.handling import PanelBody, assess_handling, panel_mass_kg
from unfold.layout.panel_notes import panel_notes
from unfold.layout.panels import Cut, PanelShape, cutouts_of
from unfold.layout.passage import Passage
from unfold.layout.place import place_of, way_in
from unfold.layout.result import Panel
from unfold.layout.sheet_plan import SheetPlan
from unfold.layout.tip_in import LiftingFrame
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import LayoutSettings


def assemble_panels(
    elevations: Elevations,
    faces: Mapping[str, WallFace],
    cuts: Mapping[str, Cut],
    plan: SheetPlan,
    settings: LayoutSettings,
) -> dict[str, tuple[Panel, ...]]:
    """Make the panels of every wall, by wall id."""
    route = way_in(elevations, settings)
    return {
        name: tuple(
            _panel(f"{name}-P{number}", panel, faces[name], elevations, plan, route, settings)
            for number, panel in enumerate(cut.panels, start=1)
        )
        for name, cut in cuts.items()
    }


def _panel(
    panel_id: str,
    shape: PanelShape,
    face: WallFace,
    elevations: Elevations,
    plan: SheetPlan,
    route: tuple[Passage, ...] | None,
    settings: LayoutSettings,
) -> Panel:
    placed = plan.placements.get(panel_id)
    kind = next((kind for kind in settings.stock if placed and kind.id == placed.stock), settings.stock[0])
    area, ring, cutouts = shape.shape.area, shape.ring, cutouts_of(shape, face)
    mass = panel_mass_kg(area, kind.thickness, kind.density_kg_m3)
    left, low, right, high = shape.shape.bounds
    body = PanelBody(right - left, high - low, kind.thickness, mass)
    frame = LiftingFrame(settings.lifting_frame.depth, settings.lifting_frame.above_foot)
    handling = assess_handling(body, route, place_of(ring, face, elevations), frame)
    return Panel(
        id=panel_id,
        ring_mm=ring,
        cutouts=cutouts,
        row=shape.row,
        column=shape.column,
        area_mm2=area,
        mass_kg=mass,
        placed=placed,
        fits_in=handling.fits_in,
        notes=(
            *_mitre_notes(shape, kind.thickness), *panel_notes(shape, cutouts, face, settings),
            *_vein_notes(panel_id, plan), *handling.notes,
        ),
        mitres=shape.mitres,
        label=f"{panel_id}  row {shape.row}  column {shape.column}  up ^",
    )  # fmt: skip


def _mitre_notes(shape: PanelShape, thickness_mm: float) -> list[str]:
    return [
        f"mitred to {one.neighbour} at {one.bevel_deg:.1f} deg from square: its back is "
        f"{thickness_mm * math.tan(math.radians(one.bevel_deg)):.1f} mm shorter than the face"
        for one in shape.mitres
    ]


def _vein_notes(panel_id: str, plan: SheetPlan) -> list[str]:
    partner = plan.partners.get(panel_id)
    return [] if partner is None else [f"book-matched with {partner}: cut from twin sheets that mirror each other"]
