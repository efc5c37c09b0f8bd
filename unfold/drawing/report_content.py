"""What the report says, in order: the answer, what is missing, each wall, and where it all comes from."""

from collections import Counter
from collections.abc import Sequence

from unfold.drawing import lengths, report_tables
from unfold.drawing.coverage import judged_share
from unfold.drawing.report_blocks import Block, Heading, Paragraph, Picture, Report, Table, Terms
from unfold.elevation.result import Elevations, WallElevation
from unfold.findings import Finding
from unfold.quantity import Verdict
from unfold.scan.result import Source, Station
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import Surfaces, WallSurface

MOSTLY_JUDGED = 0.9  # a wall judged on less of its area is named at the top

DEFINITIONS = (
    (
        "Worst gap",
        "what a straightedge of that length shows at the worst place on the wall, laid in any direction: the widest "
        "gap between two high points that it rests on or, on a crown that it rocks on, the gap at both ends when they "
        "are equal",
    ),
    (
        "±",
        "twice the standard uncertainty u, so that about 95 of 100 true values lie within it; each u adds up from the "
        "parts listed at the wall (JCGM 100)",
    ),
    ("Conforms", "worst gap + 2u is within the limit (JCGM 106, guard-banded acceptance)"),
    ("Does not conform", "worst gap − 2u is beyond the limit"),
    (
        "Cannot be decided",
        "the limit lies within worst gap ± 2u, or too little was measured: measure better, or lay a straightedge there",
    ),
    (
        "Seen",
        "the share of the wall's area, openings left out, that some measurement reached",
    ),
    (
        "Judged",
        "the share of it whose height is known well enough to judge flatness; verdicts speak of that share only. Left "
        "out are places with too few points, and what stands off the wall",
    ),
    (
        "Unseen",
        "wall area that no measurement reached and that is not proven to be an opening; nothing is filled in there",
    ),
    ("Lean", "slope of the wall's best plane against plumb; plus: the top leans into the room"),
    (
        "Bow",
        "rise of the best parabola between the wall's ends, along the wall and up it; plus: the middle stands proud",
    ),
    (
        "Flatness",
        "distance between two parallel planes that hold the whole surface: about the least-squares plane, and the "
        "least possible (ISO 12781, minimum zone)",
    ),
    ("Point noise", "scatter (one standard deviation) of single points about the surface"),
    (
        "u, v",
        "place on the wall seen from inside the room: u to the right, v up, in millimetres from the wall's origin",
    ),
    (
        "Datum",
        "a level line and a plumb line to measure from; figures marked with a sign count from where they cross",
    ),
)


def build_report(
    sources: Sequence[Source],
    stations: Sequence[Station],
    surfaces: Surfaces,
    elevations: Elevations,
    findings: Sequence[Finding],
    settings: DrawingSettings,
) -> Report:
    """Put the report together."""
    blocks: list[Block] = [Paragraph(answer(surfaces), lead=True)]
    partly = partly_judged(surfaces, elevations)
    blocks += [Paragraph(partly, lead=True)] if partly else []
    blocks.append(Paragraph(what_was_scanned(sources, elevations)))
    blocks += _flatness(elevations, surfaces, settings)
    blocks += _unseen(elevations)
    blocks += _findings(findings, elevations.walls)
    blocks += [
        Heading(2, "Plan and walls", "plan"),
        Picture("plan", "plan of the room with walls, openings and stations"),
    ]
    by_id = {surface.wall: surface for surface in surfaces.walls}
    for wall in elevations.walls:
        blocks += _wall(wall, by_id.get(wall.id), findings, settings)
    blocks += _origin(sources, stations, surfaces, elevations)
    blocks += [Heading(2, "What the words mean", "words"), Terms(DEFINITIONS)]
    return Report(f"Walls measured from {_names(sources)}", tuple(blocks))


