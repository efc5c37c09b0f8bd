"""What is written on a panel in a drawing, and where."""

from collections.abc import Sequence

import numpy as np
import shapely

from unfold.arrays import Floats
from unfold.drawing.lengths import dimension
from unfold.layout.result import Panel
from unfold.settings.drawing import DrawingSettings

GRID = np.linspace(0.05, 0.95, 19)


def panel_label(panel: Panel, settings: DrawingSettings) -> tuple[str, ...]:
    """Write the panel's id, its largest width by height, its mass, and when it does not fit in."""
    width, height = np.ptp(panel.ring_mm, axis=0)
    wide, high = dimension(width, settings), dimension(height, settings)
    size = [f"{wide} x {high}"] if settings.units == "mm" else [wide, f"x {high}"]
    lines = [panel.id, *size, f"{panel.mass_kg:.0f} kg"]
    if panel.fits_in is False:
        lines.append("does not fit in")
    return tuple(lines)


def mitre_words(panel: Panel) -> list[str]:
    """Say which sides are bevelled, seen from the room, by how much from square, and which wall they meet."""
    middle = (panel.ring_mm[:, 0].min() + panel.ring_mm[:, 0].max()) / 2.0
    return [
        f"mitre {'right' if one.line_mm[:, 0].mean() > middle else 'left'} {one.bevel_deg:.1f} deg to {one.neighbour}"
        for one in panel.mitres
    ]


def panel_shape(panel: Panel) -> shapely.Polygon:
    """The panel less its cutouts."""
    return shapely.Polygon(panel.ring_mm, [cutout.ring_mm for cutout in panel.cutouts])


def text_place(
    shape: shapely.Polygon, sizes: Sequence[tuple[float, float]], rather_clear_of: shapely.Geometry | None = None
) -> tuple[int, Floats] | None:
    """Find where a text goes into a shape: the first of some sizes (width, height) that fits, and its middle (2,).

    Of a grid of places the one nearest to the shape's middle is taken, and clear of some lines where that is possible.
    Returns None when no size fits.
    """
    left, bottom, right, top = shape.bounds
    span = np.array([right - left, top - bottom])
    grid = np.stack(np.meshgrid(GRID, GRID), axis=-1).reshape(-1, 2)
    grid = grid[np.argsort(np.round(np.abs(grid - 0.5).sum(axis=1), 6), kind="stable")]
    centres = grid * span + [left, bottom]
    shapely.prepare(shape)
    for number, (width, height) in enumerate(sizes):
        if width > span[0] or height > span[1]:
            continue
        half = np.array([width, height]) / 2.0
        boxes = shapely.box(*(centres - half).T, *(centres + half).T)
        fits = np.flatnonzero(shapely.contains_properly(shape, boxes))
        if len(fits) == 0:
            continue
        if rather_clear_of is not None:
            clear = fits[~shapely.intersects(boxes[fits], rather_clear_of)]
            fits = clear if len(clear) else fits
        return number, centres[fits[0]]
    return None
