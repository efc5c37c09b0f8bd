"""The DXF plan of the room: walls' faces, openings, stations, lengths and the scan's axes, in levelled coordinates."""

from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace

from unfold.arrays import Floats
from unfold.drawing import lengths
from unfold.drawing.canvas import Anchor, Colour
from unfold.drawing.colour import PAPER
from unfold.drawing.dxf_document import DIMENSION_STYLE, PAPER_TEXT_MM, add_text, drawing_scale, new_document, save
from unfold.drawing.fonts import pixel_font
from unfold.drawing.labels import Labels
from unfold.drawing.room_plan import PlanStation, PlanWall, RoomPlan
from unfold.settings.drawing import DrawingSettings

TEXT = 14.0  # height of a text in figure units, in which labels find their places
DIMENSION_AWAY, SHORTEST_DIMENSION = 5.5, 10.0  # text heights


def write_room_dxf(plan: RoomPlan, path: Path, settings: DrawingSettings) -> None:
    """Write the plan; coordinates are level x and y in millimetres from the scan's local origin."""
    save(draw_room(plan, settings), path, plan.corners_mm())


def draw_room(plan: RoomPlan, settings: DrawingSettings) -> Drawing:
    """Draw the plan."""
    low, high = plan.corners_mm()
    scale = drawing_scale(*(1.3 * (high - low)))
    document, text = new_document(scale), PAPER_TEXT_MM * scale
    space = document.modelspace()
    pen = _DxfPen(space, text / TEXT)
    around = pen.figure(np.stack([low - 15.0 * text, high + 15.0 * text]))
    labels = Labels(pen, (around[0, 0], around[1, 1], around[1, 0], around[0, 1]))
    for wall in plan.walls:
        _add_wall(space, pen, labels, wall, text, settings)
    for station in plan.stations:
        _add_station(space, pen, labels, station, text)
    for wall in sorted(plan.walls, key=lambda wall: -wall.length_mm):
        _name_wall(pen, labels, wall, text, settings)
    _name_openings(pen, labels, plan, text)
    _add_axes(space, plan.scan_axes, low - 14.0 * text, text)
    title = "Plan of the room, seen from above; millimetres"
    add_text(space, (float(low[0]), float(low[1]) - 12.0 * text), title, 1.4 * text)
    return document


class _DxfPen:
    """Writes labels as DXF texts: the figure's y points down, the drawing's up, `unit_mm` millimetres a figure unit."""

    def __init__(self, space: Modelspace, unit_mm: float) -> None:
        self._space, self._unit_mm = space, unit_mm

    def figure(self, plan_mm: Floats) -> Floats:
        """Take plan positions (n, 2) to the figure."""
        return np.asarray(plan_mm * [1.0, -1.0] / self._unit_mm)

    def text_width(self, text: str, size: float, bold: bool = False) -> float:
        return 1.1 * float(pixel_font(size, bold).getlength(text))  # the reader's font may be a little wider

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
        align = {
            "left": TextEntityAlignment.LEFT,
            "middle": TextEntityAlignment.CENTER,
            "right": TextEntityAlignment.RIGHT,
        }
        add_text(
            self._space,
            (x * self._unit_mm, -baseline * self._unit_mm),
            text,
            0.75 * size * self._unit_mm,
            align=align[anchor],
        )

    def line(self, points: Floats, colour: Colour, width: float, dash: tuple[float, float] | None = None) -> None:
        if colour != PAPER:
            drawn = points * [1.0, -1.0] * self._unit_mm
            self._space.add_lwpolyline(drawn.tolist(), dxfattribs={"layer": "NOTE"})


