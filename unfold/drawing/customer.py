"""The customer's sheet, panels/panels/customer.pdf: one page to look at and sign before anything is cut."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.panel_elevation import PanelElevation
from unfold.drawing.paper import NARROW, WIDE, Paper
from unfold.drawing.wall_notes import TREATMENTS, gap_widths, joint_widths, small_length
from unfold.layout.result import Layout, WallLayout
from unfold.settings import JobSettings

PAGE_MM = (210.0, 297.0)
MARGIN_MM = 18.0
TEXT_MM, SMALL_MM = 2.5, 2.0
PICTURES_TOP, PICTURES_BOTTOM = 255.0, 118.0
CAPTION_MM = 5.5
SAMPLE_MM = (16.0, 14.0)
"""Width of the panel's piece on either side of a joint drawn at full size, and its height."""


def write_customer_sheet(
    layout: Layout, drawn: Sequence[PanelElevation], path: Path, settings: JobSettings
) -> None:
    """Write the one page: every wall that gets panels, the joints in words and at full size, and a line to sign on."""
    paper = Paper(path, "What your walls will look like")
    paper.new_page(*PAGE_MM)
    _draw_head(paper, layout, settings)
    clad = [(elevation, laid) for elevation, laid in zip(drawn, layout.walls, strict=True) if laid.panels]
    _draw_pictures(paper, clad)
    _draw_joints(paper, layout, settings)
    _draw_bare(paper, [laid for laid in layout.walls if not laid.panels])
    _draw_signature(paper)
    paper.save()


def _draw_head(paper: Paper, layout: Layout, settings: JobSettings) -> None:
    block = settings.title_block
    paper.text(MARGIN_MM, 275.0, "What your walls will look like", 5.0, bold=True)
    who = "   ".join(part for part in (block.project, block.customer, block.date) if part)
    if who:
        paper.text(MARGIN_MM, 267.5, paper.fitted(who, PAGE_MM[0] - 2 * MARGIN_MM), TEXT_MM)
    walls = sum(1 for wall in layout.walls if wall.panels)
    panels = sum(len(wall.panels) for wall in layout.walls)
    line = f"{_count(panels, 'panel')} on {_count(walls, 'wall')}, seen from inside the room. Lines are joints."
    paper.text(MARGIN_MM, 260.5, line, TEXT_MM)
    paper.line([(MARGIN_MM, 257.5), (PAGE_MM[0] - MARGIN_MM, 257.5)], NARROW, 0.5)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _draw_pictures(paper: Paper, clad: list[tuple[PanelElevation, WallLayout]]) -> None:
    """Draw all walls at one scale, as large as the page allows, in rows with their captions underneath."""
    if not clad:
        paper.text(MARGIN_MM, PICTURES_TOP - 10.0, "No wall gets panels.", TEXT_MM)
        return
    bounds = [elevation.bounds_mm for elevation, _ in clad]
    sizes = np.array([(right - left, top - bottom) for left, bottom, right, top in bounds])
    width, height = PAGE_MM[0] - 2.0 * MARGIN_MM, PICTURES_TOP - PICTURES_BOTTOM
    scale = _largest_scale(sizes, width, height)
    for (elevation, laid), (x, y) in zip(clad, _rows(sizes * scale, width)[0], strict=True):
        origin = np.array([MARGIN_MM + x, PICTURES_TOP - y])
        _draw_wall(paper, elevation, scale, origin)
        caption = f"{elevation.wall}: {_count(len(laid.panels), 'panel')}{', provisional' if laid.provisional else ''}"
        paper.text(float(origin[0]), float(origin[1]) - 3.6, caption, SMALL_MM)


def _largest_scale(sizes: Floats, width: float, height: float) -> float:
    """Bisect for the largest scale at which all pictures fit in rows."""
    low, high = 0.0, 0.1
    for _ in range(40):
        scale = (low + high) / 2.0
        places, depth = _rows(sizes * scale, width)
        ends = np.array(places)[:, 0] + sizes[:, 0] * scale
        fits = depth <= height and bool((ends <= width).all())
        low, high = (scale, high) if fits else (low, scale)
    return low


def _rows(sizes: Floats, width: float) -> tuple[list[tuple[float, float]], float]:
    """Place pictures in rows from the top: (x, y of the foot below the top) each, and the depth of all rows."""
    places: list[tuple[float, float]] = []
    x, depth = 0.0, 0.0
    row: list[float] = []
    for picture in sizes:
        cell = max(float(picture[0]), 22.0)
        if row and x + cell > width:
            depth += max(row) + CAPTION_MM + 3.0
            x, row = 0.0, []
        places.append((x, depth))
        row.append(float(picture[1]))
        x += cell + 6.0
        tallest = max(row)
        for number in range(len(places) - len(row), len(places)):
            places[number] = (places[number][0], depth + tallest)
    return places, depth + (max(row) + CAPTION_MM if row else 0.0)


