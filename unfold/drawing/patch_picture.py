"""The picture of a wall that is patched before it is clad: what to fill and what to take down, on its heights."""

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from unfold.drawing.canvas import AnyCanvas, Canvas
from unfold.drawing.colour import INK, PAPER, QUIET_INK
from unfold.drawing.labels import Labels
from unfold.drawing.lengths import area
from unfold.drawing.wall_picture import (
    MARGIN,
    SMALL_SIZE,
    TEXT_SIZE,
    TITLE_SIZE,
    Placing,
    Relief,
    draw_face,
    labels_beside_key,
    place_wall,
)
from unfold.drawing.wall_picture_key import KEY_WIDTH, draw_colour_scale
from unfold.elevation.result import WallElevation
from unfold.layout.result import PatchSpot
from unfold.surface.result import WallSurface

MOST_LISTED = 14
LINE = 22.0
SPOTS_PER_RULE_ROW = 3.5  # lines of the list in the height that the key of a wall keeps for one rule
WORDS = {"fill": "fill", "take_down": "take down"}


def draw_patch_picture(
    new_canvas: Callable[[float, float], AnyCanvas],
    wall: WallElevation,
    surface: WallSurface,
    relief: Relief,
    patches: Sequence[PatchSpot],
) -> AnyCanvas:
    """Draw the patches of one wall, numbered from the largest volume on, with a list of them."""
    spots = sorted(patches, key=lambda spot: -spot.volume_litres)
    listed = spots[:MOST_LISTED]
    placing = place_wall(wall.outline_mm, 1 + int((len(listed) + 2) / SPOTS_PER_RULE_ROW))
    canvas = new_canvas(placing.width, placing.height)
    labels = labels_beside_key(canvas, placing)
    canvas.text(MARGIN, 44.0, f"Wall {wall.id}: patch before cladding", TITLE_SIZE, INK, bold=True)
    canvas.text(MARGIN, 72.0, _sums(spots), TEXT_SIZE, QUIET_INK)
    draw_face(canvas, placing, wall, surface, relief, labels)
    _draw_spots(canvas, placing, spots, labels)
    _draw_list(canvas, placing, wall, surface, relief, listed, len(spots) - len(listed))
    return canvas


def _sums(spots: Sequence[PatchSpot]) -> str:
    parts = []
    for kind, words in WORDS.items():
        of_kind = [spot for spot in spots if spot.kind == kind]
        if of_kind:
            litres = sum(spot.volume_litres for spot in of_kind)
            parts.append(f"{words} {area(sum(spot.area_mm2 for spot in of_kind))}, {litres:.2f} litres")
    return "; ".join(parts)


def _draw_spots(canvas: Canvas, placing: Placing, spots: Sequence[PatchSpot], labels: Labels) -> None:
    for spot in spots:
        ring = placing.points(spot.ring_mm)
        closed = np.concatenate([ring, ring[:1]])
        canvas.hatch([ring], INK, 14.0, 0.8, rising=spot.kind == "fill")
        canvas.line(closed, PAPER, 5.0)
        canvas.line(closed, INK, 2.2, None if spot.kind == "fill" else (8.0, 5.0))
    for number, spot in enumerate(spots[:MOST_LISTED], 1):
        inside = shapely.Polygon(placing.points(spot.ring_mm)).representative_point()
        labels.name_box((inside.x - 2, inside.y - 2, inside.x + 2, inside.y + 2), (str(number),), TEXT_SIZE)


def _draw_list(
    canvas: Canvas,
    placing: Placing,
    wall: WallElevation,
    surface: WallSurface,
    relief: Relief,
    listed: Sequence[PatchSpot],
    unlisted: int,
) -> None:
    left, top, right, _ = placing.key
    wide = right - left > 1.8 * KEY_WIDTH
    column = 0.5 * (right - left) - 20.0 if wide else right - left
    zero = "plane" if wall.radius_mm is None else "cylinder"
    below = draw_colour_scale(canvas, left, top, min(column, KEY_WIDTH), surface, relief.limit_mm, zero)
    x, y = (left + column + 40.0, top + 14.0) if wide else (left, below + 40.0)
    canvas.text(x, y, "Hatched: full outline fill, dashed outline take down", TEXT_SIZE, INK, bold=True)
    for number, spot in enumerate(listed, 1):
        y += LINE
        words = f"{number}   {WORDS[spot.kind]}: {area(spot.area_mm2)}, {spot.volume_litres:.2f} litres"
        canvas.text(x, y, f"{words}, at most {spot.most_mm:.1f} mm", SMALL_SIZE, INK)
    if unlisted:
        canvas.text(x, y + LINE, f"and {unlisted} smaller ones", SMALL_SIZE, QUIET_INK)
