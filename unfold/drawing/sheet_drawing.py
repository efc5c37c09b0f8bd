"""Sheets as nested, several on a page of the drawing set."""

import numpy as np
import shapely

from unfold.arrays import Floats
from unfold.drawing.cut_sheet import CutSheet
from unfold.drawing.lengths import dimension
from unfold.drawing.panel_label import panel_label
from unfold.drawing.panel_sheet import PANEL_GREY
from unfold.drawing.panel_text import LEAST_MM, SMALL_MM, TEXT_MM, write_in_shape
from unfold.drawing.paper import NARROW, WIDE, Paper
from unfold.drawing.title_block import Box
from unfold.layout.result import Panel, Placement
from unfold.settings.drawing import DrawingSettings

SCALES = (5, 10, 20, 25, 50)
TITLE_MM, LINE_MM, UNDER_MM = 10.0, 3.5, 4.0
SPACING_MM = 8.0
LEAST_REST_MM = 150.0  # narrower rests are not worth naming
LABEL_LINES = {"mm": 2, "ft-in": 3}  # id and size, without the mass


def sheets_on_pages(
    sheets: list[CutSheet], box: Box
) -> tuple[int, list[list[tuple[CutSheet, float, float]]]]:
    """Choose the scale at which at least six sheets share a page, and place all: (sheet, x, y) page by page."""
    length = max(plan.kind.size_mm[0] for plan in sheets)
    width = max(plan.kind.size_mm[1] for plan in sheets)
    least = min(6, len(sheets))
    for scale in SCALES:
        cell = length / scale + SPACING_MM, width / scale + UNDER_MM + TITLE_MM
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
            page.append((sheet, box.left + column * cell[0], top - (row + 1) * cell[1] + UNDER_MM))
        pages.append(page)
    return scale, pages


def draw_sheet(paper: Paper, plan: CutSheet, x: float, y: float, scale: int, settings: DrawingSettings) -> None:
    """Draw one sheet with the panels that are cut from it, seen face up, and the saw's cuts in order."""
    length, width = plan.kind.size_mm
    origin = np.array([x, y])
    paper.ring(_rectangle(0.0, length, width) / scale + origin, NARROW, 0.0)
    if plan.trim_mm > 0.0:
        paper.ring(_rectangle(plan.trim_mm, length, width) / scale + origin, NARROW, 0.5, dash=(2.0, 1.0))
    # The largest first: a smaller one may lie in its cutout.
    for panel in sorted(plan.panels, key=lambda panel: -float(np.ptp(panel.ring_mm, axis=0).prod())):
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
    for number, cut in enumerate(plan.cuts, start=1):
        _draw_cut(paper, np.array(cut) / scale + origin, number)
    _draw_title(paper, plan, x, y + width / scale + 2.0, length / scale, settings)


def _draw_cut(paper: Paper, line: Floats, number: int) -> None:
    """Draw a cut as a chain line that ends in its number, a little inside the edge that it ends at."""
    paper.line(line, 0.18, 0.35, (3.0, 0.8, 0.6, 0.8))
    step = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    at = line[1] - 3.0 * step
    radius = 1.5
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    paper.ring(at + radius * np.column_stack([np.cos(angle), np.sin(angle)]), 0.13, 0.35, 1.0)
    paper.text(float(at[0]), float(at[1]) - LEAST_MM / 2.0, str(number), LEAST_MM, "middle")


def _draw_title(
    paper: Paper, plan: CutSheet, x: float, y: float, room_mm: float, settings: DrawingSettings
) -> None:
    """Write the sheet's name, use and largest rest over it, no wider than the sheet."""
    length, width = plan.kind.size_mm
    title = f"{plan.kind.id} sheet {plan.number}"
    paper.text(x, y + LINE_MM, title, TEXT_MM, bold=True)
    words = f"used {100.0 * plan.used_share:.0f} % of "
    words += f"{dimension(length, settings)} x {dimension(width, settings)} x {plan.kind.thickness_mm:g}"
    after = paper.text_width(title, TEXT_MM, True) + 3.0
    paper.text(x + after, y + LINE_MM, paper.fitted(words, room_mm - after, SMALL_MM), SMALL_MM)
    if plan.rest_mm is not None and min(plan.rest_mm) >= LEAST_REST_MM:
        rest = f"largest rest {dimension(plan.rest_mm[0], settings)} x {dimension(plan.rest_mm[1], settings)}"
        paper.text(x, y, paper.fitted(rest, room_mm, SMALL_MM), SMALL_MM)


def _on_sheet(points: Floats, panel: Panel, placement: Placement) -> Floats:
    """Take points of the wall's frame to the sheet's."""
    local = points - panel.ring_mm.min(axis=0)
    if placement.turned:
        local = np.column_stack([np.ptp(panel.ring_mm[:, 1]) - local[:, 1], local[:, 0]])
    return np.asarray(local + np.asarray(placement.origin_mm))


def _rectangle(inset: float, length: float, width: float) -> Floats:
    right, top = length - inset, width - inset
    return np.array([[inset, inset], [right, inset], [right, top], [inset, top]])
