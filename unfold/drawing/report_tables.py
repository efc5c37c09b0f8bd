"""The tables of the report, from the results of the stages."""

import math
from collections.abc import Sequence

import numpy as np

from unfold.arrays import Floats
from unfold.drawing import lengths
from unfold.drawing.coverage import judged_share
from unfold.drawing.report_blocks import Table
from unfold.drawing.sizes import wall_heights, wall_widths
from unfold.elevation.result import Edge, Elevations, Opening, WallElevation
from unfold.findings import Finding
from unfold.quantity import COVERAGE_FACTOR
from unfold.scan.result import Source, Station
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import Straightedge, Surfaces, WallSurface

MOST_RULES_ABREAST = 3
LISTED_UNSEEN_MM2 = 1e4  # smaller unseen areas are summed up in one line


def straightedge_table(elevations: Elevations, surfaces: Surfaces, settings: DrawingSettings) -> Table:
    """What the straightedges found: one row a wall where the rules are few, else one row a wall and rule."""
    by_id = {surface.wall: surface for surface in surfaces.walls}
    seen = {
        wall.id: (lengths.percent(wall.seen_share), lengths.percent(judged_share(wall, by_id[wall.id])))
        for wall in elevations.walls
        if wall.id in by_id
    }
    rules = {tuple(edge.rule for edge in surface.straightedges) for surface in surfaces.walls}
    if len(rules) == 1 and 1 <= len(next(iter(rules))) <= MOST_RULES_ABREAST:
        return _rules_abreast(surfaces, seen, settings)
    return _rules_below(surfaces, seen, settings)


def _rules_abreast(surfaces: Surfaces, seen: dict[str, tuple[str, str]], settings: DrawingSettings) -> Table:
    rules = surfaces.walls[0].straightedges
    heads = [
        f"Worst gap under {lengths.limit(edge.length_mm, settings)}, limit {lengths.limit(edge.tolerance_mm, settings)}"
        for edge in rules
    ]
    rows = tuple(
        (
            surface.wall,
            surface.verdict,
            *(_found(edge, settings) for edge in surface.straightedges),
            *seen[surface.wall],
        )
        for surface in surfaces.walls
        if surface.wall in seen
    )
    return Table(("Wall", "Flatness", *heads, "Seen", "Judged"), rows, (0.7, 1.6, *[2.6] * len(rules), 0.8, 0.8))


def _found(edge: Straightedge, settings: DrawingSettings) -> str:
    return f"{lengths.quantity(edge.worst, settings)}: {edge.verdict}"


def _shortened(edge: Straightedge) -> bool:
    return edge.used_length_mm is not None and edge.used_length_mm < edge.length_mm - 0.5


def _rules_below(surfaces: Surfaces, seen: dict[str, tuple[str, str]], settings: DrawingSettings) -> Table:
    rows = []
    for surface in surfaces.walls:
        for edge in surface.straightedges:
            ruler = lengths.limit(edge.length_mm, settings)
            if _shortened(edge):
                ruler += f", shortened to {edge.used_length_mm:.0f} mm"
            over = "–" if edge.share_over is None else lengths.percent(edge.share_over)
            rows.append(
                (
                    surface.wall,
                    ruler,
                    lengths.quantity(edge.worst, settings),
                    lengths.limit(edge.tolerance_mm, settings),
                    edge.verdict,
                    over,
                    *seen.get(surface.wall, ("–", "–")),
                )
            )
    header = ("Wall", "Straightedge", "Worst gap", "Limit", "Flatness", "Area over", "Seen", "Judged")
    return Table(header, tuple(rows), (0.8, 2.2, 1.8, 1.3, 1.8, 1.0, 0.8, 0.8))


