"""A canvas of pixels, written as PNG: lines are smoothed by drawing larger and shrinking, text is set last."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from unfold.arrays import AnyArray, Floats
from unfold.drawing.canvas import Anchor, Box, Colour
from unfold.drawing.colour import PAPER
from unfold.drawing.fonts import pixel_font
from unfold.drawing.plain_text import plain_text

OVERSAMPLING = 2
HALO_PIXELS = 3
_PILLOW_ANCHOR: dict[Anchor, str] = {"left": "ls", "middle": "ms", "right": "rs"}


class PngCanvas:
    """Draws at OVERSAMPLING times the final size; `finish` shrinks and sets the text."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = float(round(width)), float(round(height))
        size = (round(width) * OVERSAMPLING, round(height) * OVERSAMPLING)
        self._picture = Image.new("RGB", size, PAPER)
        self._pen = ImageDraw.Draw(self._picture)
        self._texts: list[Callable[[ImageDraw.ImageDraw], None]] = []

    def text_width(self, text: str, size: float, bold: bool = False) -> float:
        """Width in pixels that a text will take."""
        return float(pixel_font(size, bold).getlength(plain_text(text)))

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
        """Keep a text for `finish`, which sets it over everything else."""

        def write(pen: ImageDraw.ImageDraw) -> None:
            pen.text(
                (x, baseline),
                plain_text(text),
                font=pixel_font(size, bold),
                fill=colour,
                anchor=_PILLOW_ANCHOR[anchor],
                stroke_width=HALO_PIXELS if halo else 0,
                stroke_fill=halo,
            )

        self._texts.append(write)

    def line(self, points: Floats, colour: Colour, width: float, dash: tuple[float, float] | None = None) -> None:
        """Draw an open line."""
        pieces = [np.asarray(points, dtype=float)] if dash is None else dashes(points, *dash)
        for piece in pieces:
            self._pen.line(_flat(piece), fill=colour, width=self._thick(width), joint="curve")

    def polygon(self, ring: Floats, fill: Colour | None, edge: Colour | None = None, width: float = 1.0) -> None:
        """Draw a closed ring."""
        if fill is not None:
            self._pen.polygon(_flat(ring), fill=fill)
        if edge is not None:
            self._pen.line(_flat(np.concatenate([ring, ring[:2]])), fill=edge, width=self._thick(width), joint="curve")

    def disc(self, x: float, y: float, radius: float, fill: Colour, edge: Colour, width: float = 1.0) -> None:
        """Draw a circle."""
        box = [OVERSAMPLING * value for value in (x - radius, y - radius, x + radius, y + radius)]
        self._pen.ellipse(box, fill=fill, outline=edge, width=self._thick(width))

    def hatch(self, rings: list[Floats], colour: Colour, spacing: float, width: float, rising: bool = True) -> None:
        """Fill rings with parallel lines at 45 degrees; the lines of neighbouring rings meet."""
        for ring in rings:
            corner = np.floor(ring.min(axis=0) * OVERSAMPLING).astype(int)
            columns, rows = np.ceil(ring.max(axis=0) * OVERSAMPLING).astype(int) - corner + 1
            mask = Image.new("L", (int(columns), int(rows)), 0)
            ImageDraw.Draw(mask).polygon(_flat(ring, corner), fill=255)
            x = np.arange(columns) + corner[0]
            y = np.arange(rows)[:, None] + corner[1]
            stroke = ((x + y if rising else x - y) % round(spacing * OVERSAMPLING)) < self._thick(width) * np.sqrt(2.0)
            pattern = Image.fromarray((np.asarray(mask) * stroke).astype(np.uint8))
            self._picture.paste(colour, (int(corner[0]), int(corner[1])), pattern)

    def image(self, rgb: AnyArray, box: Box, clip: Floats) -> None:
        """Place a raster so that it fills `box` to the pixel; cells keep their edges, nothing is blended."""
        left, top, right, bottom = (round(value) for value in box)
        pixels = Image.fromarray(rgb).resize((right - left, bottom - top), Image.Resampling.NEAREST)
        raster = pixels.resize((pixels.width * OVERSAMPLING, pixels.height * OVERSAMPLING), Image.Resampling.NEAREST)
        left, top = left * OVERSAMPLING, top * OVERSAMPLING
        mask = Image.new("L", raster.size, 0)
        ImageDraw.Draw(mask).polygon(_flat(clip, (left, top)), fill=255)
        self._picture.paste(raster, (left, top), mask)

    def finish(self) -> Image.Image:
        """Shrink to the final size and set the text."""
        shrunk = self._picture.reduce(OVERSAMPLING)
        pen = ImageDraw.Draw(shrunk)
        for write in self._texts:
            write(pen)
        return shrunk

    def save(self, path: Path) -> None:
        """Write the PNG."""
        self.finish().save(path, "PNG", compress_level=2)

    @staticmethod
    def _thick(width: float) -> int:
        return max(1, round(width * OVERSAMPLING))


def dashes(points: Floats, stroke: float, space: float) -> list[Floats]:
    """Cut a line (n, 2) into strokes of one length with spaces between, measured along it."""
    points = np.asarray(points, dtype=float)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    pieces = []
    for start in np.arange(0.0, walked[-1], stroke + space):
        stop = min(start + stroke, walked[-1])
        between = points[(walked > start) & (walked < stop)]
        ends = [np.array([np.interp(at, walked, points[:, axis]) for axis in (0, 1)]) for at in (start, stop)]
        pieces.append(np.vstack([ends[0][None], between, ends[1][None]]))
    return pieces


def _flat(points: Floats, corner: tuple[int, int] | AnyArray = (0, 0)) -> list[float]:
    scaled = np.asarray(points, dtype=float) * OVERSAMPLING - np.asarray(corner)
    flat: list[float] = scaled.ravel().tolist()
    return flat
