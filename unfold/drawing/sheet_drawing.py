"""Sheets as nested, several on a page of the drawing set."""

import numpy as np
import shapely

from unfold.arrays import Floats
from unfold.drawing.lengths import dimension
from unfold.drawing.panel_label import panel_label
from unfold.drawing.panel_sheet import PANEL_GREY
from unfold.drawing.panel_text import SMALL_MM, TEXT_MM, write_in_shape
from unfold.drawing.paper import NARROW, WIDE, Paper
from unfold.drawing.title_block import Box
from unfold.layout.result import Panel, Placement, Stock
from unfold.settings.drawing import DrawingSettings

SCALES = (5, 10, 20, 25, 50)
TITLE_MM = 7.0
SPACING_MM = 8.0
LABEL_LINES = {"mm": 2, "ft-in": 3}  # id and size, without the mass
SheetInUse = tuple[Stock, int, list[Panel]]


def sheets_on_pages(
    sheets: list[SheetInUse], box: Box
) -> tuple[int, list[list[tuple[SheetInUse, float, float]]]]:
    """Choose the scale at which at least six sheets share a page, and place all: (sheet, x, y) page by page."""
    length = max(kind.size_mm[0] for kind, _, _ in sheets)
    width = max(kind.size_mm[1] for kind, _, _ in sheets)
    least = min(6, len(sheets))
    for scale in SCALES:
        cell = length / scale + SPACING_MM, width / scale + SPACING_MM + TITLE_MM
        columns, rows = int((box.width + SPACING_MM) / cell[0]), int(box.height / cell[1])
        if columns * rows >= least:
            break
    columns, rows = max(1, columns), max(1, rows)
    top = box.bottom + box.height
    pages = []
    for first in range(0, len(sheets), columns * rows):
        page = []
        for number, sheet in enumerate(sheets[first : first + columns * rows]):
            row, column = divmod(number, columns)
            page.append((sheet, box.left + column * cell[0], top - (row + 1) * cell[1] + SPACING_MM))
        pages.append(page)
    return scale, pages


def draw_sheet(
    paper: Paper, sheet: SheetInUse, x: float, y: float, scale: int, trim_mm: float, settings: DrawingSettings
) -> None:
    """Draw one sheet with the panels that are cut from it, seen face up."""
    kind, number, panels = sheet
    length, width = kind.size_mm
    origin = np.array([x, y])
    paper.ring(_rectangle(0.0, length, width) / scale + origin, NARROW, 0.0)
    if trim_mm > 0.0:
        paper.ring(_rectangle(trim_mm, length, width) / scale + origin, NARROW, 0.5, dash=(2.0, 1.0))
    for panel in panels:
        assert panel.placed is not None
        ring, *cutouts = (
            _on_sheet(ring, panel, panel.placed) / scale + origin
            for ring in (panel.ring_mm, *(cutout.ring_mm for cutout in panel.cutouts))
        )
        paper.outline(ring, WIDE, 0.0, PANEL_GREY)
        for cutout in cutouts:
            paper.outline(cutout, NARROW, 0.0, 1.0)
        lines = panel_label(panel, settings)[: LABEL_LINES[settings.units]]
        write_in_shape(paper, shapely.Polygon(ring, cutouts), lines)
    used = sum(panel.area_mm2 for panel in panels) / (length * width)
    size = f"{dimension(length, settings)} x {dimension(width, settings)} x {kind.thickness_mm:g}"
    title = f"{kind.id} sheet {number}"
    paper.text(x, y + width / scale + 2.0, title, TEXT_MM, bold=True)
    after = x + paper.text_width(title, TEXT_MM, True) + 3.0
    paper.text(after, y + width / scale + 2.0, f"{size}   used {100.0 * used:.0f} %", SMALL_MM)


def _on_sheet(points: Floats, panel: Panel, placement: Placement) -> Floats:
    """Take points of the wall's frame to the sheet's."""
    local = points - panel.ring_mm.min(axis=0)
    if placement.turned:
        local = np.column_stack([np.ptp(panel.ring_mm[:, 1]) - local[:, 1], local[:, 0]])
    return np.asarray(local + np.asarray(placement.origin_mm))


def _rectangle(inset: float, length: float, width: float) -> Floats:
    right, top = length - inset, width - inset
    return np.array([[inset, inset], [right, inset], [right, top], [inset, top]])
