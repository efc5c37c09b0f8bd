"""A sheet's border and title block, sized as ISO 5457 and ISO 7200 have them (from memory)."""

from dataclasses import dataclass

from unfold.drawing.paper import NARROW, WIDE, Paper
from unfold.settings.title_block import TitleBlockSettings

SIZES_MM = {"A3": (420.0, 297.0), "A2": (594.0, 420.0), "A1": (841.0, 594.0), "A0": (1189.0, 841.0)}
"""ISO 216, lying."""
FILING_MM, BORDER_MM = 20.0, 10.0
BLOCK_MM = (180.0, 30.0)
NOTES_MM, NOTE_STEP, NOTE_HEIGHTS_MM = 24.0, 1.75, (2.0, 1.8, 1.5, 1.2, 1.0)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet, mm."""

    left: float
    bottom: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class SheetTitle:
    """What the title block says of one sheet."""

    title: str
    scale: str
    number: int
    of: int


def drawing_space(size: str) -> Box:
    """Return the room for the drawing: inside the border, over the title block."""
    width, height = SIZES_MM[size]
    bottom = BORDER_MM + BLOCK_MM[1] + 3.0
    return Box(FILING_MM + 3.0, bottom, width - FILING_MM - BORDER_MM - 6.0, height - bottom - BORDER_MM - 3.0)


def draw_title_block(paper: Paper, size: str, sheet: SheetTitle, settings: TitleBlockSettings, units: str) -> None:
    """Draw the border and, in the lower right corner, the title block."""
    width, height = SIZES_MM[size]
    right, top = width - BORDER_MM, height - BORDER_MM
    paper.ring([(FILING_MM, BORDER_MM), (right, BORDER_MM), (right, top), (FILING_MM, top)], WIDE)
    left, bottom = right - BLOCK_MM[0], BORDER_MM
    paper.line([(left, bottom), (left, bottom + BLOCK_MM[1]), (right, bottom + BLOCK_MM[1])], WIDE)
    note = "in millimetres" if units == "mm" else "in feet and inches, (millimetres) beside them"
    rows = (
        (("project", settings.project, 70.0), ("customer", settings.customer, 65.0), ("date", settings.date, 45.0)),
        (("title", sheet.title, 100.0), ("company", settings.company, 80.0)),
        (
            ("drawn by", settings.drawn_by, 40.0),
            ("released by", settings.approved_by, 40.0),
            ("scale", sheet.scale, 32.0),
            ("size", size, 16.0),
            ("revision", settings.revision, 22.0),
            ("sheet", f"{sheet.number} of {sheet.of}", 30.0),
        ),
    )
    step = BLOCK_MM[1] / len(rows)
    for number, row in enumerate(rows):
        y, x = bottom + BLOCK_MM[1] - (number + 1) * step, left
        paper.line([(left, y), (right, y)], NARROW)
        for name, value, cell in row:
            paper.text(x + 1.5, y + step - 3.2, name, 1.8, grey=0.35)
            paper.text(x + 1.5, y + 2.0, paper.fitted(value, cell - 3.0, 2.5), 2.5, bold=name == "title")
            x += cell
            if x < right - 0.1:
                paper.line([(x, y), (x, y + step)], NARROW)
    warning = f"lengths {note}; cut from the DXF files, never from this print"
    paper.text(FILING_MM + 3.0, bottom + 3.0, warning, 1.8, grey=0.35)


def draw_notes(paper: Paper, size: str, notes: list[str]) -> None:
    """Write notes beside the title block, smaller when there are many."""
    width = SIZES_MM[size][0] - BORDER_MM - BLOCK_MM[0] - FILING_MM - 8.0
    for height in NOTE_HEIGHTS_MM:
        lines = [line for note in notes for line in paper.wrapped(note, width, height)]
        if len(lines) * NOTE_STEP * height <= NOTES_MM:
            break
    for number, line in enumerate(lines):
        paper.text(FILING_MM + 3.0, BORDER_MM + BLOCK_MM[1] - 1.0 - NOTE_STEP * height * number, line, height)
