"""The list of panels in the drawing set."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from unfold.drawing.cut_list import ANSWERS
from unfold.drawing.lengths import dimension
from unfold.drawing.paper import Paper
from unfold.drawing.title_block import Box
from unfold.layout.handling import CAUTION
from unfold.layout.result import Layout, Panel
from unfold.settings.drawing import DrawingSettings

HEADER = ("panel", "row", "column", "width", "height", "kg", "cutouts", "sheet", "fits in")
SHARES = (0.07, 0.04, 0.05, 0.1, 0.1, 0.05, 0.05, 0.08, 0.07)
ROW_MM, LINE_MM, TEXT_MM = 5.0, 3.2, 2.0
NOTE_LETTERS, MOST_LINES = 92, 4
"""Letters on a line of the last column, which takes the rest of the width, and lines of it."""


@dataclass(frozen=True, slots=True)
class Row:
    """One panel: its cells, and what to mind, line by line."""

    cells: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def depth_mm(self) -> float:
        return ROW_MM + LINE_MM * max(0, len(self.notes) - 1)


def panel_list_pages(layout: Layout, box: Box, settings: DrawingSettings) -> Iterator[list[Row]]:
    """Write one row a panel, and share them out to pages."""
    page: list[Row] = []
    free = room = box.height - 3.0 * ROW_MM
    for wall in layout.walls:
        for panel in wall.panels:
            row = _row(panel, settings)
            if page and row.depth_mm > free:
                yield page
                page, free = [], room
            page.append(row)
            free -= row.depth_mm
    if page:
        yield page


def _row(panel: Panel, settings: DrawingSettings) -> Row:
    width, height = np.ptp(panel.ring_mm, axis=0)
    sheet = "none" if panel.placed is None else f"{panel.placed.stock}-{panel.placed.sheet}"
    cells = (
        panel.id, str(panel.row), str(panel.column), dimension(width, settings), dimension(height, settings),
        f"{panel.mass_kg:.1f}", str(len(panel.cutouts)), sheet, ANSWERS[panel.fits_in],
    )  # fmt: skip
    # The caution stands once at the foot of the page.
    notes = "; ".join(note.replace(f"; {CAUTION}", "") for note in panel.notes)
    return Row(cells, tuple(textwrap.wrap(notes, NOTE_LETTERS, max_lines=MOST_LINES, placeholder=" …")))


def draw_panel_list(paper: Paper, rows: list[Row], box: Box) -> None:
    """Draw the list's rows from the top of the box down, and the caution under them."""
    y = box.bottom + box.height
    for number, row in enumerate([Row(HEADER, ("mind",)), *rows]):
        x = box.left
        for cell, share in zip(row.cells, SHARES, strict=True):
            width = share * box.width
            paper.text(x, y - ROW_MM, paper.fitted(cell, width - 2.0, TEXT_MM), TEXT_MM, bold=number == 0)
            x += width
        for line, note in enumerate(row.notes):
            paper.text(x, y - ROW_MM - line * LINE_MM, note, TEXT_MM, bold=number == 0)
        y -= row.depth_mm
        paper.line([(box.left, y - 1.5), (box.left + box.width, y - 1.5)], 0.13, 0.6)
    paper.text(box.left, box.bottom, f"Panels are {CAUTION}.", TEXT_MM)
