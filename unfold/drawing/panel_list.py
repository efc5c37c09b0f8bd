"""The list of panels in the drawing set."""

import numpy as np

from unfold.drawing.cut_list import ANSWERS
from unfold.drawing.lengths import dimension
from unfold.drawing.paper import Paper
from unfold.drawing.title_block import Box
from unfold.layout.result import Layout
from unfold.settings.drawing import DrawingSettings

HEADER = ("panel", "row", "column", "width", "height", "kg", "cutouts", "sheet", "fits in", "mind")
SHARES = (0.07, 0.04, 0.05, 0.1, 0.1, 0.05, 0.05, 0.08, 0.07, 0.39)
ROW_MM, TEXT_MM = 5.0, 2.0


def panel_list_pages(layout: Layout, box: Box, settings: DrawingSettings) -> list[list[tuple[str, ...]]]:
    """Write one row a panel, and share them out to pages."""
    rows: list[tuple[str, ...]] = []
    for wall in layout.walls:
        for panel in wall.panels:
            width, height = np.ptp(panel.ring_mm, axis=0)
            sheet = "none" if panel.placed is None else f"{panel.placed.stock}-{panel.placed.sheet}"
            rows.append((
                panel.id, str(panel.row), str(panel.column), dimension(width, settings), dimension(height, settings),
                f"{panel.mass_kg:.1f}", str(len(panel.cutouts)), sheet, ANSWERS[panel.fits_in], "; ".join(panel.notes),
            ))  # fmt: skip
    on_page = int(box.height / ROW_MM) - 2
    return [rows[first : first + on_page] for first in range(0, len(rows), on_page)]


def draw_panel_list(paper: Paper, rows: list[tuple[str, ...]], box: Box) -> None:
    """Draw the list's rows from the top of the box down."""
    for number, row in enumerate([HEADER, *rows]):
        x, y = box.left, box.bottom + box.height - (number + 1) * ROW_MM
        for cell, share in zip(row, SHARES, strict=True):
            width = share * box.width
            paper.text(x, y, paper.fitted(cell, width - 2.0, TEXT_MM), TEXT_MM, bold=number == 0)
            x += width
        paper.line([(box.left, y - 1.5), (box.left + box.width, y - 1.5)], 0.13, 0.6)
