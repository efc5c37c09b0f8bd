"""A canvas that keeps what is drawn on it, so that a test can ask where things are."""

from dataclasses import dataclass

from unfold.arrays import AnyArray, Floats
from unfold.drawing.canvas import Anchor, Box, Colour
from unfold.drawing.fonts import pixel_font


@dataclass(frozen=True)
class Written:
    """One text and the box that its letters fill."""

    text: str
    box: Box


class RecordingCanvas:
    """Records texts, lines, rings, hatches and rasters; measures text as the PNG does."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.texts: list[Written] = []
        self.lines: list[tuple[Floats, float]] = []
        self.polygons: list[tuple[Floats, Colour | None]] = []
        self.hatched: list[Floats] = []
        self.images: list[tuple[AnyArray, Box]] = []

    def text_width(self, text: str, size: float, bold: bool = False) -> float:
        return float(pixel_font(size, bold).getlength(text))

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
        width = self.text_width(text, size, bold)
        left = x - {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor] * width
        self.texts.append(Written(text, (left, baseline - 0.75 * size, left + width, baseline + 0.2 * size)))

    def line(self, points: Floats, colour: Colour, width: float, dash: tuple[float, float] | None = None) -> None:
        self.lines.append((points, width))

    def polygon(self, ring: Floats, fill: Colour | None, edge: Colour | None = None, width: float = 1.0) -> None:
        self.polygons.append((ring, fill))

    def disc(self, x: float, y: float, radius: float, fill: Colour, edge: Colour, width: float = 1.0) -> None:
        pass

    def hatch(self, rings: list[Floats], colour: Colour, spacing: float, width: float, rising: bool = True) -> None:
        self.hatched += rings

    def image(self, rgb: AnyArray, box: Box, clip: Floats) -> None:
        self.images.append((rgb, box))

    def words(self) -> str:
        """All texts, one a line."""
        return "\n".join(written.text for written in self.texts)

    def outside(self) -> list[Written]:
        """Texts that stick out of the picture."""
        return [
            written
            for written in self.texts
            if written.box[0] < 0 or written.box[1] < 0 or written.box[2] > self.width or written.box[3] > self.height
        ]

    def overlapping(self) -> list[tuple[str, str]]:
        """Pairs of texts whose letters' boxes overlap by more than a hair."""
        pairs = []
        for number, one in enumerate(self.texts):
            for other in self.texts[number + 1 :]:
                across = min(one.box[2], other.box[2]) - max(one.box[0], other.box[0])
                down = min(one.box[3], other.box[3]) - max(one.box[1], other.box[1])
                if across > 1.0 and down > 1.0:
                    pairs.append((one.text, other.text))
        return pairs
