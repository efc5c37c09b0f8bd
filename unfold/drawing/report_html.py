"""The report as one HTML file that needs nothing else: style and pictures are inside, nothing is loaded."""

import html
from base64 import b64encode
from collections.abc import Mapping
from importlib.resources import files
from string import Template

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

LONGEST_WHOLE_WORD = 24  # a longer one, as a check sum, may be broken to keep the table on the page


def report_html(report: Report, pictures: Mapping[str, bytes]) -> str:
    """Set a report as HTML; `pictures` are PNG files by the names that the report's pictures carry."""
    page = Template(files("unfold.drawing").joinpath("report.html").read_text(encoding="utf-8"))
    blocks = list(report.blocks)
    first = next((number for number, block in enumerate(blocks) if isinstance(block, Heading)), len(blocks))
    pieces = [_block(block, pictures) for block in blocks]
    pieces.insert(first, _contents(report))
    return page.substitute(title=escape(report.title), body="\n".join(pieces))


def escape(text: str) -> str:
    """Return a text as it has to stand in HTML, in an attribute too."""
    return html.escape(plain_text(text))


def _contents(report: Report) -> str:
    headings = [block for block in report.blocks if isinstance(block, Heading)]
    parts = "".join(
        f'<li><a href="#{escape(head.anchor)}">{escape(head.text)}</a></li>' for head in headings if head.level == 2
    )
    walls = "".join(
        f'<li><a href="#{escape(head.anchor)}">{escape(head.anchor)}</a></li>' for head in headings if head.level == 3
    )
    return f'<nav><ul>{parts}</ul><ul class="walls">{walls}</ul></nav>'


def _block(block: Block, pictures: Mapping[str, bytes]) -> str:
    match block:
        case Heading(level, text, anchor):
            return f'<h{level} id="{escape(anchor)}">{escape(text)}</h{level}>'
        case Paragraph(text, lead):
            return f'<p class="lead">{escape(text)}</p>' if lead else f"<p>{escape(text)}</p>"
        case Table():
            return _table(block)
        case Picture(name, words):
            data = b64encode(pictures[name]).decode("ascii")
            return f'<figure><img src="data:image/png;base64,{data}" alt="{escape(words)}"></figure>'
        case Terms(entries):
            return (
                "<dl>" + "".join(f"<dt>{escape(word)}</dt><dd>{escape(text)}</dd>" for word, text in entries) + "</dl>"
            )


def _table(table: Table) -> str:
    caption = f"<caption>{escape(table.caption)}</caption>" if table.caption else ""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in table.header)
    rows = "".join(f"<tr>{_cells(table.header, row)}</tr>\n" for row in table.rows)
    return f"<table>{caption}\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody></table>"


def _cells(header: tuple[str, ...], row: tuple[str, ...]) -> str:
    # on a narrow screen each row becomes a card, and data-label names the figure
    return "".join(
        f'<td data-label="{escape(name)}"{_cell_class(cell)}>{escape(unbroken(cell))}</td>'
        for name, cell in zip(header, row, strict=True)
    )


def _cell_class(cell: str) -> str:
    if not cell:
        return ' class="empty"'
    if max(map(len, cell.split())) > LONGEST_WHOLE_WORD:
        return ' class="long"'
    return ' class="strong"' if cell in STRONG_CELLS else ""
