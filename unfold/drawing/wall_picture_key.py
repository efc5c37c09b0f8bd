"""What explains a wall's picture: the colour scale in millimetres, the signs, the straightedges and the scale bar."""

from string import ascii_uppercase

import numpy as np

from unfold.drawing.canvas import Box, Canvas
from unfold.drawing.colour import (
    HAIRLINE,
    INK,
    OPENING_FILL,
    PAPER,
    QUIET_INK,
    UNSEEN_FILL,
    UNSEEN_HATCH,
    height_colours,
)
from unfold.drawing.contours import Contours
from unfold.drawing.lengths import limit as limit_text
from unfold.drawing.lengths import quantity, signed
from unfold.drawing.steps import round_step, ticks
from unfold.elevation.result import WallElevation
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import Straightedge, WallSurface

KEY_WIDTH = 500.0
SCALE_AND_SIGNS_HEIGHT, RULES_HEAD, RULE_HEIGHT = 286.0, 30.0, 77.0
TEXT_SIZE, SMALL_SIZE, LEADING = 17.0, 14.0, 24.0


def key_height(rules: int, wide: bool) -> float:
    """Height that the key takes: its two parts stand side by side where it is wide."""
    rules_height = RULES_HEAD + RULE_HEIGHT * max(1, rules)
    return max(SCALE_AND_SIGNS_HEIGHT, rules_height) if wide else SCALE_AND_SIGNS_HEIGHT + 40.0 + rules_height


def draw_key(
    canvas: Canvas,
    box: Box,
    scale: float,
    wall: WallElevation,
    surface: WallSurface,
    contours: Contours,
    limit_mm: float,
    settings: DrawingSettings,
) -> None:
    """Draw the key into a box: in one column where it is narrow, in two where it is wide."""
    left, top, right, _ = box
    wide = right - left > 1.8 * KEY_WIDTH
    column = 0.5 * (right - left) - 20.0 if wide else right - left
    zero = "plane" if wall.radius_mm is None else "cylinder"
    y = draw_colour_scale(canvas, left, top, min(column, KEY_WIDTH), surface, limit_mm, zero)
    y = _draw_signs(canvas, left, y + 18.0, wall, contours)
    _draw_scale_bar(canvas, left, y + 26.0, min(column, KEY_WIDTH), scale)
    x, y = (left + column + 40.0, top) if wide else (left, top + SCALE_AND_SIGNS_HEIGHT + 40.0)
    _draw_straightedge_lines(canvas, x, y, surface, settings)


def draw_colour_scale(
    canvas: Canvas, left: float, top: float, width: float, surface: WallSurface, limit_mm: float, zero: str
) -> float:
    """Draw the bar of colours with its heights in millimetres; returns the y below it."""
    canvas.text(left, top + 14.0, "Height of the surface, mm", TEXT_SIZE, INK, bold=True)
    bar = (left, top + 46.0, left + width, top + 68.0)
    ring = np.array([(bar[0], bar[1]), (bar[2], bar[1]), (bar[2], bar[3]), (bar[0], bar[3])])
    canvas.image(np.ascontiguousarray(height_colours()[None]), bar, ring)
    canvas.polygon(ring, None, QUIET_INK, 1.0)
    canvas.text(bar[0], top + 38.0, "hollow, into the wall", SMALL_SIZE, QUIET_INK)
    canvas.text(bar[2], top + 38.0, "proud, toward the room", SMALL_SIZE, QUIET_INK, "right")
    heights = surface.height_mm[np.isfinite(surface.height_mm)]
    beyond = np.count_nonzero(np.abs(heights) > limit_mm) > 0.001 * heights.size
    for level in ticks(-limit_mm, limit_mm, round_step(limit_mm / 4.0)):
        x = left + 0.5 * width * (1.0 + level / limit_mm)
        canvas.line(np.array([[x, bar[3]], [x, bar[3] + 6.0]]), QUIET_INK, 1.0)
        canvas.text(x, bar[3] + 21.0, signed(level), SMALL_SIZE, INK, "middle")
    note = f"from the wall's own best {zero}" + ("; beyond the ends: the end's colour" if beyond else "")
    canvas.text(left, bar[3] + 42.0, note, SMALL_SIZE, QUIET_INK)
    return bar[3] + 46.0


