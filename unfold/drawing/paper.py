"""A PDF page in true millimetres: lines, rings and text; x to the right, y up, from the sheet's lower left corner."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from unfold.arrays import Floats
from unfold.drawing.fonts import font_file
from unfold.drawing.thinning import thinned

POINTS_PER_MM = 72.0 / 25.4
REGULAR, BOLD = "Lettering", "Lettering-Bold"
CAP_SHARE = 0.729  # height of a capital letter over the type size, DejaVu Sans
NARROW, WIDE = 0.25, 0.5  # line widths, mm (ISO 128-2)
HAIR_MM = 0.02

Anchor = Literal["left", "middle", "right"]
Grey = float


def register_lettering() -> None:
    """Make the type known to reportlab, once a process."""
    for name, bold in ((REGULAR, False), (BOLD, True)):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(font_file(bold))))


class Paper:
    """A document of pages, each of a size of its own."""

    def __init__(self, path: Path, title: str) -> None:
        register_lettering()
        self._canvas = Canvas(str(path), invariant=1, pageCompression=1)
        self._canvas.setTitle(title)
        self.pages = 0

    def new_page(self, width_mm: float, height_mm: float) -> None:
        """Start a page; the one before is finished."""
        if self.pages:
            self._canvas.showPage()
        self.pages += 1
        self._canvas.setPageSize((width_mm * POINTS_PER_MM, height_mm * POINTS_PER_MM))
        self._canvas.setLineJoin(1)
        self._canvas.setLineCap(1)

    def save(self) -> None:
        """Finish the document and write it."""
        self._canvas.showPage()
        self._canvas.save()

    def outline(self, ring: Floats, width: float = NARROW, grey: Grey = 0.0, fill: Grey | None = None) -> None:
        """Draw a closed ring (n, 2) without the points that no eye could miss."""
        self.ring(thinned(ring, HAIR_MM), width, grey, fill)

    def line(self, points: Sequence[Sequence[float]] | Floats, width: float = NARROW, grey: Grey = 0.0,
             dash: Sequence[float] = ()) -> None:
        """Draw an open line through points (n, 2)."""
        self._stroke(points, width, grey, dash, close=False, fill=None)

    def ring(self, points: Sequence[Sequence[float]] | Floats, width: float = NARROW, grey: Grey = 0.0,
             fill: Grey | None = None, dash: Sequence[float] = ()) -> None:
        """Draw a closed ring (n, 2), filled if asked; a width of 0 draws no line."""
        self._stroke(points, width, grey, dash, close=True, fill=fill)

    def _stroke(self, points: Sequence[Sequence[float]] | Floats, width: float, grey: Grey, dash: Sequence[float],
                close: bool, fill: Grey | None) -> None:
        canvas = self._canvas
        path = canvas.beginPath()
        rows = (np.asarray(points, dtype=float) * POINTS_PER_MM).tolist()
        path.moveTo(*rows[0])
        for row in rows[1:]:
            path.lineTo(*row)
        if close:
            path.close()
        canvas.setLineWidth(width * POINTS_PER_MM)
        canvas.setStrokeGray(grey)
        canvas.setDash([part * POINTS_PER_MM for part in dash] if dash else [])
        if fill is not None:
            canvas.setFillGray(fill)
        canvas.drawPath(path, stroke=int(width > 0.0), fill=int(fill is not None))

    def text(self, x: float, y: float, text: str, height: float = 2.5, anchor: Anchor = "left", bold: bool = False,
             turn_deg: float = 0.0, grey: Grey = 0.0) -> None:
        """Write one line; `height` is that of its capital letters, (x, y) on its baseline."""
        if not text:
            return
        name, size = BOLD if bold else REGULAR, height / CAP_SHARE * POINTS_PER_MM
        before = {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor]
        back = before * self.text_width(text, height, bold) if before else 0.0
        turn = math.radians(turn_deg)
        x, y = (x - back * math.cos(turn)) * POINTS_PER_MM, (y - back * math.sin(turn)) * POINTS_PER_MM
        words = self._canvas.beginText()
        words.setTextTransform(math.cos(turn), math.sin(turn), -math.sin(turn), math.cos(turn), x, y)
        words.setFont(name, size)
        words.setFillGray(grey)
        words.textOut(text)
        self._canvas.drawText(words)

    def text_width(self, text: str, height: float = 2.5, bold: bool = False) -> float:
        """Return the width that a text takes, mm."""
        size = height / CAP_SHARE * POINTS_PER_MM
        return float(pdfmetrics.stringWidth(text, BOLD if bold else REGULAR, size)) / POINTS_PER_MM

    def fitted(self, text: str, width: float, height: float = 2.5, bold: bool = False) -> str:
        """Shorten a text to a width with an ellipsis."""
        if self.text_width(text, height, bold) <= width:
            return text
        while text and self.text_width(text + "…", height, bold) > width:
            text = text[:-1]
        return text.rstrip() + "…"

    def wrapped(self, text: str, width: float, height: float = 2.5) -> list[str]:
        """Break a text into lines no wider than a width, between words."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.text_width(longer, height) <= width:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines
