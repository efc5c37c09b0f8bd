"""The plan of the room as a picture: walls with what was decided about each, openings, stations and the scan's axes."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.drawing import lengths
from unfold.drawing.canvas import AnyCanvas, Canvas
from unfold.drawing.colour import INK, PAPER, QUIET_INK
from unfold.drawing.labels import Labels
from unfold.drawing.room_plan import PlanOpening, PlanWall, RoomPlan
from unfold.drawing.steps import round_step
from unfold.quantity import Verdict
from unfold.settings.drawing import DrawingSettings

MARGIN, LABEL_ROOM, HEAD, FOOT = 28.0, 120.0, 84.0, 170.0
MOST_WIDTH, MOST_HEIGHT, MOST_PIXELS_PER_MM = 1120.0, 900.0, 0.3
LEAST_FIGURE_WIDTH = 1240.0
BAND, TEXT_SIZE, SMALL_SIZE = 15.0, 17.0, 14.0
FLOOR_FILL, CONFORMS_FILL, STATION_FILL = (246, 246, 244), (226, 229, 232), (26, 88, 139)


@dataclass(frozen=True, slots=True)
class PlanPlacing:
    """Plan to figure: turn so that the longest wall lies level, then scale and shift; y down in the figure."""

    turn: Floats  # (2, 2) rotation
    scale: float
    shift: Floats  # (2,) figure position of the turned plan's origin
    width: float
    height: float

    def points(self, plan_mm: Floats) -> Floats:
        """Take plan positions (n, 2) to the figure."""
        turned = np.asarray(plan_mm, dtype=float) @ self.turn.T
        return np.asarray(turned * [self.scale, -self.scale] + self.shift)

    def directions(self, plan: Floats) -> Floats:
        """Take plan directions (n, 2) to the figure, unit length kept."""
        return np.asarray((plan @ self.turn.T) * [1.0, -1.0])


def place_plan(plan: RoomPlan) -> PlanPlacing:
    """Choose the turn, the scale and the figure's size."""
    longest = max(plan.walls, key=lambda wall: wall.length_mm)
    along = longest.face_mm[-1] - longest.face_mm[0]
    angle = np.arctan2(along[1], along[0])
    angle -= 0.5 * np.pi * round(float(angle) / (0.5 * np.pi))  # the least turn that levels it
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    parts = [wall.face_mm for wall in plan.walls] + [station.position_mm[None] for station in plan.stations]
    turned = np.concatenate(parts) @ turn.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = float(min(MOST_WIDTH / size[0], MOST_HEIGHT / size[1], MOST_PIXELS_PER_MM))
    width = max(LEAST_FIGURE_WIDTH, scale * float(size[0]) + 2.0 * LABEL_ROOM)
    height = HEAD + scale * float(size[1]) + 1.1 * LABEL_ROOM + FOOT
    left = 0.5 * (width - scale * float(size[0]))
    shift = np.array([left - scale * low[0], HEAD + 0.5 * LABEL_ROOM + scale * high[1]])
    return PlanPlacing(turn, scale, shift, width, height)


def draw_plan_picture(
    new_canvas: Callable[[float, float], AnyCanvas],
    plan: RoomPlan,
    floor_m: tuple[Floats, ...],
    settings: DrawingSettings,
) -> AnyCanvas:
    """Draw the plan; `floor_m` are the closed rooms' rings (n, 2) in level coordinates, the largest first."""
    placing = place_plan(plan)
    canvas = new_canvas(placing.width, placing.height)
    labels = Labels(canvas, (6.0, HEAD - 6.0, placing.width - 6.0, placing.height - FOOT))
    canvas.text(MARGIN, 44.0, "Plan of the room", 28.0, INK, bold=True)
    canvas.text(
        MARGIN, 70.0, "seen from above; lengths along the walls' faces at the level datum", TEXT_SIZE, QUIET_INK
    )
    for number, ring in enumerate(floor_m):
        canvas.polygon(placing.points(1000.0 * ring), FLOOR_FILL if number == 0 else PAPER)
    for wall in plan.walls:
        _draw_wall(canvas, placing, wall)
        labels.block_line(placing.points(wall.face_mm), 8.0)
        labels.block_line(_behind(placing, wall.face_mm, wall.inward, 0.5 * BAND), BAND)
    _draw_stations(canvas, placing, plan, labels)
    for wall in sorted(plan.walls, key=lambda wall: -wall.length_mm):
        _name_wall(placing, wall, labels, settings)
    for wall in plan.walls:
        _name_openings(placing, wall, labels)
    _draw_foot(canvas, placing, plan)
    return canvas