def _draw_signs(canvas: Canvas, left: float, top: float, wall: WallElevation, contours: Contours) -> float:
    y = top
    for sign, words in (
        ("unseen", "unseen: nothing was measured here"),
        ("left out", "not judged: too few points, or something stands off the wall"),
        ("opening", "opening; an inner line is the clear opening in a casing"),
        ("contour", _contour_words(contours)),
    ):
        box = np.array([(left, y + 2.0), (left + 34.0, y + 2.0), (left + 34.0, y + 18.0), (left, y + 18.0)])
        if sign == "left out":
            canvas.polygon(box, UNSEEN_FILL)
        elif sign == "unseen":
            canvas.polygon(box, UNSEEN_FILL)
            canvas.hatch([box], UNSEEN_HATCH, 9.0, 1.0)
            canvas.polygon(box, None, UNSEEN_HATCH, 1.0)
        elif sign == "opening":
            canvas.polygon(box, OPENING_FILL, INK, 2.0)
        else:
            canvas.line(np.array([(left, y + 10.0), (left + 34.0, y + 10.0)]), QUIET_INK, 1.2)
        canvas.text(left + 46.0, y + 16.0, words, SMALL_SIZE, INK)
        y += LEADING
    return y


def _contour_words(contours: Contours) -> str:
    if contours.step_mm is not None and not contours.lines:
        return f"contours: none, the relief is under {contours.step_mm:g} mm"
    if contours.step_mm is None:
        return "contours: none, too little was measured"
    return f"contour every {contours.step_mm:g} mm; the line of height 0 is heavier"


def _draw_scale_bar(canvas: Canvas, left: float, y: float, width: float, scale: float) -> None:
    length_mm = round_step(0.2 * width / scale)
    half = 0.5 * length_mm * scale
    for number, fill in enumerate((INK, PAPER)):
        x = left + number * half
        canvas.polygon(np.array([(x, y), (x + half, y), (x + half, y + 7.0), (x, y + 7.0)]), fill, INK, 1.0)
    for share, text in ((0, "0"), (1, f"{0.5 * length_mm:g}"), (2, f"{length_mm:g} mm")):
        canvas.text(left + share * half, y + 24.0, text, SMALL_SIZE, INK, "left" if share == 0 else "middle")


def _draw_straightedge_lines(
    canvas: Canvas, left: float, top: float, surface: WallSurface, settings: DrawingSettings
) -> None:
    canvas.text(left, top + 14.0, "Worst straightedge, laid anywhere in any direction", TEXT_SIZE, INK, bold=True)
    y = top + 40.0
    for letter, edge in zip(ascii_uppercase, surface.straightedges, strict=False):
        for number, words in enumerate(straightedge_words(edge, settings)):
            canvas.text(
                left + (0.0 if number == 0 else 28.0),
                y,
                f"{letter}   {words}" if number == 0 else words,
                TEXT_SIZE if number == 0 else SMALL_SIZE,
                INK if number == 0 else QUIET_INK,
            )
            y += 21.0
        canvas.line(np.array([(left, y - 8.0), (left + KEY_WIDTH, y - 8.0)]), HAIRLINE, 1.0)
        y += 14.0


def straightedge_words(edge: Straightedge, settings: DrawingSettings) -> tuple[str, ...]:
    """Say what one rule found: the gap with 2 u and the verdict, then the rule itself."""
    shortened = edge.used_length_mm is not None and edge.used_length_mm < edge.length_mm - 0.5
    ruler = f"edge of {limit_text(edge.length_mm, settings)}"
    if shortened and edge.used_length_mm is not None:
        ruler += f", shortened to the wall: {edge.used_length_mm:.0f} mm"
    over = "" if edge.share_over is None else f"; {100.0 * edge.share_over:.0f} % of the measured area is over"
    if edge.worst is None:
        return (f"gap not measured: {edge.verdict}", ruler, f"limit {limit_text(edge.tolerance_mm, settings)}")
    return (
        f"gap {quantity(edge.worst, settings)}: {edge.verdict}",
        ruler,
        f"limit {limit_text(edge.tolerance_mm, settings)}{over}",
    )
