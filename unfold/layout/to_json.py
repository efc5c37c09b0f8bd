"""The layout as layout.json states it."""

from typing import Any

from unfold.layout.result import Layout, Panel, Placement, WallLayout


def layout_json(layout: Layout) -> dict[str, Any]:
    """Return the document of layout.json; arrays are left for the writer to make plain."""
    return {
        "format": "unfold-layout",
        "version": 1,
        "stock": [
            {
                "id": kind.id,
                "size_mm": kind.size_mm,
                "thickness_mm": kind.thickness_mm,
                "density_kg_m3": kind.density_kg_m3,
                "count": kind.count,
                "directional": kind.directional,
            }
            for kind in layout.stock
        ],
        "walls": [_wall(wall) for wall in layout.walls],
        "totals": {name: getattr(layout.totals, name) for name in layout.totals.__slots__},
        "schemes": [{name: getattr(scheme, name) for name in scheme.__slots__} for scheme in layout.schemes],
        "findings": [
            {"level": one.level, "code": one.code, "text": one.text, "wall": one.wall} for one in layout.findings
        ],
    }


def _wall(wall: WallLayout) -> dict[str, Any]:
    field = list(wall.field_mm)
    return {
        "id": wall.id,
        "treatment": wall.treatment,
        "reason": wall.reason,
        "provisional": wall.provisional,
        "scheme": wall.scheme,
        "patches": [
            {
                "kind": spot.kind,
                "ring": spot.ring_mm,
                "area_mm2": spot.area_mm2,
                "volume_litres": spot.volume_litres,
                "most_mm": spot.most_mm,
            }
            for spot in wall.patches
        ],
        "cover": None if wall.cover is None else {name: getattr(wall.cover, name) for name in wall.cover.__slots__},
        "face_offset_mm": wall.face_offset_mm,
        "face_slope_mm_per_m": wall.face_slope_mm_per_m,
        "bed_mm": None
        if wall.bed is None
        else {
            "least": wall.bed.least_mm,
            "mean": wall.bed.mean_mm,
            "most": wall.bed.most_mm,
            "volume_litres": wall.bed.volume_litres,
        },
        "field": field[0] if field else [],
        "more_fields": field[1:],
        "gaps": [{name: getattr(gap, name) for name in gap.__slots__} for gap in wall.gaps],
        "joints": [{"kind": joint.kind, "line": joint.line_mm, "width_mm": joint.width_mm} for joint in wall.joints],
        "panels": [_panel(panel) for panel in wall.panels],
        "balance_mm2": {name: getattr(wall.balance, name) for name in wall.balance.__slots__},
    }


def _panel(panel: Panel) -> dict[str, Any]:
    return {
        "id": panel.id,
        "label": panel.label,
        "row": panel.row,
        "column": panel.column,
        "ring": panel.ring_mm,
        "cutouts": [{"of": cutout.of, "ring": cutout.ring_mm} for cutout in panel.cutouts],
        "area_mm2": panel.area_mm2,
        "mass_kg": panel.mass_kg,
        "from": None if panel.placed is None else _placement(panel.placed),
        "mitres": [
            {"neighbour": one.neighbour, "bevel_deg": one.bevel_deg, "line": one.line_mm} for one in panel.mitres
        ],
        "fits_in": panel.fits_in,
        "notes": panel.notes,
    }


def _placement(placed: Placement) -> dict[str, Any]:
    return {"stock": placed.stock, "sheet": placed.sheet, "origin_mm": placed.origin_mm, "turned": placed.turned}
