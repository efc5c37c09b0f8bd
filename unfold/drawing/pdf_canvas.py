"""A canvas of vectors on a PDF page: the same pictures as the PNG files, sharp at any size."""

from typing import Any

import numpy as np
from PIL import Image

from unfold.arrays import AnyArray, Floats
from unfold.drawing.canvas import Anchor, Box, Colour
from unfold.drawing.fonts import font_file
from unfold.drawing.plain_text import plain_text

REGULAR, BOLD = "DejaVuSans", "DejaVuSans-Bold"
HALO = 2.4


def register_fonts() -> None:
    """Make the font known to reportlab, once a process."""
    from reportlab.pdfbase import pdfmetrics  # type: ignore[import-untyped]
    from reportlab.pdfbase.ttfonts import TTFont  # type: ignore[import-untyped]

    for name, bold in ((REGULAR, False), (BOLD, True)):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(font_file(bold))))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


class PdfCanvas:
    """Keeps what is drawn as steps; `play` repeats them on a reportlab canvas, whose y points up."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._steps: list[Any] = []

    def play(self, page: Any) -> None:
        """Draw on a reportlab canvas whose origin is the figure's lower left corner and whose unit is the figure's."""
        page.setLineCap(0)
        page.setLineJoin(1)
        for step in self._steps:
            step(page)

    def text_width(self, text: str, size: float, bold: bool = False) -> float:
        """Width that a text will take."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        return float(stringWidth(plain_text(text), BOLD if bold else REGULAR, size))

    def text(
        self,
        x: float,
        baseline: float,
        text: str,
        size: float,
        colour: Colour,
        anchor: Anchor = "left",
        bold: bool = False,
        halo: Colour | None = None,
    ) -> None:
        """Write one line of text."""
        words = plain_text(text)
        start = x - {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor] * self.text_width(text, size, bold)

        def write(page: Any) -> None:
            page.setFont(BOLD if bold else REGULAR, size)
            if halo is not None:
                page.setLineWidth(2.0 * HALO)
                page.setStrokeColorRGB(*_shares(halo))
                page.drawString(start, self.height - baseline, words, mode=1)
            page.setFillColorRGB(*_shares(colour))
            page.drawString(start, self.height - baseline, words, mode=0)

        self._steps.append(write)

    def line(self, points: Floats, colour: Colour, width: float, dash: tuple[float, float] | None = None) -> None:
        """Draw an open line."""

        def stroke(page: Any) -> None:
            page.setStrokeColorRGB(*_shares(colour))
            page.setLineWidth(width)
            page.setDash(*([list(dash)] if dash else []))
            page.drawPath(self._path(page, points, close=False), stroke=1, fill=0)
            page.setDash()

        self._steps.append(stroke)

    def polygon(self, ring: Floats, fill: Colour | None, edge: Colour | None = None, width: float = 1.0) -> None:
        """Draw a closed ring."""

        def draw(page: Any) -> None:
            if fill is not None:
                page.setFillColorRGB(*_shares(fill))
            if edge is not None:
                page.setStrokeColorRGB(*_shares(edge))
                page.setLineWidth(width)
            page.drawPath(self._path(page, ring, close=True), stroke=int(edge is not None), fill=int(fill is not None))

        self._steps.append(draw)

    def disc(self, x: float, y: float, radius: float, fill: Colour, edge: Colour, width: float = 1.0) -> None:
        """Draw a circle."""

        def draw(page: Any) -> None:
            page.setFillColorRGB(*_shares(fill))
            page.setStrokeColorRGB(*_shares(edge))
            page.setLineWidth(width)
            page.circle(x, self.height - y, radius, stroke=1, fill=1)

        self._steps.append(draw)

    def hatch(self, rings: list[Floats], colour: Colour, spacing: float, width: float, rising: bool = True) -> None:
        """Fill rings with parallel lines at 45 degrees."""
        for ring in rings:
            self._steps.append(lambda page, ring=ring: self._hatch(page, ring, colour, spacing, width, rising))

    def _hatch(self, page: Any, ring: Floats, colour: Colour, spacing: float, width: float, rising: bool) -> None:
        (left, top), (right, bottom) = ring.min(axis=0), ring.max(axis=0)
        page.saveState()
        page.clipPath(self._path(page, ring, close=True), stroke=0, fill=0)
        page.setStrokeColorRGB(*_shares(colour))
        page.setLineWidth(width)
        reach = bottom - top
        # lines x + y = k (rising) or x - y = k, at whole multiples of the spacing so that neighbouring rings meet
        low, high = (left + top, right + bottom) if rising else (left - bottom, right - top)
        for k in np.arange(np.floor(low / spacing), np.ceil(high / spacing) + 1) * spacing:
            ends = [(k - y if rising else k + y, self.height - y) for y in (top, top + reach)]
            page.line(*ends[0], *ends[1])
        page.restoreState()

    def image(self, rgb: AnyArray, box: Box, clip: Floats) -> None:
        """Place a raster so that it fills `box`; show what lies inside `clip`."""
        left, top, right, bottom = box

        def place(page: Any) -> None:
            from reportlab.lib.utils import ImageReader  # type: ignore[import-untyped]

            page.saveState()
            page.clipPath(self._path(page, clip, close=True), stroke=0, fill=0)
            reader = ImageReader(Image.fromarray(rgb))
            page.drawImage(reader, left, self.height - bottom, right - left, bottom - top)
            page.restoreState()

        self._steps.append(place)

    def _path(self, page: Any, points: Floats, close: bool) -> Any:
        path = page.beginPath()
        (x, y), *rest = np.asarray(points, dtype=float).tolist()
        path.moveTo(x, self.height - y)
        for x, y in rest:
            path.lineTo(x, self.height - y)
        if close:
            path.close()
        return path


def _shares(colour: Colour) -> tuple[float, float, float]:
    return (colour[0] / 255.0, colour[1] / 255.0, colour[2] / 255.0)
