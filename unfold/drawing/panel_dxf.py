"""A wall's panels as a dimensioned DXF: panels/W1-panels.dxf.

Beside the layers of the wall's own drawing:

PANEL           panel outlines, one closed polyline each
CUTOUT          cutouts in panels
MOVEMENT-JOINT  middle lines of movement joints
MITRE           edges that are bevelled at outside corners
TABLE           points of the scribed edges
"""

from pathlib import Path

from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace
from shapely.geometry import MultiLineString

from unfold.drawing.dxf_document import (
    DIMENSION_STYLE,
    PAPER_TEXT_MM,
    TEXT_STYLE,
    add_ring,
    add_text,
    drawing_scale,
    new_document,
    save,
)
from unfold.drawing.panel_elevation import Ordinate, PanelElevation, ScribeTable, spread
from unfold.drawing.panel_label import panel_label, panel_shape, text_place
from unfold.drawing.thinning import thinned
from unfold.layout.result import Panel
from unfold.settings.drawing import DrawingSettings

EXTRA_LAYERS = (("PANEL", 7, 50), ("CUTOUT", 7, 35), ("MOVEMENT-JOINT", 1, 35), ("MITRE", 30, 35), ("TABLE", 7, 18))
ROW_SHARE = 1.8  # of the text height, from row to row
COLUMN_SHARE = {"mm": 11.0, "ft-in": 24.0}
TABLE_SHARE, LEAST_ROWS = 0.6, 30  # tables are read on the screen: smaller text than on paper, in short columns
THINNED_MM = 0.05  # points of rings that lie this close to the line between others are left out
TOP_RIGHT = 3  # of the attachment points of a block of text
LETTER_SHARE = 0.95
"""Width of a letter as a share of the text height, on average and on the safe side."""


def write_panel_dxf(elevation: PanelElevation, path: Path, settings: DrawingSettings) -> None:
    """Write one wall's panels with ordinate dimensions from the datum, and its tables beside them."""
    left, bottom, right, top = elevation.bounds_mm
    scale = drawing_scale(right - left, top - bottom)
    text = PAPER_TEXT_MM * scale
    document = new_document(scale)
    for name, colour, weight in EXTRA_LAYERS:
        document.layers.add(name, color=colour, lineweight=weight)
    space = document.modelspace()
    _add_wall(space, elevation, text, settings)
    for axis in ("u", "v"):
        _add_ordinates(space, elevation, [one for one in elevation.ordinates if one.axis == axis], text)
    x, small = right + 12.0 * text, TABLE_SHARE * text
    column = COLUMN_SHARE[settings.units]
    rows = max(LEAST_ROWS, int((top - bottom) / (ROW_SHARE * small)))
    for part in [part for table in elevation.tables for part in table.parts(rows)]:
        _add_table(space, part, x, top, small, column * small)
        x += (3.0 * column + 6.0) * small
    save(document, path)


