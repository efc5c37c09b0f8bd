"""The picture of one wall: its heights in colour and contours, openings, unseen areas and the worst straightedges.

The wall keeps its own proportions whatever they are: what explains it stands below a wide wall and beside a tall one.
"""

from collections.abc import Callable
from dataclasses import dataclass
from string import ascii_uppercase

import numpy as np
import shapely

from unfold.arrays import AnyArray, Floats
from unfold.drawing.canvas import AnyCanvas, Box, Canvas
from unfold.drawing.colour import INK, OPENING_FILL, PAPER, QUIET_INK, UNSEEN_HATCH, colour_heights
from unfold.drawing.contours import Contours, contour_lines, smoothed_heights
from unfold.drawing.coverage import judged_share
from unfold.drawing.labels import Labels
from unfold.drawing.lengths import length, percent, quantity, signed
from unfold.drawing.steps import round_end, round_step, ticks
from unfold.drawing.wall_picture_key import KEY_WIDTH, draw_key, key_height
from unfold.elevation.result import WallElevation
from unfold.elevation.rings import cells_inside
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import Straightedge, WallSurface

TITLE_SIZE, TEXT_SIZE, SMALL_SIZE = 28.0, 17.0, 14.0
TITLE_HEIGHT, AXIS_LEFT, AXIS_BOTTOM, MARGIN = 116.0, 74.0, 52.0, 28.0
MOST_PIXELS_PER_MM = 0.5
THINNING = 0.25  # pixels
MOST_CELLS_SHOWN = 2500  # along the longer side: more than pixels, so a huge wall shows every second cell and so on
MOST_KINDS_NAMED = 12  # on a wall with more openings, boxes are named by number alone
LEAST_FIGURE_WIDTH = 1080.0


@dataclass(frozen=True, slots=True)
class Placing:
    """Where the wall lies in its picture: x = left + scale (u - u0), y = bottom - scale (v - v0)."""

    width: float
    height: float
    scale: float  # pixels a millimetre
    wall: Box
    key: Box
    origin_mm: tuple[float, float]  # u and v at the wall box's left bottom corner

    def points(self, uv_mm: Floats) -> Floats:
        """Take wall positions (n, 2) to the figure."""
        u, v = np.asarray(uv_mm, dtype=float).T
        return np.stack(
            [self.wall[0] + self.scale * (u - self.origin_mm[0]), self.wall[3] - self.scale * (v - self.origin_mm[1])],
            axis=1,
        )


@dataclass(frozen=True, slots=True)
class Relief:
    """A wall's heights made ready for drawing."""

    contours: Contours
    limit_mm: float  # height at the ends of the colour scale
    colours: AnyArray  # (rows, columns, 3) sRGB bytes, the top row first


def place_wall(outline_mm: Floats, rules: int) -> Placing:
    """Choose the figure's size and the wall's scale from the wall's proportions; the key lists so many rules."""
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    wide, tall = float(high[0] - low[0]), float(high[1] - low[1])
    beside = wide < 1.15 * tall
    room = (760.0, 1120.0) if beside else ((1250.0, 900.0) if wide < 4.5 * tall else (1760.0, 900.0))
    scale = min(room[0] / wide, room[1] / tall, MOST_PIXELS_PER_MM)
    left, top = MARGIN + AXIS_LEFT, TITLE_HEIGHT
    wall = (left, top, left + scale * wide, top + scale * tall)
    if beside:
        callouts = 230.0 if wall[2] - wall[0] < 300.0 else 60.0
        key_left = wall[2] + callouts
        key = (key_left, top, key_left + KEY_WIDTH, top + key_height(rules, wide=False))
        width, height = key[2] + MARGIN, max(wall[3] + AXIS_BOTTOM, key[3]) + MARGIN
    else:
        width, key_top = max(wall[2] + MARGIN, LEAST_FIGURE_WIDTH), wall[3] + AXIS_BOTTOM + MARGIN
        key = (MARGIN, key_top, width - MARGIN, key_top + key_height(rules, wide=True))
        height = key[3] + MARGIN
    return Placing(width, height, scale, wall, key, (float(low[0]), float(low[1])))


def colour_limit_mm(surface: WallSurface, smooth: Floats) -> float:
    """Height at the ends of the colour scale: never under the widest tolerance, so that a flat wall looks flat."""
    heights = np.abs(smooth[np.isfinite(smooth)])
    relief = float(np.percentile(heights, 99.5)) if heights.size else 0.0
    tolerance = max((edge.tolerance_mm for edge in surface.straightedges), default=1.0)
    return round_end(max(relief, tolerance))


def thinned(points: Floats, closed: bool = True) -> Floats:
    """Leave out points (n, 2) of a figure that move its line by less than anyone can see (Douglas and Peucker 1973)."""
    line = np.concatenate([points, points[:1]]) if closed else points
    kept: Floats = shapely.get_coordinates(
        shapely.simplify(shapely.LineString(line), THINNING, preserve_topology=False)
    )
    return kept[:-1] if closed and len(kept) > 3 else kept