def wall_straightedges_table(surface: WallSurface, settings: DrawingSettings) -> Table:
    """Where the worst straightedge of each rule lies on one wall, and how much of the wall is over the limit."""
    rows = []
    for edge in surface.straightedges:
        used = lengths.limit(edge.length_mm, settings)
        if _shortened(edge):
            used += f", shortened to {edge.used_length_mm:.0f} mm"
        place = "–"
        if edge.u_mm is not None and edge.v_mm is not None and edge.angle_deg is not None:
            place = f"u {edge.u_mm:.0f}, v {edge.v_mm:.0f} mm, {edge.angle_deg:.0f}°".replace("-", "−")
        over = "–" if edge.share_over is None else lengths.percent(edge.share_over)
        rows.append(
            (
                used,
                place,
                lengths.quantity(edge.worst, settings),
                lengths.limit(edge.tolerance_mm, settings),
                over,
                edge.verdict,
            )
        )
    header = ("Straightedge", "Middle and direction", "Worst gap", "Limit", "Area over", "Flatness")
    return Table(header, tuple(rows), (1.7, 1.9, 1.4, 1.0, 0.9, 1.4), "Straightedges")


def bows_table(surfaces: Surfaces, settings: DrawingSettings) -> Table:
    """One row a wall: lean, bows, flatness about both reference planes, and the noise of the points."""
    rows = tuple(
        (
            surface.wall,
            lengths.rate(surface.lean_mm_per_m),
            lengths.quantity(surface.bow_horizontal_mm, settings),
            lengths.quantity(surface.bow_vertical_mm, settings),
            millimetres(surface.flatness_least_squares_mm),
            millimetres(surface.flatness_minimum_zone_mm),
            millimetres(surface.noise_mm),
        )
        for surface in surfaces.walls
    )
    header = ("Wall", "Lean", "Bow along", "Bow up", "Flatness, least squares", "Flatness, minimum zone", "Point noise")
    return Table(header, rows, (0.7, 1.8, 1.7, 1.7, 1.3, 1.3, 1.0))


def unseen_table(elevations: Elevations) -> Table:
    """Where nothing was measured: one row an area, small ones of a wall summed up."""
    rows = []
    for wall in elevations.walls:
        areas = [(ring_area_mm2(ring), ring) for ring in wall.unseen_mm]
        small = [area for area, _ in areas if area < LISTED_UNSEEN_MM2]
        for area, ring in sorted(areas, key=lambda pair: -pair[0]):
            if area >= LISTED_UNSEEN_MM2:
                (left, bottom), (right, top) = ring.min(axis=0), ring.max(axis=0)
                rows.append(
                    (wall.id, f"{left:.0f} to {right:.0f} mm", f"{bottom:.0f} to {top:.0f} mm", lengths.area(area))
                )
        if small:
            rows.append(
                (wall.id, f"{len(small)} smaller area{'s' if len(small) > 1 else ''}", "", lengths.area(sum(small)))
            )
    return Table(("Wall", "Along, u", "Up, v", "Area"), tuple(rows), (0.8, 2.0, 2.0, 1.2))


def unseen_total_mm2(wall: WallElevation) -> float:
    """Area of a wall that nothing measured, mm²."""
    return sum(ring_area_mm2(ring) for ring in wall.unseen_mm)


def findings_table(findings: Sequence[Finding]) -> Table:
    """What the stages noticed, warnings first."""
    ordered = sorted(findings, key=lambda finding: finding.level != "warning")
    rows = tuple((finding.level, finding.wall or "all", finding.text) for finding in ordered)
    return Table(("Kind", "Wall", "What was noticed"), rows, (0.9, 0.7, 6.0))


def sizes_table(wall: WallElevation, settings: DrawingSettings) -> Table:
    """Widths and heights at three places each."""
    rows = []
    for kind, sizes in (("width, at v", wall_widths(wall)), ("height, at u", wall_heights(wall))):
        axis = 1 if kind.startswith("width") else 0
        cells = [
            f"{lengths.wide_quantity(size.length_mm, settings)} at {size.ends_mm[0, axis]:.0f}"
            + (", to where the scan ends" if size.to_scan_end else "")
            for size in sizes
        ]
        rows.append((kind, *cells, *[lengths.NOT_MEASURED] * (3 - len(cells))))
    return Table(("Size", "Bottom, or left", "Middle", "Top, or right"), tuple(rows), (1.0, 2.0, 2.0, 2.0))


