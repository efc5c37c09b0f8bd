"""cutlist.csv: each panel, its size in millimetres and in feet and inches, its sheet, and what to mind."""

import csv
from pathlib import Path

import numpy as np

from unfold.drawing.lengths import feet_and_inches
from unfold.drawing.panel_label import mitre_words
from unfold.layout.result import Layout, Panel, Stock, WallLayout
from unfold.settings.drawing import DrawingSettings

COLUMNS = (
    "panel", "wall", "row", "column", "width_mm", "height_mm", "width_ft_in", "height_ft_in", "area_m2",
    "thickness_mm", "mass_kg", "cutouts", "mitres", "stock", "sheet", "x_mm", "y_mm", "turned", "fits_in", "file",
    "notes",
)  # fmt: skip
ANSWERS = {True: "yes", False: "no", None: "not known"}


def write_cut_list(layout: Layout, path: Path, settings: DrawingSettings) -> None:
    """Write one row a panel, in the layout's order. Feet and inches are rounded: cut from the millimetres."""
    stock = {kind.id: kind for kind in layout.stock}
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for wall in layout.walls:
            writer.writerows(_row(wall, panel, stock, settings) for panel in wall.panels)


def _row(wall: WallLayout, panel: Panel, stock: dict[str, Stock], settings: DrawingSettings) -> list[object]:
    width, height = np.ptp(panel.ring_mm, axis=0)
    placed = panel.placed
    origin = ["", ""] if placed is None else [f"{value:.2f}" for value in placed.origin_mm]
    source: list[object] = ["none", ""] if placed is None else [placed.stock, placed.sheet]
    return [
        panel.id, wall.id, panel.row, panel.column, f"{width:.2f}", f"{height:.2f}",
        feet_and_inches(width, settings.smallest_fraction), feet_and_inches(height, settings.smallest_fraction),
        f"{panel.area_mm2 / 1e6:.4f}", thickness(panel, stock), f"{panel.mass_kg:.1f}", len(panel.cutouts),
        "; ".join(mitre_words(panel)),
        *source, *origin, "" if placed is None else ANSWERS[placed.turned], ANSWERS[panel.fits_in],
        f"{panel.id}.dxf", "; ".join(panel.notes),
    ]  # fmt: skip


def thickness(panel: Panel, stock: dict[str, Stock]) -> str:
    """Write the panel's thickness in mm: its sheet's, or the only one there is; empty when it is not known."""
    if panel.placed is not None:
        return f"{stock[panel.placed.stock].thickness_mm:g}"
    kinds = {kind.thickness_mm for kind in stock.values()}
    return f"{kinds.pop():g}" if len(kinds) == 1 else ""