def relief_of(wall: WallElevation, surface: WallSurface) -> Relief:
    """Work out contours and colours of one wall, once for all the canvases that it is drawn on."""
    smooth = np.where(cells_inside(wall.outline_mm, surface.grid), smoothed_heights(surface), np.nan)
    limit_mm = colour_limit_mm(surface, smooth)
    stride = 1 + max(surface.height_mm.shape) // MOST_CELLS_SHOWN
    shown = surface.height_mm[stride // 2 :: stride, stride // 2 :: stride][::-1]
    colours = np.ascontiguousarray(colour_heights(shown, limit_mm))
    return Relief(contour_lines(surface, smooth), limit_mm, colours)


def draw_wall_picture(
    new_canvas: Callable[[float, float], AnyCanvas],
    wall: WallElevation,
    surface: WallSurface,
    relief: Relief,
    settings: DrawingSettings,
) -> AnyCanvas:
    """Draw one wall on a canvas that is made to measure."""
    placing = place_wall(wall.outline_mm, len(surface.straightedges))
    canvas = new_canvas(placing.width, placing.height)
    labels = labels_beside_key(canvas, placing)
    _draw_title(canvas, wall, surface, settings)
    draw_face(canvas, placing, wall, surface, relief, labels)
    _draw_straightedges(canvas, placing, surface, labels)
    _name_straightedges(placing, surface, labels, settings)
    _name_openings(placing, wall, labels)
    _name_contours(placing, relief.contours, labels)
    draw_key(canvas, placing.key, placing.scale, wall, surface, relief.contours, relief.limit_mm, settings)
    return canvas


def labels_beside_key(canvas: Canvas, placing: Placing) -> Labels:
    """Make room for names on and around the wall, off the key."""
    right = placing.key[0] - 8 if placing.key[0] > placing.wall[2] else placing.width - 4
    return Labels(canvas, (placing.wall[0] - 2, placing.wall[1] - 34, right, placing.wall[3] + 2))


def draw_face(
    canvas: Canvas, placing: Placing, wall: WallElevation, surface: WallSurface, relief: Relief, labels: Labels
) -> None:
    """Draw the wall's face in its place: heights, contours, unseen areas, openings, outline and axes."""
    _draw_heights(canvas, placing, wall, surface, relief.colours)
    _draw_contours(canvas, placing, relief.contours)
    _draw_unseen_and_openings(canvas, placing, wall)
    outline = thinned(placing.points(wall.outline_mm))
    canvas.polygon(outline, None, INK, 2.0)
    labels.block_line(np.concatenate([outline, outline[:1]]), 4.0)
    _draw_axes(canvas, placing)


def _draw_title(canvas: Canvas, wall: WallElevation, surface: WallSurface, settings: DrawingSettings) -> None:
    wide, tall = wall.outline_mm.max(axis=0) - wall.outline_mm.min(axis=0)
    canvas.text(MARGIN, 44.0, f"Wall {wall.id}: {surface.verdict}", TITLE_SIZE, INK, bold=True)
    size = f"{length(float(wide), settings)} × {length(float(tall), settings)}"
    shape, judged = "", percent(judged_share(wall, surface))
    if wall.radius_mm is not None:
        bend = "concave" if wall.radius_mm > 0.0 else "convex"
        shape = f", unrolled ({bend}, radius {length(abs(wall.radius_mm), settings)})"
    canvas.text(
        MARGIN,
        72.0,
        f"{size} over all{shape}; {percent(wall.seen_share)} seen, {judged} judged for flatness",
        TEXT_SIZE,
        QUIET_INK,
    )


def _draw_heights(
    canvas: Canvas, placing: Placing, wall: WallElevation, surface: WallSurface, colours: AnyArray
) -> None:
    grid = surface.grid
    stride = 1 + max(surface.height_mm.shape) // MOST_CELLS_SHOWN
    low = (grid.u0_mm - 0.5 * grid.cell_mm, grid.v0_mm - 0.5 * grid.cell_mm)
    high = (
        low[0] + stride * grid.cell_mm * colours.shape[1],
        low[1] + stride * grid.cell_mm * colours.shape[0],
    )
    (left, bottom), (right, top) = placing.points(np.array([low, high]))
    canvas.image(colours, (left, top, right, bottom), thinned(placing.points(wall.outline_mm)))


def _draw_contours(canvas: Canvas, placing: Placing, contours: Contours) -> None:
    for level, line in contours.lines:
        canvas.line(
            thinned(placing.points(line), closed=False),
            INK if level == 0.0 else QUIET_INK,
            1.6 if level == 0.0 else 0.9,
        )


def _draw_unseen_and_openings(canvas: Canvas, placing: Placing, wall: WallElevation) -> None:
    unseen = [thinned(placing.points(ring)) for ring in wall.unseen_mm]
    canvas.hatch(unseen, UNSEEN_HATCH, 9.0, 1.0)
    for ring in unseen:
        canvas.polygon(ring, None, UNSEEN_HATCH, 1.0)
    for opening in wall.openings:
        canvas.polygon(placing.points(opening.ring_mm), OPENING_FILL, INK, 2.0)
        if opening.clear_ring_mm is not None:
            canvas.polygon(placing.points(opening.clear_ring_mm), None, QUIET_INK, 1.0)


def _draw_axes(canvas: Canvas, placing: Placing) -> None:
    left, top, right, bottom = placing.wall
    u0, v0 = placing.origin_mm
    u1 = u0 + (right - left) / placing.scale
    across = ticks(u0, u1, round_step(66.0 / placing.scale))
    if len(across) < 2:  # a stub: say where it begins and ends
        across = [u0, u1] if right - left > 45.0 else [u1]
    for u in across:
        x = float(placing.points(np.array([[u, v0]]))[0, 0])
        canvas.line(np.array([[x, bottom + 4], [x, bottom + 11]]), QUIET_INK, 1.0)
        canvas.text(x, bottom + 27, f"{u:.0f}", SMALL_SIZE, QUIET_INK, "middle")
    for v in ticks(v0, v0 + (bottom - top) / placing.scale, round_step(40.0 / placing.scale)):
        y = float(placing.points(np.array([[u0, v]]))[0, 1])
        canvas.line(np.array([[left - 11, y], [left - 4, y]]), QUIET_INK, 1.0)
        canvas.text(left - 15, y + 5, f"{v:.0f}", SMALL_SIZE, QUIET_INK, "right")
    canvas.text(left, bottom + 46, "u along the wall, mm", SMALL_SIZE, QUIET_INK)
    canvas.text(MARGIN, top - 12, "v up, mm", SMALL_SIZE, QUIET_INK)


def _draw_straightedges(canvas: Canvas, placing: Placing, surface: WallSurface, labels: Labels) -> None:
    for edge in surface.straightedges:
        ends = straightedge_ends(edge)
        if ends is None:
            continue
        line = placing.points(ends)
        along = (line[1] - line[0]) / max(1e-9, float(np.hypot(*(line[1] - line[0]))))
        across = 6.0 * np.array([-along[1], along[0]])
        for colour, width in ((PAPER, 6.0), (INK, 2.6)):
            canvas.line(line, colour, width)
            for end in line:
                canvas.line(np.stack([end - across, end + across]), colour, width)
        labels.block_line(line, 8.0)


def _name_straightedges(placing: Placing, surface: WallSurface, labels: Labels, settings: DrawingSettings) -> None:
    for letter, edge in zip(ascii_uppercase, surface.straightedges, strict=False):
        ends = straightedge_ends(edge)
        if ends is not None and edge.worst is not None:
            x, y = placing.points(ends[np.argmax(ends[:, 1])][None])[0]
            labels.name_box((x - 2, y - 2, x + 2, y + 2), (f"{letter}: {quantity(edge.worst, settings)}",), TEXT_SIZE)


def straightedge_ends(edge: Straightedge) -> Floats | None:
    """Both ends (2, 2) of the worst straightedge, [u, v] in mm; None where there is none."""
    if edge.u_mm is None or edge.v_mm is None or edge.angle_deg is None or edge.used_length_mm is None:
        return None
    angle = np.radians(edge.angle_deg)
    reach = 0.5 * edge.used_length_mm * np.array([np.cos(angle), np.sin(angle)])
    centre = np.array([edge.u_mm, edge.v_mm])
    return np.stack([centre - reach, centre + reach])


def _name_openings(placing: Placing, wall: WallElevation, labels: Labels) -> None:
    boxes = []
    for opening in wall.openings:
        ring = placing.points(opening.ring_mm)
        (left, top), (right, bottom) = ring.min(axis=0), ring.max(axis=0)
        boxes.append((float(left), float(top), float(right), float(bottom)))
        labels.block_line(np.concatenate([ring, ring[:1]]), 4.0)
    for opening, box in sorted(zip(wall.openings, boxes, strict=True), key=lambda pair: pair[1][0]):
        number = opening.id.split("-")[-1]
        crowded = len(boxes) > MOST_KINDS_NAMED and opening.kind == "service"
        labels.name_box(box, (number,) if crowded else (number, opening.kind), TEXT_SIZE)


def _name_contours(placing: Placing, contours: Contours, labels: Labels) -> None:
    for level, line in sorted(contours.lines, key=lambda pair: -len(pair[1])):
        points = placing.points(line)
        walked = float(np.hypot(*np.diff(points, axis=0).T).sum())
        if walked < 130.0:
            continue
        text = signed(level)
        places = (np.array([0.5, 0.35, 0.65, 0.2, 0.8]) * (len(points) - 1)).astype(int)
        labels.try_at(points[places], text, SMALL_SIZE, INK)