def _add_wall(
    space: Modelspace, pen: _DxfPen, labels: Labels, wall: PlanWall, text: float, settings: DrawingSettings
) -> None:
    space.add_lwpolyline(wall.face_mm.tolist(), dxfattribs={"layer": "WALL"})
    labels.block_line(pen.figure(wall.face_mm), 4.0)
    for cut in wall.openings:
        back: Floats = cut.back_mm if cut.back_mm is not None else cut.face_mm - 0.8 * text * wall.inward[:1]
        ring = np.concatenate([cut.face_mm, back[::-1]])
        space.add_lwpolyline(ring.tolist(), close=True, dxfattribs={"layer": "OPENING"})
        labels.block_line(pen.figure(ring), 4.0)
    if _has_dimension(wall, text):
        _add_dimension(space, wall, text, settings)
        line = wall.face_mm - DIMENSION_AWAY * text * wall.inward
        labels.block_line(pen.figure(line), 3.6 * TEXT)


def _has_dimension(wall: PlanWall, text: float) -> bool:
    return len(wall.face_mm) == 2 and wall.length_mm >= SHORTEST_DIMENSION * text


def _add_dimension(space: Modelspace, wall: PlanWall, text: float, settings: DrawingSettings) -> None:
    start, stop = wall.face_mm
    # outside the room is left of the line from a wall's left to its right end; the text reads from below or the right
    away, (across, up) = DIMENSION_AWAY * text, stop - start
    if across < -1e-6 or (abs(across) <= 1e-6 and up < 0.0):
        start, stop, away = stop, start, -away
    words = "<>" if settings.units == "mm" else lengths.dimension(wall.length_mm, settings)
    space.add_aligned_dim(
        p1=start, p2=stop, distance=away, text=words, dimstyle=DIMENSION_STYLE, dxfattribs={"layer": "DIMENSION"}
    ).render()


def _name_wall(pen: _DxfPen, labels: Labels, wall: PlanWall, text: float, settings: DrawingSettings) -> None:
    middle = len(wall.face_mm) // 2
    at = wall.face_mm[middle] if len(wall.face_mm) > 2 else wall.face_mm.mean(axis=0)
    x, y = pen.figure(at[None])[0]
    words = [wall.id, wall.verdict or "not measured"]
    if not _has_dimension(wall, text):
        words.append(("arc " if len(wall.face_mm) > 2 else "") + lengths.dimension(wall.length_mm, settings))
    inward = wall.inward[middle]
    labels.name_toward((float(x), float(y)), (float(inward[0]), -float(inward[1])), tuple(words), TEXT)


def _name_openings(pen: _DxfPen, labels: Labels, plan: RoomPlan, text: float) -> None:
    for wall in plan.walls:
        for cut in wall.openings:
            x, y = pen.figure((cut.face_mm.mean(axis=0) - 0.8 * text * wall.inward[0])[None])[0]
            away = (-float(wall.inward[0, 0]), float(wall.inward[0, 1]))
            labels.name_toward((float(x), float(y)), away, (cut.opening.id.split("-")[-1],), TEXT)


def _add_station(space: Modelspace, pen: _DxfPen, labels: Labels, station: PlanStation, text: float) -> None:
    x, y = (float(value) for value in station.position_mm)
    on_station = {"layer": "STATION"}
    space.add_circle((x, y), 0.6 * text, dxfattribs=on_station)
    space.add_line((x - text, y), (x + text, y), dxfattribs=on_station)
    space.add_line((x, y - text), (x, y + text), dxfattribs=on_station)
    left, top = pen.figure(np.array([[x - text, y + text]]))[0]
    box = (float(left), float(top), float(left) + 2.0 * TEXT, float(top) + 2.0 * TEXT)
    labels.block(box)
    labels.name_box(box, (station.name,), TEXT)


def _add_axes(space: Modelspace, axes: Floats, at: Floats, text: float) -> None:
    for name, axis in zip("xy", axes, strict=True):
        tip = at + 5.0 * text * axis
        space.add_line(tuple(at), tuple(tip), dxfattribs={"layer": "SCAN-AXES"})
        end = at + 7.5 * text * axis
        place = (float(end[0]), float(end[1]))
        add_text(space, place, f"scan {name}", 0.8 * text, "SCAN-AXES", TextEntityAlignment.MIDDLE_CENTER)
