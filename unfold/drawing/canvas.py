"""What a picture is drawn on: one interface for pixels (PNG) and vectors (PDF), so each picture is written once.

Positions are in figure units with x to the right and y down; one unit is one pixel of the PNG.
"""

from typing import Literal, Protocol, TypeAlias, TypeVar

from unfold.arrays import AnyArray, Floats

Colour: TypeAlias = tuple[int, int, int]
Box: TypeAlias = tuple[float, float, float, float]  # left, top, right, bottom
Anchor: TypeAlias = Literal["left", "middle", "right"]


class Pen(Protocol):
    """What writes texts and draws lines."""

    def text_width(self, text: str, size: float, bold: bool = False) -> float:
        """Width that a text will take."""
        ...

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
        """Write one line of text; `halo` keeps it readable over lines and colours."""
        ...

    def line(self, points: Floats, colour: Colour, width: float, dash: tuple[float, float] | None = None) -> None:
        """Draw an open line; `dash` is the lengths of stroke and space."""
        ...


class Canvas(Pen, Protocol):
    """A page to draw on. Rings and lines are arrays of shape (n, 2)."""

    width: float
    height: float

    def polygon(self, ring: Floats, fill: Colour | None, edge: Colour | None = None, width: float = 1.0) -> None:
        """Draw a closed ring."""
        ...

    def disc(self, x: float, y: float, radius: float, fill: Colour, edge: Colour, width: float = 1.0) -> None:
        """Draw a circle."""
        ...

    def hatch(self, rings: list[Floats], colour: Colour, spacing: float, width: float, rising: bool = True) -> None:
        """Fill rings with parallel lines at 45 degrees."""
        ...

    def image(self, rgb: AnyArray, box: Box, clip: Floats) -> None:
        """Place a raster (rows, columns, 3), first row at the top, to fill `box`; show what lies inside `clip`."""
        ...


AnyCanvas = TypeVar("AnyCanvas", bound=Canvas)
"""The kind of canvas that a picture is asked for is the kind that it returns."""