def _behind(placing: PlanPlacing, face_mm: Floats, inward: Floats, pixels: float) -> Floats:
    return np.asarray(placing.points(face_mm) - pixels * placing.directions(inward))


def _band(placing: PlanPlacing, wall: PlanWall) -> float:
    """Drawn thickness of a wall: thinner where it is short, so that a column's sides leave room for each other."""
    return max(4.0, min(BAND, 0.3 * placing.scale * wall.length_mm))


def _draw_wall(canvas: Canvas, placing: PlanPlacing, wall: PlanWall) -> None:
    face, back = placing.points(wall.face_mm), _behind(placing, wall.face_mm, wall.inward, _band(placing, wall))
    _fill_band(canvas, np.concatenate([face, back[::-1]]), wall.verdict)
    canvas.line(face, INK, 3.0)
    for opening in wall.openings:
        _draw_opening(canvas, placing, wall, opening)


def _fill_band(canvas: Canvas, ring: Floats, verdict: Verdict | None) -> None:
    if verdict == "does not conform":
        canvas.polygon(ring, INK)
    elif verdict == "conforms":
        canvas.polygon(ring, CONFORMS_FILL, QUIET_INK, 1.0)
    else:
        canvas.polygon(ring, PAPER)
        canvas.hatch([ring], INK, 6.0, 1.0)
        canvas.polygon(ring, None, QUIET_INK, 1.0)


def _draw_opening(canvas: Canvas, placing: PlanPlacing, wall: PlanWall, cut: PlanOpening) -> None:
    face = placing.points(cut.face_mm)
    band = _band(placing, wall)
    inward = placing.directions(wall.inward[:1])
    back = face - band * inward
    if cut.opening.kind == "service":
        x, y = (float(value) for value in face.mean(axis=0) - 0.5 * band * inward[0])
        canvas.disc(x, y, 4.0, PAPER, INK, 1.6)
        return
    ring = np.concatenate([face, back[::-1]])
    canvas.polygon(ring, PAPER)
    for end in (0, -1):
        canvas.line(np.stack([face[end], back[end]]), INK, 2.0)
    if cut.opening.kind == "window":
        for share in (0.25, 0.75):
            canvas.line(face - share * band * inward, INK, 1.2)
    elif cut.opening.kind == "niche":
        canvas.line(face - 0.6 * band * inward, INK, 2.0)
    else:
        canvas.line(face, QUIET_INK, 1.0, (5.0, 4.0))


def _draw_stations(canvas: Canvas, placing: PlanPlacing, plan: RoomPlan, labels: Labels) -> None:
    boxes = []
    for station in plan.stations:
        x, y = (float(value) for value in placing.points(station.position_mm[None])[0])
        canvas.polygon(np.array([(x, y - 9.0), (x + 8.0, y + 6.0), (x - 8.0, y + 6.0)]), STATION_FILL)
        boxes.append((x - 9.0, y - 10.0, x + 9.0, y + 8.0))
        labels.block(boxes[-1])
    for station, box in zip(plan.stations, boxes, strict=True):
        name = station.name if len(station.name) <= 24 else station.name[:23] + "…"
        labels.name_box(box, (name,), SMALL_SIZE, STATION_FILL)


