"""The DXF plan of the room: walls' faces, openings, stations, lengths and the scan's axes, in levelled coordinates."""

from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace

from unfold.arrays import Floats
from unfold.drawing import lengths
from unfold.drawing.dxf_document import DIMENSION_STYLE, PAPER_TEXT_MM, add_text, drawing_scale, new_document, save
from unfold.drawing.room_plan import PlanStation, PlanWall, RoomPlan
from unfold.settings.drawing import DrawingSettings


def write_room_dxf(plan: RoomPlan, path: Path, settings: DrawingSettings) -> None:
    """Write the plan; coordinates are level x and y in millimetres from the scan's local origin."""
    save(draw_room(plan, settings), path, plan.corners_mm())


def draw_room(plan: RoomPlan, settings: DrawingSettings) -> Drawing:
    """Draw the plan."""
    low, high = plan.corners_mm()
    scale = drawing_scale(*(1.3 * (high - low)))
    document, text = new_document(scale), PAPER_TEXT_MM * scale
    space = document.modelspace()
    for wall in plan.walls:
        space.add_lwpolyline(wall.face_mm.tolist(), dxfattribs={"layer": "WALL"})
        _add_length(space, wall, text, settings)
        _name_wall(space, wall, text)
        _add_openings(space, wall, text)
    for station in plan.stations:
        _add_station(space, station, text)
    _add_axes(space, plan.scan_axes, low - 12.0 * text, text)
    add_text(
        space, (float(low[0]), float(low[1]) - 9.0 * text), "Plan of the room, seen from above; millimetres", 1.4 * text
    )
    return document


def _add_length(space: Modelspace, wall: PlanWall, text: float, settings: DrawingSettings) -> None:
    if len(wall.face_mm) > 2:
        words = f"arc {lengths.dimension(wall.length_mm, settings)}"
        at = wall.face_mm[len(wall.face_mm) // 2] - 2.5 * text * wall.inward[len(wall.face_mm) // 2]
        add_text(space, (float(at[0]), float(at[1])), words, text, "DIMENSION", TextEntityAlignment.MIDDLE_CENTER)
        return
    start, stop = wall.face_mm
    words = "<>" if settings.units == "mm" else lengths.dimension(wall.length_mm, settings)
    # a positive distance lies left of the line; seen from inside, left to right, left of the line is outside the room
    space.add_aligned_dim(
        p1=start, p2=stop, distance=4.0 * text, text=words, dimstyle=DIMENSION_STYLE, dxfattribs={"layer": "DIMENSION"}
    ).render()


def _name_wall(space: Modelspace, wall: PlanWall, text: float) -> None:
    middle = len(wall.face_mm) // 2
    at = wall.face_mm[middle] if len(wall.face_mm) > 2 else wall.face_mm.mean(axis=0)
    inward = wall.inward[middle]
    wide = 0.62 * text * max(len(wall.id), len(wall.verdict or "")) if abs(inward[0]) > 0.3 else 0.0
    for number, words in enumerate((wall.id, wall.verdict or "not measured")):
        place = at + (1.6 * text + 0.5 * wide) * inward + np.array([0.0, (0.7 - 1.5 * number) * text])
        add_text(space, (float(place[0]), float(place[1])), words, text, align=TextEntityAlignment.MIDDLE_CENTER)


def _add_openings(space: Modelspace, wall: PlanWall, text: float) -> None:
    for cut in wall.openings:
        depth = 0.8 * text
        back: Floats = cut.back_mm if cut.back_mm is not None else cut.face_mm - depth * wall.inward[:1]
        ring = np.concatenate([cut.face_mm, back[::-1]])
        space.add_lwpolyline(ring.tolist(), close=True, dxfattribs={"layer": "OPENING"})
        at = cut.face_mm.mean(axis=0) - 1.6 * text * wall.inward[0]
        tag = cut.opening.id.split("-")[-1]
        add_text(space, (float(at[0]), float(at[1])), tag, 0.7 * text, align=TextEntityAlignment.MIDDLE_CENTER)


def _add_station(space: Modelspace, station: PlanStation, text: float) -> None:
    x, y = (float(value) for value in station.position_mm)
    on_station = {"layer": "STATION"}
    space.add_circle((x, y), 0.6 * text, dxfattribs=on_station)
    space.add_line((x - text, y), (x + text, y), dxfattribs=on_station)
    space.add_line((x, y - text), (x, y + text), dxfattribs=on_station)
    add_text(space, (x + 1.2 * text, y + 0.6 * text), station.name, 0.8 * text, "STATION")


def _add_axes(space: Modelspace, axes: Floats, at: Floats, text: float) -> None:
    for name, axis in zip("xy", axes, strict=True):
        tip = at + 5.0 * text * axis
        space.add_line(tuple(at), tuple(tip), dxfattribs={"layer": "SCAN-AXES"})
        end = at + 6.0 * text * axis
        words = f"scan {name}"
        add_text(
            space, (float(end[0]), float(end[1])), words, 0.8 * text, "SCAN-AXES", TextEntityAlignment.MIDDLE_CENTER
        )
