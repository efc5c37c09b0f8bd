"""A wall's panels on a sheet of the drawing set, at a true scale; and the tables of its scribed edges."""

from collections.abc import Callable

import numpy as np
import shapely

from unfold.arrays import Floats
from unfold.drawing.panel_elevation import Ordinate, PanelElevation, ScribeTable, spread
from unfold.drawing.panel_label import panel_label
from unfold.drawing.panel_text import SMALL_MM, TEXT_MM, write_in_shape
from unfold.drawing.paper import NARROW, WIDE, Paper
from unfold.drawing.title_block import Box, drawing_space
from unfold.settings.drawing import DrawingSettings

SCALES = (5, 10, 20, 25, 50)
COARSE_SCALES = (100, 200)
"""Only for walls that no sheet holds at 1:50."""
MARGINS = {"mm": (28.0, 30.0), "ft-in": (48.0, 50.0)}
"""Room for ordinates on the left and below, by the drawing's units."""
MARGIN_RIGHT, MARGIN_ABOVE = 22.0, 10.0
PANEL_GREY = 0.93
ROW_MM = 4.0
TABLE_MM = 62.0
TABLE_MM_WIDE = 118.0
Place = Callable[[Floats], Floats]


def choose_scale(width_mm: float, height_mm: float, units: str) -> tuple[str, int]:
    """Choose the sheet and the scale 1:n for a wall: A3 when it holds it at 1:50, then larger sheets, then coarser."""
    for scales, sizes in ((SCALES, ("A3", "A2", "A1", "A0")), (COARSE_SCALES, ("A0",))):
        for size in sizes:
            box = drawing_space(size)
            room = box.width - MARGINS[units][0] - MARGIN_RIGHT, box.height - MARGINS[units][1] - MARGIN_ABOVE
            for scale in scales:
                if width_mm / scale <= room[0] and height_mm / scale <= room[1]:
                    return size, scale
    return "A0", COARSE_SCALES[-1]


def draw_panels(paper: Paper, elevation: PanelElevation, box: Box, scale: int, settings: DrawingSettings) -> None:
    """Draw a wall with its panels, datum lines and ordinates into a box of the sheet."""
    left, bottom, right, top = elevation.bounds_mm
    margins = np.array(MARGINS[settings.units])
    free = np.array([box.width - MARGIN_RIGHT, box.height - MARGIN_ABOVE]) - margins
    free = np.maximum(0.0, free - np.array([right - left, top - bottom]) / scale) / 2.0
    origin = np.array([box.left, box.bottom]) + margins + free

    def place(points: Floats) -> Floats:
        return np.asarray((points - np.array([left, bottom])) / scale + origin)

    paper.outline(place(elevation.outline_mm), NARROW, 0.4)
    for panel in elevation.panels:
        paper.outline(place(panel.ring_mm), WIDE, 0.0, PANEL_GREY)
        for cutout in panel.cutouts:
            paper.outline(place(cutout.ring_mm), NARROW, 0.0, 1.0)
    for opening in elevation.openings:
        paper.outline(place(opening.ring_mm), NARROW, 0.0, 1.0 if opening.kind != "service" else None)
    _draw_movement_joints(paper, elevation, place)
    _draw_mitres(paper, elevation, place)
    datums = _draw_datums(paper, elevation, place)
    windows = [shapely.Polygon(place(opening.ring_mm)) for opening in elevation.openings]
    for panel in elevation.panels:
        moved = shapely.Polygon(place(panel.ring_mm), [place(cutout.ring_mm) for cutout in panel.cutouts])
        write_in_shape(paper, moved, panel_label(panel, settings), datums, PANEL_GREY)
    for window, opening in zip(windows, elevation.openings, strict=True):
        if opening.kind != "service":
            write_in_shape(paper, window, (opening.id, opening.kind), datums, 1.0)
    for axis in ("u", "v"):
        _draw_ordinates(paper, elevation, [one for one in elevation.ordinates if one.axis == axis], place)


def _draw_movement_joints(paper: Paper, elevation: PanelElevation, place: Place) -> None:
    for joint in elevation.joints:
        if joint.kind != "movement":
            continue
        start, end = place(joint.line_mm)
        paper.line([start, end], WIDE, 1.0)
        paper.line([start, end], NARROW, 0.0, (4.0, 1.0, 0.5, 1.0))
        upright = abs(end[1] - start[1]) > abs(end[0] - start[0])
        at = start + 0.2 * (end - start) + (np.array([-1.0, 0.0]) if upright else np.array([0.0, 1.0]))
        paper.text(float(at[0]), float(at[1]), "movement joint", SMALL_MM, "middle", turn_deg=90.0 if upright else 0.0)