def _name_wall(placing: PlanPlacing, wall: PlanWall, labels: Labels, settings: DrawingSettings) -> None:
    middle = len(wall.face_mm) // 2
    at = wall.face_mm[middle] if len(wall.face_mm) > 2 else wall.face_mm.mean(axis=0)
    x, y = (float(value) for value in placing.points(at[None])[0])
    toward = placing.directions(wall.inward[middle - 1 : middle])[0]
    words = (wall.id, wall.verdict or "not measured", lengths.length(wall.length_mm, settings))
    labels.name_toward((x, y), (float(toward[0]), float(toward[1])), words, SMALL_SIZE)


def _name_openings(placing: PlanPlacing, wall: PlanWall, labels: Labels) -> None:
    inward = placing.directions(wall.inward[:1])[0]
    for cut in wall.openings:
        x, y = (float(value) for value in placing.points(cut.face_mm).mean(axis=0) - BAND * inward)
        away = (-float(inward[0]), -float(inward[1]))
        labels.name_toward((x, y), away, (cut.opening.id.split("-")[-1],), SMALL_SIZE - 1.0, optional=True)


def _draw_foot(canvas: Canvas, placing: PlanPlacing, plan: RoomPlan) -> None:
    top = placing.height - FOOT + 16.0
    _draw_legend(canvas, MARGIN, top)
    _draw_axes(canvas, placing, plan, placing.width - 110.0, top + 84.0)
    length_mm = round_step(150.0 / placing.scale)
    x, y, half = 420.0, top + 100.0, 0.5 * length_mm * placing.scale
    for number, fill in enumerate((INK, PAPER)):
        start = x + number * half
        canvas.polygon(np.array([(start, y), (start + half, y), (start + half, y + 7), (start, y + 7)]), fill, INK, 1.0)
    for share, text in ((0, "0"), (1, f"{0.5 * length_mm:g}"), (2, f"{length_mm:g} mm")):
        canvas.text(x + share * half, y + 24.0, text, SMALL_SIZE, INK, "left" if share == 0 else "middle")
    signs = "▲ where the scanner stood    ○ service: box, pipe or cable    O1 … opening's number on its wall"
    canvas.text(420.0, top + 14.0, signs, SMALL_SIZE, INK)
    notes = [
        "dashed: door or opening    two lines: window    one line: niche",
        "the band's width is drawn, not measured",
    ]
    if plan.unplaced_stations:
        notes.append(f"{plan.unplaced_stations} station(s) not drawn: the files do not say where they stood")
    for number, note in enumerate(notes):
        canvas.text(420.0, top + 36.0 + 22.0 * number, note, SMALL_SIZE, QUIET_INK)


def _draw_legend(canvas: Canvas, left: float, top: float) -> None:
    kinds: tuple[Verdict, ...] = ("conforms", "cannot be decided", "does not conform")
    for number, verdict in enumerate(kinds):
        y = top + 26.0 * number
        ring = np.array([(left, y), (left + 44.0, y), (left + 44.0, y + BAND), (left, y + BAND)])
        _fill_band(canvas, ring, verdict)
        canvas.line(np.array([(left, y + BAND), (left + 44.0, y + BAND)]), INK, 3.0)
        canvas.text(left + 56.0, y + 14.0, f"flatness {verdict}", SMALL_SIZE, INK)


def _draw_axes(canvas: Canvas, placing: PlanPlacing, plan: RoomPlan, x: float, y: float) -> None:
    for name, axis in zip("xy", placing.directions(plan.scan_axes), strict=True):
        tip = np.array([x, y]) + 44.0 * axis
        side = 5.0 * np.array([-axis[1], axis[0]])
        canvas.line(np.array([(x, y), tip]), QUIET_INK, 1.6)
        canvas.polygon(np.stack([tip + 6.0 * axis, tip + side - 6.0 * axis, tip - side - 6.0 * axis]), QUIET_INK)
        label = tip + 18.0 * axis
        canvas.text(float(label[0]), float(label[1]) + 5.0, name, SMALL_SIZE, QUIET_INK, "middle")
    canvas.text(x, y + 66.0, "the scan's axes", SMALL_SIZE, QUIET_INK, "middle")