def answer(surfaces: Surfaces) -> str:
    """The first sentence: how many walls are flat enough."""
    counts = Counter(surface.verdict for surface in surfaces.walls)
    parts = []
    verdicts: tuple[Verdict, ...] = ("conforms", "does not conform", "cannot be decided")
    for verdict in verdicts:
        walls = [surface.wall for surface in surfaces.walls if surface.verdict == verdict]
        if walls:
            parts.append(f"{counts[verdict]} {_plural(verdict, counts[verdict])} ({', '.join(walls)})")
    total = len(surfaces.walls)
    return (
        f"Flatness, {total} wall{'s' if total != 1 else ''}: {'; '.join(parts)}." if parts else "No wall was measured."
    )


def _plural(verdict: Verdict, count: int) -> str:
    if count == 1:
        return verdict
    return {"conforms": "conform", "does not conform": "do not conform"}.get(verdict, verdict)


def partly_judged(surfaces: Surfaces, elevations: Elevations) -> str:
    """Which of the walls that conform were judged on part of their area only; empty when none was."""
    by_id = {wall.id: wall for wall in elevations.walls}
    shares = {
        surface.wall: judged_share(by_id[surface.wall], surface)
        for surface in surfaces.walls
        if surface.verdict == "conforms" and surface.wall in by_id
    }
    few = [f"{wall} {lengths.percent(share)}" for wall, share in shares.items() if share < MOSTLY_JUDGED]
    return f"Of these that conform, only part could be judged: {', '.join(few)}." if few else ""


def what_was_scanned(sources: Sequence[Source], elevations: Elevations) -> str:
    """One paragraph on the scan: files, points, floor, plumb."""
    points = sum(source.points for source in sources)
    plumb = {
        "scanner": "from the scanner's own levelling",
        "datum": "from datum marks",
        "estimated": "estimated from walls and floor",
    }
    area = sum(wall.area_mm2 for wall in elevations.walls)
    floor = f", floor {lengths.area(elevations.floor_area_mm2)}" if elevations.floor_area_mm2 > 0 else ""
    return (
        f"Scanned: {_names(sources)}, {points / 1e6:.1f} million points; {len(elevations.walls)} walls with "
        f"{lengths.area(area)} of wall area less openings{floor}. Plumb is {plumb[elevations.plumb_source]}, "
        f"known to ± {2.0 * elevations.plumb_standard_uncertainty_deg:.3f}° (2u)."
    )


def _names(sources: Sequence[Source]) -> str:
    names = [source.name for source in sources]
    return ", ".join(names) if len(names) <= 3 else f"{', '.join(names[:2])} and {len(names) - 2} more files"


def _flatness(elevations: Elevations, surfaces: Surfaces, settings: DrawingSettings) -> list[Block]:
    return [
        Heading(2, "Is each wall flat enough?", "flatness"),
        Paragraph(
            f"Judged by the tolerance set {surfaces.tolerance_set}; every rule of it must hold. A verdict covers the "
            "wall as far as it was seen. Flatness alone does not make a wall fit to clad: substrate, adhesion and lean "
            "count too."
        ),
        report_tables.straightedge_table(elevations, surfaces, settings),
        report_tables.bows_table(surfaces, settings),
    ]


def _unseen(elevations: Elevations) -> list[Block]:
    heading = Heading(2, "What was not seen", "unseen")
    table = report_tables.unseen_table(elevations)
    ends = [wall.id for wall in elevations.walls if any(edge.kind == "end" for edge in wall.edges)]
    blocks: list[Block] = [heading]
    if table.rows:
        walls = [wall.id for wall in elevations.walls if wall.unseen_mm]
        blocks.append(
            Paragraph(
                f"Nothing was measured at these places on {', '.join(walls)}. Scan them again, or tape them, "
                "before anything is cut to fit there."
            )
        )
        blocks.append(table)
    else:
        shares = ", ".join(f"{wall.id} {lengths.percent(wall.seen_share)}" for wall in elevations.walls)
        blocks.append(Paragraph(f"No larger area of a wall was missed. Seen: {shares}."))
    if ends:
        blocks.append(
            Paragraph(
                f"{', '.join(ends)}: the scan stops before the wall does, or no corner was found; what lies beyond is "
                "unknown."
            )
        )
    return blocks


