"""The files that panels are cut from: one DXF a panel, one a sheet as nested, and the cut list."""

from pathlib import Path

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.cut_check import check_cut_file, check_sheet
from unfold.drawing.cut_dxf import CutDocument
from unfold.drawing.cut_list import write_cut_list
from unfold.drawing.cut_outline import CutOutline, cut_outline, mirrored_outline, placed_outline
from unfold.drawing.cut_sheet import CutSheet, cut_sheets
from unfold.drawing.panel_label import mitre_words
from unfold.elevation.result import Elevations
from unfold.layout.result import Layout, Panel
from unfold.settings import JobSettings

LARGEST_LETTERING_MM = 40.0
SAW_NUMBER_MM, TITLE_MM = 25.0, 40.0
LETTER_SHARE = 1.1  # height of letters as a share of the room that each has
LETTERING_SHARE = 0.06  # of the panel's shorter side


def write_cut_files(layout: Layout, elevations: Elevations, folder: Path, settings: JobSettings) -> None:
    """Write cut/W1-P1.dxf for each panel, cut/sheet-S1-1.dxf for each sheet, and cut/cutlist.csv.

    Every DXF is read again and compared with the layout.

    Raises
    ------
    UnfoldError
        A file read back differs from the layout in area, bounds, number or closedness of its outlines; or panels
        overlap on a sheet or leave it.
    """
    cut = folder / "cut"
    cut.mkdir(parents=True, exist_ok=True)
    outlines = {panel.id: cut_outline(panel, settings.cut) for wall in layout.walls for panel in wall.panels}
    for wall in layout.walls:
        for panel in wall.panels:
            _write_panel(panel, outlines[panel.id], cut / f"{panel.id}.dxf", settings)
    for plan in cut_sheets(layout, settings.layout.cutting):
        _write_sheet(plan, outlines, cut, settings)
    write_cut_list(layout, cut / "cutlist.csv", settings.drawing)


def _write_panel(panel: Panel, outline: CutOutline, path: Path, settings: JobSettings) -> None:
    document = CutDocument()
    shown = mirrored_outline(outline, float(outline.size_mm[0]) / 2.0) if settings.cut.face_down else outline
    _draw_panel(document, panel, shown, settings.cut.face_down)
    document.save(path)
    check_cut_file(path, [shown], settings.cut.tolerance_mm)


def _write_sheet(plan: CutSheet, outlines: dict[str, CutOutline], folder: Path, settings: JobSettings) -> None:
    document = CutDocument()
    length, width = plan.kind.size_mm
    mirrored = settings.cut.face_down
    document.add_path(_rectangle(0.0, length, width), "SHEET")
    if plan.trim_mm > 0.0:
        document.add_path(_rectangle(plan.trim_mm, length, width), "TRIM")
    shown = []
    for panel in plan.panels:
        assert panel.placed is not None
        outline = placed_outline(outlines[panel.id], panel.placed)
        shown.append(mirrored_outline(outline, length / 2.0) if mirrored else outline)
        _draw_panel(document, panel, shown[-1], False)
    for number, cut in enumerate(plan.cuts, start=1):
        line = np.array(cut) * [-1.0, 1.0] + [length, 0.0] if mirrored else np.array(cut)
        document.add_path(np.column_stack([line, np.zeros(2)]), "SAW", closed=False)
        document.add_label(str(number), line[1] + 25.0 * _direction(line), SAW_NUMBER_MM)
    title = f"sheet {plan.kind.id}-{plan.number}: {length:g} x {width:g} x {plan.kind.thickness_mm:g} mm"
    title += ", mirrored: face down" if mirrored else ", face up"
    document.add_label(title, np.array([length / 2.0, width + 60.0]), TITLE_MM)
    path = folder / f"sheet-{plan.kind.id}-{plan.number}.dxf"
    document.save(path)
    check_cut_file(path, shown, settings.cut.tolerance_mm)
    rings = [outline.rings for outline in shown]
    check_sheet(path.name, rings, plan.kind.size_mm, settings.layout.cutting.kerf, settings.cut.tolerance_mm)


def _direction(line: Floats) -> Floats:
    """The unit vector along a line (2, 2)."""
    step = line[1] - line[0]
    return np.asarray(step / np.hypot(*step))


def _rectangle(inset: float, length: float, width: float) -> Floats:
    right, top = length - inset, width - inset
    return np.array([[inset, inset, 0.0], [right, inset, 0.0], [right, top, 0.0], [inset, top, 0.0]])


def _draw_panel(document: CutDocument, panel: Panel, outline: CutOutline, says_face_down: bool) -> None:
    """Draw the outlines to cut, the arrow that points up, and the label beside it."""
    for path in outline.paths:
        document.add_path(path, "CUT")
    height = min(LARGEST_LETTERING_MM, LETTERING_SHARE * float(outline.size_mm.min()))
    lines = [panel.id, f"row {panel.row}  column {panel.column}"]
    lines += mitre_words(panel)
    if any(note.startswith("provisional") for note in panel.notes):
        lines.append("provisional: do not cut yet")
    if says_face_down:
        lines.append("mirrored: face down")
    turn = float(np.degrees(np.arctan2(-outline.up[0], outline.up[1])))
    at = outline.label_mm
    document.add_arrow(at + 1.0 * height * outline.up, at + 3.5 * height * outline.up)
    for number, line in enumerate(lines):
        place = at - (1.6 * number + 0.2) * height * outline.up
        most = LETTER_SHARE * float(outline.size_mm[0]) / len(line)  # no wider than the panel
        document.add_label(line, place, height if number == 0 else min(0.6 * height, most), turn)
