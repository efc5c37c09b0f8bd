"""The drawing set, panels/set.pdf: walls with their panels, scribed edges, the list of panels and the sheets."""

from collections.abc import Callable, Sequence
from pathlib import Path

from unfold.drawing.cut_sheet import cut_sheets
from unfold.drawing.panel_elevation import PanelElevation
from unfold.drawing.panel_list import Row, draw_panel_list, panel_list_pages
from unfold.drawing.panel_sheet import choose_scale, draw_panels, draw_table, table_blocks
from unfold.drawing.paper import Paper
from unfold.drawing.sheet_drawing import draw_sheet, sheets_on_pages
from unfold.drawing.title_block import SIZES_MM, SheetTitle, draw_notes, draw_title_block, drawing_space
from unfold.drawing.wall_notes import wall_notes
from unfold.layout.result import Layout
from unfold.settings import JobSettings

Page = tuple[str, str, str, Callable[[Paper], None]]
"""Sheet size, title, scale as written, and what draws the page."""


def write_drawing_set(
    layout: Layout, drawn: Sequence[PanelElevation], path: Path, settings: JobSettings
) -> None:
    """Write the set of a job's drawings, a page each."""
    pages: list[Page] = []
    for elevation, laid in zip(drawn, layout.walls, strict=True):
        pages += _wall_pages(elevation, wall_notes(laid, settings.drawing), settings)
    pages += _list_pages(layout, settings)
    pages += _sheet_pages(layout, settings)
    paper = Paper(path, settings.title_block.project or "Panels")
    for number, (size, title, scale, draw) in enumerate(pages, start=1):
        paper.new_page(*SIZES_MM[size])
        draw(paper)
        sheet = SheetTitle(title, scale, number, len(pages))
        draw_title_block(paper, size, sheet, settings.title_block, settings.drawing.units)
    paper.save()


def _wall_pages(elevation: PanelElevation, notes: list[str], settings: JobSettings) -> list[Page]:
    left, bottom, right, top = elevation.bounds_mm
    size, scale = choose_scale(right - left, top - bottom, settings.drawing.units)

    def wall(paper: Paper) -> None:
        draw_panels(paper, elevation, drawing_space(size), scale, settings.drawing)
        draw_notes(paper, size, notes)

    title = f"wall {elevation.wall}: {'panels' if elevation.panels else 'no panels'}"
    pages: list[Page] = [(size, title, f"1:{scale}", wall)]
    box = drawing_space("A3")
    for blocks in table_blocks(elevation.tables, box, settings.drawing.units):

        def tables(paper: Paper, blocks: list = blocks) -> None:  # type: ignore[type-arg]
            for table, x in blocks:
                draw_table(paper, table, x, box, settings.drawing.units)

        pages.append(("A3", f"wall {elevation.wall}: scribed edges", "", tables))
    return pages


def _list_pages(layout: Layout, settings: JobSettings) -> list[Page]:
    box = drawing_space("A3")
    pages: list[Page] = []
    for rows in panel_list_pages(layout, box, settings.drawing):

        def panels(paper: Paper, rows: list[Row] = rows) -> None:
            draw_panel_list(paper, rows, box)

        pages.append(("A3", "list of panels", "", panels))
    return pages


def _sheet_pages(layout: Layout, settings: JobSettings) -> list[Page]:
    sheets = list(cut_sheets(layout, settings.layout.cutting))
    if not sheets:
        return []
    scale, placed = sheets_on_pages(sheets, drawing_space("A3"))
    pages: list[Page] = []
    for page in placed:

        def nested(paper: Paper, page: list = page) -> None:  # type: ignore[type-arg]
            for sheet, x, y in page:
                draw_sheet(paper, sheet, x, y, scale, settings.drawing)

        pages.append(("A3", "sheets to cut, face up", f"1:{scale}", nested))
    return pages