def _findings(findings: Sequence[Finding], walls: Sequence[WallElevation]) -> list[Block]:
    """Warnings and what concerns the whole job; notes on one wall stand with that wall."""
    heading = Heading(2, "What was noticed", "findings")
    known = {wall.id for wall in walls}
    here = [finding for finding in findings if finding.level == "warning" or finding.wall not in known]
    blocks: list[Block] = [heading, report_tables.findings_table(here)] if here else [heading]
    elsewhere = len(findings) - len(here)
    if elsewhere:
        blocks.append(Paragraph(f"Notes on single walls ({elsewhere}) stand with those walls below."))
    return blocks if len(blocks) > 1 else [heading, Paragraph("Nothing out of the ordinary.")]


def _wall(
    wall: WallElevation, surface: WallSurface | None, findings: Sequence[Finding], settings: DrawingSettings
) -> list[Block]:
    verdict = surface.verdict if surface is not None else "not measured"
    blocks: list[Block] = [Heading(3, f"{wall.id}: {verdict}", wall.id)]
    blocks += [
        Paragraph(f"{finding.level.capitalize()}: {finding.text}") for finding in findings if finding.wall == wall.id
    ]
    if surface is not None:
        blocks.append(Picture(wall.id, picture_words(wall, surface)))
    blocks.append(Paragraph(wall_words(wall, settings)))
    tables = [] if surface is None else [report_tables.wall_straightedges_table(surface, settings)]
    tables += [
        report_tables.sizes_table(wall, settings),
        report_tables.openings_table(wall, settings),
        report_tables.edges_table(wall),
    ]
    blocks += [table for table in tables if table.rows]
    if surface is not None and surface.uncertainty_parts:
        blocks.append(Paragraph(uncertainty_words(surface)))
    return blocks


def wall_words(wall: WallElevation, settings: DrawingSettings) -> str:
    """Area, what was seen of it and, on a curved wall, its radius."""
    unseen = report_tables.unseen_total_mm2(wall)
    words = [f"Area less openings {lengths.area(wall.area_mm2)}", f"seen {lengths.percent(wall.seen_share)}"]
    if unseen > 0.0:
        words.append(f"unseen {lengths.area(unseen)}")
    if wall.radius_mm is not None:
        bend = "concave" if wall.radius_mm > 0.0 else "convex"
        words.append(f"curved ({bend}), radius {lengths.length(abs(wall.radius_mm), settings)}, drawn unrolled")
    return "; ".join(words) + "."


def picture_words(wall: WallElevation, surface: WallSurface) -> str:
    """What a wall's picture shows, for those who cannot see it."""
    openings = Counter(opening.kind for opening in wall.openings)
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(openings.items())) or "no opening"
    return f"heights of wall {wall.id} in colour, with {listed}; flatness {surface.verdict}"


def uncertainty_words(surface: WallSurface) -> str:
    """The named parts of the straightedge's standard uncertainty."""
    parts = ", ".join(f"{name.replace('_', ' ')} {value:.2f} mm" for name, value in surface.uncertainty_parts.items())
    return (
        f"Standard uncertainty (u) of the worst gap, by parts: {parts}. Stations agree on this wall's height to "
        f"{surface.registration_mm:.2f} mm (u)."
    )


def _origin(
    sources: Sequence[Source], stations: Sequence[Station], surfaces: Surfaces, elevations: Elevations
) -> list[Block]:
    tables: list[Table] = [report_tables.sources_table(sources)]
    if stations:
        tables.append(report_tables.stations_table(stations, sources))
    return [
        Heading(2, "Where the figures come from", "origin"),
        Paragraph(
            "All lengths are in millimetres unless they say otherwise; the JSON files beside this report hold every "
            "figure."
        ),
        *tables,
    ]
