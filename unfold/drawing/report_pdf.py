"""The report as a PDF on A4, with the same words as the HTML page and its pictures as vectors."""

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax import saxutils

from unfold.drawing.pdf_canvas import BOLD, REGULAR, PdfCanvas, register_fonts
from unfold.drawing.plain_text import plain_text
from unfold.drawing.report_blocks import (
    STRONG_CELLS,
    Block,
    Heading,
    Paragraph,
    Picture,
    Report,
    Table,
    Terms,
    unbroken,
)

MM = 72.0 / 25.4
PAGE = (210.0 * MM, 297.0 * MM)  # ISO 216 A4
MARGIN = 16.0 * MM
TEXT_WIDTH, TEXT_HEIGHT = PAGE[0] - 2.0 * MARGIN, PAGE[1] - 2.4 * MARGIN
LEAST_PICTURE, MOST_PICTURE = 0.4 * TEXT_HEIGHT, 0.8 * TEXT_HEIGHT
CELL_GAP = 4.0
FRAME_PADDING = 6.0  # reportlab's, which lies inside the margins
INK, QUIET, LINE = "#1b1f24", "#5c636c", "#babfc6"


def write_report_pdf(report: Report, pictures: Mapping[str, PdfCanvas], path: Path) -> None:
    """Set a report on A4; `pictures` by the names that the report's pictures carry."""
    from reportlab import rl_config  # type: ignore[import-untyped]
    from reportlab.platypus import SimpleDocTemplate  # type: ignore[import-untyped]

    rl_config.useA85 = 0  # binary streams: ASCII ones take longer to write than all the pictures take to draw
    register_fonts()
    styles = _styles()
    document = SimpleDocTemplate(
        str(path),
        pagesize=PAGE,
        leftMargin=MARGIN - FRAME_PADDING,
        rightMargin=MARGIN - FRAME_PADDING,
        topMargin=MARGIN - FRAME_PADDING,
        bottomMargin=1.4 * MARGIN - FRAME_PADDING,
        title=plain_text(report.title),
        author="unfold",
        invariant=True,
        pageCompression=1,
    )
    story = [_words(report.title, styles["title"])]
    for part in _parts(report.blocks):
        story += _part(part, pictures, styles)
    document.build(story, onFirstPage=_foot, onLaterPages=_foot)


def _styles() -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle  # type: ignore[import-untyped]

    def style(name: str, size: float, **more: Any) -> Any:
        settings = {
            "fontName": REGULAR,
            "fontSize": size,
            "leading": 1.35 * size,
            "textColor": INK,
            "splitLongWords": 1,
        }
        return ParagraphStyle(name, **(settings | more))

    return {
        "title": style("title", 16.0, fontName=BOLD, spaceAfter=8.0),
        "lead": style("lead", 10.5, fontName=BOLD, spaceAfter=5.0),
        "text": style("text", 9.0, spaceAfter=5.0),
        "2": style("2", 12.5, fontName=BOLD, spaceBefore=14.0, spaceAfter=5.0, keepWithNext=1),
        "3": style("3", 10.5, fontName=BOLD, spaceBefore=10.0, spaceAfter=4.0, keepWithNext=1),
        "caption": style("caption", 8.0, fontName=BOLD, spaceBefore=4.0, keepWithNext=1),
        "cell": style("cell", 7.5),
        "strong": style("strong", 7.5, fontName=BOLD),
        "head": style("head", 7.5, textColor=QUIET, fontName=BOLD),
    }


def _parts(blocks: Sequence[Block]) -> list[list[Block]]:
    """Cut the blocks before every heading."""
    parts: list[list[Block]] = [[]]
    for block in blocks:
        if isinstance(block, Heading):
            parts.append([])
        parts[-1].append(block)
    return parts


def _part(blocks: Sequence[Block], pictures: Mapping[str, PdfCanvas], styles: dict[str, Any]) -> list[Any]:
    """Set one part; a wall starts a page, and its picture takes what the words and tables leave of that page."""
    from reportlab.platypus import PageBreak

    set_blocks = [_flowables(block, styles) for block in blocks]
    taken = sum(_height(flowable) for flowables in set_blocks for flowable in flowables)
    room = min(MOST_PICTURE, max(LEAST_PICTURE, TEXT_HEIGHT - taken - 12.0))
    starts_page = bool(blocks) and isinstance(blocks[0], Heading) and blocks[0].level == 3
    story: list[Any] = [PageBreak()] if starts_page else []
    for block, flowables in zip(blocks, set_blocks, strict=True):
        story += [_picture(pictures[block.name], room)] if isinstance(block, Picture) else flowables
    return story


