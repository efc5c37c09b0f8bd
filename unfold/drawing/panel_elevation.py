"""A wall's panels as they are dimensioned: ordinates from the datum, and tables of the scribed edges.

The same description is drawn into a DXF and onto a sheet of the drawing set. Lengths in millimetres, wall's frame.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.lengths import feet_and_inches
from unfold.elevation.result import Edge, Opening, WallElevation
from unfold.layout.result import Joint, Panel, WallLayout
from unfold.settings.drawing import DrawingSettings

TABLE_STEP_MM = 100.0
SAME_MM = 0.5
"""Ordinates closer than this are one."""
SCRIBE_REACH_MM = 60.0
"""A panel edge farther than this from the wall's edge does not follow it: an opening lies between."""
EDGE_NAMES = {
    "floor": "floor",
    "ceiling": "ceiling",
    "inside_corner": "inside corner",
    "outside_corner": "outside corner",
    "end": "end",
}


@dataclass(frozen=True, slots=True)
class Ordinate:
    """A distance from a datum line: of `at_mm` along `axis`."""

    axis: Literal["u", "v"]
    at_mm: float
    text: str


@dataclass(frozen=True, slots=True)
class ScribeTable:
    """Points of a scribed edge: columns for the place along it, the wall's edge and the panels' edge."""

    title: str
    header: tuple[str, str, str]
    rows: tuple[tuple[str, str, str], ...]

    def parts(self, rows: int) -> "tuple[ScribeTable, ...]":
        """Cut the table into parts of so many rows at the most."""
        firsts = range(0, len(self.rows), rows)
        titles = [self.title if first == 0 else f"{self.title}, continued" for first in firsts]
        return tuple(
            ScribeTable(title, self.header, self.rows[first : first + rows])
            for title, first in zip(titles, firsts, strict=True)
        )