def _add_wall(space: Modelspace, elevation: PanelElevation, text: float, settings: DrawingSettings) -> None:
    left, bottom, right, top = elevation.bounds_mm
    level, plumb = elevation.level_v_mm, elevation.plumb_u_mm
    datums = MultiLineString([[(left, level), (right, level)], [(plumb, bottom), (plumb, top)]])
    add_ring(space, thinned(elevation.outline_mm, THINNED_MM), "OUTLINE")
    for opening in elevation.openings:
        add_ring(space, thinned(opening.ring_mm, THINNED_MM), "OPENING")
    for panel in elevation.panels:
        add_ring(space, thinned(panel.ring_mm, THINNED_MM), "PANEL")
        for cutout in panel.cutouts:
            add_ring(space, thinned(cutout.ring_mm, THINNED_MM), "CUTOUT")
        _add_label(space, panel, panel_label(panel, settings), text, datums)
        for mitre in panel.mitres:
            start, end = mitre.line_mm.tolist()
            space.add_line(start, end, dxfattribs={"layer": "MITRE"})
            at, words = mitre.line_mm.mean(axis=0).tolist(), f"mitre {mitre.bevel_deg:.1f}° to {mitre.neighbour}"
            is_left = at[0] < (left + right) / 2.0
            place = (at[0] + (0.6 if is_left else -0.6) * text, at[1])  # within the panel
            align = TextEntityAlignment.TOP_CENTER if is_left else TextEntityAlignment.BOTTOM_CENTER
            add_text(space, place, words, 0.7 * text, "MITRE", align, rotation=90.0)
    for joint in elevation.joints:
        if joint.kind == "movement":
            start, end = joint.line_mm.tolist()
            space.add_line(start, end, dxfattribs={"layer": "MOVEMENT-JOINT"})
    over = 3.0 * text
    space.add_line((left - over, level), (right + over, level), dxfattribs={"layer": "DATUM"})
    space.add_line((plumb, bottom - over), (plumb, top + over), dxfattribs={"layer": "DATUM"})
    add_text(space, (right + over, level), "level datum", text, "DATUM", TextEntityAlignment.MIDDLE_LEFT)
    add_text(space, (plumb, top + over), "plumb datum", text, "DATUM", TextEntityAlignment.BOTTOM_CENTER)


def _add_label(
    space: Modelspace, panel: Panel, lines: tuple[str, ...], text: float, datums: MultiLineString
) -> None:
    """Write into the panel, upright where only that fits; smaller, then the id alone, where it is narrow."""
    options = [
        (count, height * text, turned)
        for count, height in ((len(lines), 1.0), (len(lines), 0.7), (1, 1.0), (1, 0.7), (1, 0.5), (1, 0.3))
        for turned in (False, True)
    ]
    sizes = []
    for count, height, turned in options:
        size = LETTER_SHARE * height * max(map(len, lines[:count])), ROW_SHARE * height * count
        sizes.append(size[::-1] if turned else size)
    found = text_place(panel_shape(panel), sizes, datums)
    if found is None:
        return
    count, height, turned = options[found[0]]
    for number, line in enumerate(lines[:count]):
        down = (number - (count - 1) / 2.0) * ROW_SHARE * height
        x, y = found[1] + ((down, 0.0) if turned else (0.0, -down))
        place, turn = (float(x), float(y)), 90.0 if turned else 0.0
        add_text(space, place, line, height, align=TextEntityAlignment.MIDDLE_CENTER, rotation=turn)


def _add_ordinates(space: Modelspace, elevation: PanelElevation, ordinates: list[Ordinate], text: float) -> None:
    """Add ordinates on the left or under the wall, their texts moved apart."""
    left, bottom, _, _ = elevation.bounds_mm
    datum = (elevation.plumb_u_mm, elevation.level_v_mm)
    places = spread([one.at_mm for one in ordinates], ROW_SHARE * text)
    for one, place in zip(ordinates, places, strict=True):
        if one.axis == "u":
            feature, offset = (one.at_mm, bottom), (place - one.at_mm, -7.0 * text)
            add = space.add_ordinate_x_dim
        else:
            feature, offset = (left, one.at_mm), (-7.0 * text, place - one.at_mm)
            add = space.add_ordinate_y_dim
        dimension = add(
            feature_location=feature,
            offset=offset,
            origin=datum,
            text=one.text,
            dimstyle=DIMENSION_STYLE,
            dxfattribs={"layer": "DIMENSION"},
        )
        dimension.render()


def _add_table(
    space: Modelspace, table: ScribeTable, x: float, top: float, text: float, column_mm: float
) -> None:
    add_text(space, (x, top), table.title, text, "TABLE")
    for column, cells in enumerate(zip(table.header, *table.rows, strict=True), start=1):
        at = (x + column * column_mm, top - ROW_SHARE * text)
        attributes = {
            "layer": "TABLE", "style": TEXT_STYLE, "char_height": text, "attachment_point": TOP_RIGHT, "insert": at,
            "line_spacing_factor": 1.0,
        }  # fmt: skip
        space.add_mtext("\\P".join(cells), dxfattribs=attributes)
