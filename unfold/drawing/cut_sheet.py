"""A sheet as it is cut: its panels, the saw's cuts in order, and what is left of it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from unfold.layout.result import Layout, Panel, Stock
from unfold.layout.stock_yield import Cut, largest_rest_mm, saw_cuts
from unfold.settings.layout import CuttingSettings


@dataclass(frozen=True, slots=True)
class CutSheet:
    """One sheet; lengths in millimetres from its lower left corner."""

    kind: Stock
    number: int
    panels: tuple[Panel, ...]
    trim_mm: float
    cuts: tuple[Cut, ...]  # in order; none for a waterjet
    rest_mm: tuple[float, float] | None  # largest rectangle left

    @property
    def used_share(self) -> float:
        return sum(panel.area_mm2 for panel in self.panels) / (self.kind.size_mm[0] * self.kind.size_mm[1])


def cut_sheets(layout: Layout, cutting: CuttingSettings) -> Iterator[CutSheet]:
    """Plan each sheet that panels are cut from, by stock and number."""
    placed = [panel for wall in layout.walls for panel in wall.panels if panel.placed is not None]
    for kind in layout.stock:
        by_number: dict[int, list[Panel]] = {}
        for panel in placed:
            if panel.placed is not None and panel.placed.stock == kind.id:
                by_number.setdefault(panel.placed.sheet, []).append(panel)
        for number, panels in sorted(by_number.items()):
            yield _plan(kind, number, panels, cutting)


def _plan(kind: Stock, number: int, panels: list[Panel], cutting: CuttingSettings) -> CutSheet:
    trim = cutting.trim
    region = np.array([trim, trim, kind.size_mm[0] - trim, kind.size_mm[1] - trim])
    boxes = np.array([_box(panel) for panel in panels])
    cuts = saw_cuts(boxes, region, cutting.kerf) if cutting.method == "saw" else None
    rest = largest_rest_mm(boxes, region, cutting.kerf)
    return CutSheet(kind, number, tuple(panels), trim, tuple(cuts or ()), rest)


def _box(panel: Panel) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of a panel on its sheet."""
    assert panel.placed is not None
    width, height = (float(side) for side in np.ptp(panel.ring_mm, axis=0))
    if panel.placed.turned:
        width, height = height, width
    x, y = panel.placed.origin_mm
    return x, y, x + width, y + height