def _draw_mitres(paper: Paper, elevation: PanelElevation, place: Place) -> None:
    """Draw bevelled edges as dashed lines within the panel, with their angle."""
    left, _, right, _ = elevation.bounds_mm
    for mitre in [mitre for panel in elevation.panels for mitre in panel.mitres]:
        ends = place(mitre.line_mm)
        outward = 1.0 if mitre.line_mm[:, 0].mean() > (left + right) / 2.0 else -1.0
        line = ends - np.array([1.2 * outward, 0.0])
        paper.line(line, NARROW, 0.0, (4.0, 1.0))
        x, y = line.mean(axis=0) + np.array([-1.0 if outward > 0.0 else 1.0 + SMALL_MM, 0.0])
        words = f"mitre {mitre.bevel_deg:.1f}° to {mitre.neighbour}"
        paper.text(float(x), float(y), words, SMALL_MM, "middle", turn_deg=90.0)


def _draw_datums(paper: Paper, elevation: PanelElevation, place: Place) -> shapely.Geometry:
    """Draw both datum lines and return them."""
    left, bottom, right, top = elevation.bounds_mm
    level, plumb = elevation.level_v_mm, elevation.plumb_u_mm
    over = np.array([[-3.0, 0.0], [3.0, 0.0]])
    ends = place(np.array([[left, level], [right, level]])) + over
    lines = [ends]
    paper.line(ends, NARROW, 0.0, (6.0, 1.0, 1.0, 1.0))
    paper.text(ends[1, 0] + 1.0, ends[1, 1] - SMALL_MM / 2.0, "level datum", SMALL_MM)
    ends = place(np.array([[plumb, bottom], [plumb, top]])) + over[:, ::-1]
    paper.line(ends, NARROW, 0.0, (6.0, 1.0, 1.0, 1.0))
    paper.text(ends[1, 0], ends[1, 1] + 1.0, "plumb datum", SMALL_MM, "middle")
    lines.append(ends)
    return shapely.MultiLineString(lines)


def _draw_ordinates(paper: Paper, elevation: PanelElevation, ordinates: list[Ordinate], place: Place) -> None:
    """Draw ordinates left of the wall or under it, the texts moved apart and joined to their features by jogs."""
    left, bottom, _, _ = elevation.bounds_mm
    index = 0 if ordinates and ordinates[0].axis == "u" else 1
    start = float(place(np.array([left, bottom]))[1 - index])
    features = [float(place(np.full(2, one.at_mm))[index]) for one in ordinates]
    for one, feature, text_at in zip(ordinates, features, spread(features, 1.5 * TEXT_MM), strict=True):
        jog = np.array([(feature, -1.5), (feature, -4.0), (text_at, -8.0), (text_at, -10.0)])
        run = jog + np.array([0.0, start])
        paper.line(run if index == 0 else run[:, ::-1], NARROW)
        x, y = (text_at, start - 11.0) if index == 0 else (start - 11.0, text_at)
        if index == 0:
            paper.text(x + TEXT_MM / 2.0, y, one.text, TEXT_MM, "right", turn_deg=90.0)
        else:
            paper.text(x, y - TEXT_MM / 2.0, one.text, TEXT_MM, "right")


def table_blocks(tables: tuple[ScribeTable, ...], box: Box, units: str) -> list[list[tuple[ScribeTable, float]]]:
    """Cut tables into columns that fit the box and share them out to pages: (part of a table, x) each."""
    width = TABLE_MM if units == "mm" else TABLE_MM_WIDE
    rows_in_column = int(box.height / ROW_MM) - 3
    columns_on_page = max(1, int(box.width / width))
    parts = [part for table in tables for part in table.parts(rows_in_column)]
    return [
        [(part, box.left + number * width) for number, part in enumerate(parts[first : first + columns_on_page])]
        for first in range(0, len(parts), columns_on_page)
    ]


def draw_table(paper: Paper, table: ScribeTable, x: float, box: Box, units: str) -> None:
    """Draw one column of a table of points, from the top of the box down."""
    width = (TABLE_MM if units == "mm" else TABLE_MM_WIDE) - 4.0
    y = box.bottom + box.height - TEXT_MM
    paper.text(x, y, paper.fitted(table.title, width, SMALL_MM, True), SMALL_MM, bold=True)
    for number, row in enumerate((table.header, *table.rows), start=1):
        y = box.bottom + box.height - TEXT_MM - number * ROW_MM
        for column, cell in enumerate(row, start=1):
            paper.text(x + column * width / 3.0 - 1.0, y, cell, SMALL_MM, "right", grey=0.35 if number == 1 else 0.0)
        paper.line([(x, y - 1.1), (x + width, y - 1.1)], 0.13, 0.6)