def openings_table(wall: WallElevation, settings: DrawingSettings) -> Table:
    """Openings with their place from the wall's left and bottom datum, size, depth, evidence and uncertainty."""
    rows = tuple(_opening_row(opening, wall, settings) for opening in wall.openings)
    header = ("Opening", "Kind", "Left and bottom from datum", "Size", "Each side", "Depth", "Evidence")
    return Table(header, rows, (0.9, 0.9, 1.9, 2.2, 0.9, 0.8, 1.2), "Openings")


def _opening_row(opening: Opening, wall: WallElevation, settings: DrawingSettings) -> tuple[str, ...]:
    left, bottom = opening.ring_mm.min(axis=0)
    place = f"{left - wall.plumb_u_mm:+.0f}, {bottom - wall.level_v_mm:+.0f} mm".replace("-", "−")
    size = " × ".join(lengths.length(side, settings) for side in opening.size_mm)
    if opening.shape == "circle":
        size = f"diameter {size}"
    if opening.clear_ring_mm is not None:
        wide, tall = np.ptp(opening.clear_ring_mm, axis=0)
        size += f"; clear {lengths.length(float(wide), settings)} × {lengths.length(float(tall), settings)}"
    depth = "–" if opening.depth_mm is None else f"{opening.depth_mm:.0f} mm"
    return (
        opening.id,
        opening.kind,
        place,
        size,
        f"± {COVERAGE_FACTOR * opening.standard_uncertainty_mm:.1f} mm",
        depth,
        EVIDENCE[opening.evidence],
    )


EVIDENCE = {"through": "seen through", "recess": "seen recessed", "absence": "no wall there"}


def edges_table(wall: WallElevation) -> Table:
    """The outline's edges: what each meets, how bowed it is, how well it is known."""
    header = ("Edge", "Meets", "Largest bow", "Uncertainty")
    return Table(header, tuple(_edge_row(edge) for edge in wall.edges), (1.3, 1.0, 1.2, 1.2), "Edges")


def _edge_row(edge: Edge) -> tuple[str, ...]:
    kind = "end of the scan" if edge.kind == "end" else edge.kind.replace("_", " ")
    expanded = COVERAGE_FACTOR * edge.standard_uncertainty_mm
    return (kind, edge.neighbour or "–", f"{edge.bow_mm:.1f} mm", f"± {expanded:.1f} mm")


def sources_table(sources: Sequence[Source]) -> Table:
    """The files that were read, with what identifies them."""
    said = {"format": "stated by the format", "user": "given by the user", "inferred": "inferred from the room's size"}
    rows = tuple(
        (
            source.name,
            f"{source.points:,}".replace(",", " "),
            str(source.stations),
            f"{source.length_unit}, {said[source.unit_source]}",
            source.sha256,
        )
        for source in sources
    )
    return Table(("File", "Points", "Stations", "Length unit", "SHA-256"), rows, (1.8, 1.1, 0.8, 1.4, 3.2))


def stations_table(stations: Sequence[Station], sources: Sequence[Source]) -> Table:
    """The set-ups of the scanner."""
    rows = tuple(
        (
            station.name,
            sources[station.source].name,
            f"{station.points:,}".replace(",", " "),
            "known" if station.position_m is not None else "not in the file",
        )
        for station in stations
    )
    return Table(("Station", "File", "Points", "Where it stood"), rows, (1.6, 2.4, 1.2, 1.4))


def ring_area_mm2(ring: Floats) -> float:
    """Area of a ring (n, 2) by the shoelace formula, mm², whichever way round it runs."""
    x, y = (ring - ring[0]).T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def millimetres(value: float | None) -> str:
    """A plain figure in millimetres, or that there is none."""
    return "not measured" if value is None or not math.isfinite(value) else f"{value:.2f} mm"