@dataclass(frozen=True, slots=True)
class PanelElevation:
    """What the drawings of one wall show."""

    wall: str
    outline_mm: Floats
    panels: tuple[Panel, ...]
    openings: tuple[Opening, ...]
    joints: tuple[Joint, ...]
    plumb_u_mm: float
    level_v_mm: float
    ordinates: tuple[Ordinate, ...]
    tables: tuple[ScribeTable, ...]

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Least u, least v, most u, most v of the wall."""
        (left, bottom), (right, top) = self.outline_mm.min(axis=0), self.outline_mm.max(axis=0)
        return float(left), float(bottom), float(right), float(top)


def panel_elevation(wall: WallElevation, laid: WallLayout, settings: DrawingSettings) -> PanelElevation:
    """Describe one wall with its panels."""
    tables = [_scribe_table(wall, laid, edge, settings) for edge in wall.edges] if laid.panels else []
    return PanelElevation(
        wall.id,
        wall.outline_mm,
        laid.panels,
        wall.openings,
        laid.joints,
        wall.plumb_u_mm,
        wall.level_v_mm,
        tuple(_ordinates(wall, laid, "u", settings) + _ordinates(wall, laid, "v", settings)),
        tuple(table for table in tables if table.rows),
    )


def offset_text(length_mm: float, settings: DrawingSettings) -> str:
    """Write an ordinate: to 0.1 mm, and to the fraction in feet and inches when the drawing is in those."""
    text = f"{length_mm:.1f}".replace("-0.0", "0.0")
    return text if settings.units == "mm" else f"{feet_and_inches(length_mm, settings.smallest_fraction)} ({text})"


def _ordinates(
    wall: WallElevation, laid: WallLayout, axis: Literal["u", "v"], settings: DrawingSettings
) -> list[Ordinate]:
    """List the joints' middles, the panels' ends, the openings' and cutouts' edges along one axis, each once."""
    index = 0 if axis == "u" else 1
    datum = wall.plumb_u_mm if axis == "u" else wall.level_v_mm
    found: list[float] = []
    for joint in laid.joints:
        (start, end) = joint.line_mm[:, index]
        if abs(end - start) < SAME_MM:
            found.append((start + end) / 2.0)
    rings = [opening.ring_mm for opening in wall.openings if opening.kind != "service"]
    rings += [cutout.ring_mm for panel in laid.panels for cutout in panel.cutouts]
    rings += [np.vstack([panel.ring_mm for panel in laid.panels])] if laid.panels else [wall.outline_mm]
    for ring in rings:
        found += [float(ring[:, index].min()), float(ring[:, index].max())]
    ordinates: list[Ordinate] = []
    for at in sorted(found):
        if not ordinates or at - ordinates[-1].at_mm >= SAME_MM:
            ordinates.append(Ordinate(axis, at, offset_text(at - datum, settings)))
    return ordinates


def _scribe_table(wall: WallElevation, laid: WallLayout, edge: Edge, settings: DrawingSettings) -> ScribeTable:
    """Tabulate an edge every 100 mm from the datum, along its longer direction."""
    line = _edge_points(wall.outline_mm, edge)
    span = np.abs(line[-1] - line[0])
    along = 0 if span[0] >= span[1] else 1
    datums = np.array([wall.plumb_u_mm, wall.level_v_mm])
    order = np.argsort(line[:, along], kind="stable")
    places, sides = line[order, along], line[order, 1 - along]
    first = np.ceil((places[0] - datums[along]) / TABLE_STEP_MM) * TABLE_STEP_MM + datums[along]
    rows = []
    panels = Crossings([panel.ring_mm for panel in laid.panels], along)
    for place in np.arange(first, places[-1] + 1e-6, TABLE_STEP_MM):
        side = float(np.interp(place, places, sides))
        panel = panels.nearest(float(place), side)
        close = panel is not None and abs(panel - side) <= SCRIBE_REACH_MM
        rows.append((
            offset_text(place - datums[along], settings),
            offset_text(side - datums[1 - along], settings),
            offset_text(panel - datums[1 - along], settings) if close and panel is not None else "-",
        ))  # fmt: skip
    name = EDGE_NAMES[edge.kind]
    beside = f" to {edge.neighbour}" if edge.neighbour and edge.neighbour != edge.kind else ""
    axes = ("u", "v") if along == 0 else ("v", "u")
    header = (f"at {axes[0]}", f"wall {axes[1]}", f"panel {axes[1]}")
    return ScribeTable(f"{name}{beside}: bow {edge.bow_mm:.1f} mm", header, tuple(rows))


def _edge_points(outline: Floats, edge: Edge) -> Floats:
    """Return the outline's points of an edge, first to last, past the ring's end where it wraps."""
    count = (edge.last - edge.first) % len(outline)
    return outline[np.arange(edge.first, edge.first + (count or len(outline)) + 1) % len(outline)]


class Crossings:
    """Where lines across an axis meet some rings."""

    def __init__(self, rings: Sequence[Floats], along: int) -> None:
        starts = np.vstack([np.empty((0, 2)), *rings])
        ends = np.vstack([np.empty((0, 2)), *(np.roll(ring, -1, axis=0) for ring in rings)])
        self._from, self._to, self._along = starts, ends, along

    def nearest(self, place: float, side: float) -> float | None:
        """Return where the line at `place` crosses the rings nearest to `side`; None when it crosses none."""
        a, b = self._from[:, self._along], self._to[:, self._along]
        crosses = np.flatnonzero((a <= place) != (b <= place))
        if len(crosses) == 0:
            return None
        start, end = self._from[crosses], self._to[crosses]
        share = (place - a[crosses]) / (b[crosses] - a[crosses])
        found = start[:, 1 - self._along] * (1.0 - share) + end[:, 1 - self._along] * share
        return float(found[np.argmin(np.abs(found - side))])


def spread(places: Sequence[float], least_distance: float) -> list[float]:
    """Move sorted places apart to at least a distance, as little as can be in the sum of squares.

    Pooling of adjacent violators on the places less their rank times the distance (Ayer and others 1955).
    """
    blocks: list[list[float]] = []  # mean, count
    for rank, place in enumerate(places):
        blocks.append([place - rank * least_distance, 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, count = blocks.pop()
            before = blocks[-1]
            before[0] = (before[0] * before[1] + mean * count) / (before[1] + count)
            before[1] += count
    means = [mean for mean, count in blocks for _ in range(int(count))]
    return [mean + rank * least_distance for rank, mean in enumerate(means)]
