"""A layout for the sample job, laid by a plain grid: enough of everything that the drawings must cope with."""

import numpy as np
import shapely
from shapely.geometry import Polygon, box
from shapely.geometry.polygon import orient

from unfold.arrays import Floats
from unfold.elevation.result import Elevations, WallElevation
from unfold.findings import Finding
from unfold.layout.handling import panel_mass_kg
from unfold.layout.nesting import CuttingRules, Part, StockSheet, nest_panels
from unfold.layout.result import (
    Balance,
    Bed,
    Cutout,
    Gap,
    Joint,
    Layout,
    Panel,
    PatchSpot,
    Scheme,
    Stock,
    Totals,
    Treatment,
    WallLayout,
)

JOINT_MM = 3.175
CEILING_MM = 6.35
BARE: dict[str, Treatment] = {"W4": "undecided", "W8": "rebuild"}
NARROW_MM, TALL_MM = 1500.0, 3100.0


def sample_layout(elevations: Elevations) -> Layout:
    """Lay every wall but the bare ones, nest the panels, and add up."""
    walls = tuple(lay_wall(wall) for wall in elevations.walls)
    panels = [panel for wall in walls for panel in wall.panels]
    parts = [Part(panel.id, panel.ring_mm, True) for panel in panels]
    nesting = nest_panels(parts, [StockSheet("S1", 3200.0, 1600.0, None)], CuttingRules(3.0, 20.0, True))
    placed = {panel.id: nesting.placements.get(panel.id) for panel in panels}
    walls = tuple(with_places(wall, placed) for wall in walls)
    count = nesting.sheets_used["S1"]
    stock = Stock("S1", (3200.0, 1600.0), 6.0, 2400.0, count, False)
    area = sum(panel.area_mm2 for panel in panels)
    used = area / (count * 3200.0 * 1600.0)
    totals = Totals(area, len(panels), count, used, 41_000.0, 210_000.0, sum(panel.mass_kg for panel in panels))
    schemes = (
        Scheme("equal", len(panels), count, used, 412.0, 41_000.0, True, "fewest sheets"),
        Scheme("centred joint", len(panels) + 2, count + 1, 0.6, 320.0, 44_000.0, False, "one sheet more"),
    )
    warning = Finding("warning", "narrow-strip", "a strip of W4 is narrower than 150 mm", "W4")
    return Layout((stock,), walls, totals, schemes, (warning,))


def with_places(wall: WallLayout, placed: dict) -> WallLayout:  # type: ignore[type-arg]
    """Put each panel's place on a sheet into the wall."""
    from dataclasses import replace

    return replace(wall, panels=tuple(replace(panel, placed=placed[panel.id]) for panel in wall.panels))


def lay_wall(wall: WallElevation) -> WallLayout:
    """Cut the wall's outline less its gaps into a grid of equal panels."""
    gaps = tuple(
        Gap(number, CEILING_MM if edge.kind == "ceiling" else JOINT_MM, edge.kind)
        for number, edge in enumerate(wall.edges)
    )
    zero = Balance(wall.area_mm2, 0.0, 0.0, 0.0, 0.0, wall.area_mm2)
    if wall.id in BARE:
        reason = "out of plane by 12.4 ± 0.8 mm in 3048 mm, more than patching or board takes out"
        return WallLayout(wall.id, BARE[wall.id], reason, (), None, None, (), (), (), (), zero)
    field = Polygon(wall.outline_mm).buffer(-JOINT_MM, join_style="mitre")
    least, most = wall.outline_mm.min(axis=0), wall.outline_mm.max(axis=0)
    field = field.intersection(box(least[0], least[1], most[0], most[1] - CEILING_MM))
    for opening in wall.openings:
        if opening.kind != "service":
            field = field.difference(Polygon(opening.ring_mm).buffer(JOINT_MM, join_style="mitre"))
    columns, rows = (int(np.ceil((most - least)[axis] / (NARROW_MM, TALL_MM)[axis])) for axis in (0, 1))
    us = np.linspace(least[0], most[0], columns + 1)
    vs = np.linspace(least[1], most[1], rows + 1)
    joints = tuple(
        Joint("movement" if i == 4 else "joint", np.array([[u, vs[0]], [u, vs[-1]]]), 6.35 if i == 4 else JOINT_MM)
        for i, u in enumerate(us[1:-1], 1)
    )
    joints += tuple(Joint("joint", np.array([[us[0], v], [us[-1], v]]), JOINT_MM) for v in vs[1:-1])
    panels: list[Panel] = []
    for row in range(rows):
        for column in range(columns):
            cell = box(us[column], vs[row], us[column + 1], vs[row + 1]).buffer(-JOINT_MM / 2, join_style="mitre")
            panels.extend(make_panels(wall, shapely.intersection(field, cell), row + 1, column + 1, len(panels)))
    bed = Bed(3.0, 4.2, 7.9, 4.2 * wall.area_mm2 / 1e6)
    rings = tuple(np.array(orient(part).exterior.coords[:-1]) for part in shapely.get_parts(field))
    patches = (PatchSpot("fill", rings[0][:4], 4.1e5, 1.9, 5.5),) if wall.id == "W2" else ()
    treatment: Treatment = "patch" if patches else "clad"
    return WallLayout(wall.id, treatment, "flat within 1.9 ± 0.6 mm in 3048 mm", patches, 9.0, bed, rings, gaps, joints,
                      tuple(panels), zero)


def make_panels(wall: WallElevation, shape: shapely.Geometry, row: int, column: int, before: int) -> list[Panel]:
    """Turn what a grid cell holds of the field into panels with cutouts for the service boxes."""
    panels: list[Panel] = []
    for part in shapely.get_parts(shape):
        if part.area < 1e4:
            continue
        ring = np.array(orient(part).exterior.coords[:-1])
        cutouts = tuple(
            Cutout(opening.id, np.array(orient(hole, -1.0).exterior.coords[:-1]))
            for opening in wall.openings
            if opening.kind == "service" and part.contains(hole := rounded(opening.ring_mm))
        )
        area = part.area - sum(Polygon(cutout.ring_mm).area for cutout in cutouts)
        name = f"{wall.id}-P{before + len(panels) + 1}"
        mass = panel_mass_kg(area, 6.0, 2400.0)
        fits = None if column == 1 else column % 2 == 0
        notes = (f"{mass:.1f} kg: lifting frame",)
        panels.append(Panel(name, ring, cutouts, row, column, area, mass, None, fits, notes))
    return panels


def rounded(ring: Floats) -> Polygon:
    """A cutout with clearance 5 mm and corners of the same radius, in fine steps."""
    return Polygon(ring).buffer(5.0, quad_segs=16)