def _height(flowable: Any) -> float:
    height = flowable.wrap(TEXT_WIDTH, 100.0 * TEXT_HEIGHT)[1]
    return float(height + flowable.getSpaceBefore() + flowable.getSpaceAfter())


def _flowables(block: Block, styles: dict[str, Any]) -> list[Any]:
    match block:
        case Heading(level, text, anchor):
            return [_bookmark(text, anchor, level), _words(text, styles[str(level)])]
        case Paragraph(text, lead):
            return [_words(text, styles["lead" if lead else "text"])]
        case Table():
            return _table(block, styles)
        case Picture():
            return []
        case Terms(entries):
            return [
                _words(f"<b>{escape(word)}</b>: {escape(text)}.", styles["text"], marked=True) for word, text in entries
            ]


def _words(text: str, style: Any, marked: bool = False) -> Any:
    from reportlab.platypus import Paragraph as Words

    return Words(text if marked else escape(text), style)


def escape(text: str) -> str:
    """Return a text as it has to stand in reportlab's paragraphs, which are XML."""
    return saxutils.escape(plain_text(text))


def _table(table: Table, styles: dict[str, Any]) -> list[Any]:
    from reportlab.platypus import Table as Grid

    share = TEXT_WIDTH / sum(table.weights)
    widths = [weight * share for weight in table.weights]
    cells = [[_words(name, styles["head"]) for name in table.header]]
    for row in table.rows:
        cells.append([_cell(cell, width - CELL_GAP, styles) for cell, width in zip(row, widths, strict=True)])
    lines = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), CELL_GAP),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, LINE),
    ]
    grid = Grid(cells, widths, repeatRows=1, style=lines, spaceAfter=8.0, hAlign="LEFT")
    return [*([_words(table.caption, styles["caption"])] if table.caption else []), grid]


def _cell(text: str, width: float, styles: dict[str, Any]) -> Any:
    """A cell of a table: drawn as it is where it fits on one line, which most do, as laying out paragraphs is slow."""
    from reportlab.pdfbase.pdfmetrics import stringWidth  # type: ignore[import-untyped]

    style = styles["strong" if text in STRONG_CELLS else "cell"]
    words = plain_text(text)
    fits = stringWidth(words, style.fontName, style.fontSize) <= width
    return _one_line_class()(words, style, width) if fits else _words(unbroken(text), style)


@cache
def _one_line_class() -> Any:
    """The flowable for one line of text; made when first needed, as reportlab is loaded only then."""
    from reportlab.platypus import Flowable

    class OneLine(Flowable):  # type: ignore[misc]
        def __init__(self, words: str, style: Any, width: float) -> None:
            super().__init__()
            self._words, self._style, self._width = words, style, width

        def wrap(self, *_: float) -> tuple[float, float]:
            return (self._width, self._style.leading)

        def draw(self) -> None:
            self.canv.setFont(self._style.fontName, self._style.fontSize)
            self.canv.setFillColor(self._style.textColor)
            self.canv.drawString(0.0, self._style.leading - self._style.fontSize, self._words)

    return OneLine


def _bookmark(text: str, anchor: str, level: int) -> Any:
    """An entry of the reader's table of contents, which takes no room on the page."""
    from reportlab.platypus import Flowable

    class Bookmark(Flowable):  # type: ignore[misc]
        keepWithNext = True

        def wrap(self, *_: float) -> tuple[float, float]:
            return (0.0, 0.0)

        def draw(self) -> None:
            self.canv.bookmarkPage(anchor)
            self.canv.addOutlineEntry(plain_text(text), anchor, level - 2, closed=False)

    return Bookmark()


def _picture(canvas: PdfCanvas, tallest: float) -> Any:
    from reportlab.platypus import Flowable

    scale = min(TEXT_WIDTH / canvas.width, tallest / canvas.height)

    class Drawn(Flowable):  # type: ignore[misc]
        def wrap(self, *_: float) -> tuple[float, float]:
            return (canvas.width * scale, canvas.height * scale + 6.0)

        def draw(self) -> None:
            self.canv.saveState()
            self.canv.translate(0.0, 3.0)
            self.canv.scale(scale, scale)
            canvas.play(self.canv)
            self.canv.restoreState()

    return Drawn()


def _foot(page: Any, document: Any) -> None:
    page.setFont(REGULAR, 7.5)
    page.setFillColor(QUIET)
    page.drawRightString(PAGE[0] - MARGIN, 0.7 * MARGIN, f"page {document.page}")
    title = document.title if len(document.title) < 100 else document.title[:99] + "…"
    page.drawString(MARGIN, 0.7 * MARGIN, title)