def _draw_wall(paper: Paper, elevation: PanelElevation, scale: float, origin: Floats) -> None:
    left, bottom, _, _ = elevation.bounds_mm

    def place(points: Floats) -> Floats:
        return np.asarray((points - np.array([left, bottom])) * scale + origin)

    paper.outline(place(elevation.outline_mm), 0.18, 0.6)
    for panel in elevation.panels:
        paper.outline(place(panel.ring_mm), NARROW, 0.0, 0.9)
        for cutout in panel.cutouts:
            paper.outline(place(cutout.ring_mm), 0.18, 0.0, 1.0)
    for opening in elevation.openings:
        if opening.kind != "service":
            paper.outline(place(opening.ring_mm), 0.18, 0.3, 1.0)


def _draw_joints(paper: Paper, layout: Layout, settings: JobSettings) -> None:
    """Say every width in words, and draw each at full size beside it."""
    y = PICTURES_BOTTOM - 10.0
    paper.line([(MARGIN_MM, y + 7.0), (PAGE_MM[0] - MARGIN_MM, y + 7.0)], NARROW, 0.5)
    paper.text(MARGIN_MM, y, "Joints, drawn at full size (print at 100 %)", TEXT_MM + 0.5, bold=True)
    samples = joint_samples(layout, settings)
    step = (PAGE_MM[0] - 2.0 * MARGIN_MM) / max(4, len(samples))
    for number, (words, width) in enumerate(samples):
        x = MARGIN_MM + number * step
        _draw_sample(paper, x, y - 6.0 - SAMPLE_MM[1], width, min(SAMPLE_MM[0], (step - width - 4.0) / 2.0))
        for row, line in enumerate(paper.wrapped(words, step - 4.0, SMALL_MM)):
            paper.text(x, y - 10.5 - SAMPLE_MM[1] - 3.6 * row, line, SMALL_MM)
    paper.line([(MARGIN_MM, 55.5), (MARGIN_MM + 50.0, 55.5)], NARROW)
    for end in (0.0, 50.0):
        paper.line([(MARGIN_MM + end, 54.0), (MARGIN_MM + end, 57.0)], NARROW)
    paper.text(MARGIN_MM + 53.0, 54.5, "this line is 50 mm long when the sheet is printed at full size", SMALL_MM)


def joint_samples(layout: Layout, settings: JobSettings) -> list[tuple[str, float]]:
    """List every width to agree on: the words for it and the width in millimetres."""
    found: dict[tuple[str, float], None] = {}
    clad = [wall for wall in layout.walls if wall.panels]
    for kind, words in (("joint", "Joint between panels"), ("movement", "Movement joint, filled with sealant")):
        for width in sorted({width for wall in clad for width in joint_widths(wall, kind)}):
            found[words, width] = None
    for place, words in (
        ("ceiling", "Sealant at the ceiling"),
        ("inside corners", "Sealant in inside corners"),
        ("floor", "Gap over the floor"),
        ("outside corners", _at_outside_corners(clad)),
    ):
        for width in sorted({width for wall in clad for width in gap_widths(wall.gaps).get(place, [])}):
            found[words, width] = None
    return [(f"{words}: {small_length(width, settings.drawing)} wide", width) for words, width in found]


def _at_outside_corners(clad: Sequence[WallLayout]) -> str:
    is_mitred = any(panel.mitres for wall in clad for panel in wall.panels)
    return "Joint at mitred outside corners" if is_mitred else "Gap at outside corners, behind a corner profile"


def _draw_sample(paper: Paper, x: float, y: float, width: float, piece: float) -> None:
    """Draw two pieces of panel with the joint between them at its true width."""
    for left in (x, x + piece + width):
        corners = [(left, y), (left + piece, y), (left + piece, y + SAMPLE_MM[1]), (left, y + SAMPLE_MM[1])]
        paper.ring(corners, 0.0, fill=0.8)
    for edge in (x + piece, x + piece + width):
        paper.line([(edge, y), (edge, y + SAMPLE_MM[1])], 0.09)


def _draw_bare(paper: Paper, bare: list[WallLayout]) -> None:
    """Name the walls that get no panels."""
    if not bare:
        return
    words = "No panels on " + ", ".join(f"{wall.id} ({TREATMENTS[wall.treatment]})" for wall in bare) + "."
    for row, line in enumerate(paper.wrapped(words, PAGE_MM[0] - 2 * MARGIN_MM, SMALL_MM)[:3]):
        paper.text(MARGIN_MM, 48.0 - 3.6 * row, line, SMALL_MM)


def _draw_signature(paper: Paper) -> None:
    words = (
        "I have seen these drawings and agree to the panels, joints and gaps shown. "
        "Panels that have been cut cannot be changed."
    )
    for row, line in enumerate(paper.wrapped(words, PAGE_MM[0] - 2 * MARGIN_MM, SMALL_MM)):
        paper.text(MARGIN_MM, 36.0 - 3.6 * row, line, SMALL_MM)
    for x, width, name in ((MARGIN_MM, 60.0, "name"), (84.0, 68.0, "signature"), (158.0, 34.0, "date")):
        paper.line([(x, 20.0), (x + width, 20.0)], WIDE / 2.0)
        paper.text(x, 16.0, name, SMALL_MM, grey=0.35)
