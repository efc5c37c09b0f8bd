"""The elevation stage from end to end."""

from collections.abc import Sequence

import numpy as np

from unfold.arrays import Floats
from unfold.elevation.absence import find_absences, over_voids, panes_set_aside
from unfold.elevation.candidates import Candidate, carried_to_floor, find_candidates
from unfold.elevation.cases import Case, zones_of
from unfold.elevation.collect import collect_zone_rays, frame_in_scan_axes
from unfold.elevation.datum import datum_of, level_datum_m
from unfold.elevation.ends import FreeEnds, end_zone, free_sides, place_ends
from unfold.elevation.evidence import NOISY_MM, Evidence, gather_evidence
from unfold.elevation.hollows import with_holes
from unfold.elevation.local_rays import Box, join
from unfold.elevation.mirror import is_mirror, occupied_voxels, plan_of
from unfold.elevation.openings import measure_openings
from unfold.elevation.other_walls import without_other_walls
from unfold.elevation.outline import Outline
from unfold.elevation.result import Elevations, Opening, WallElevation
from unfold.elevation.rings import cells_inside
from unfold.elevation.trace import trace_outlines
from unfold.elevation.unseen import find_unseen
from unfold.findings import Finding
from unfold.progress import Progress, silent
from unfold.room.result import Room, Wall
from unfold.scan import Scan
from unfold.settings.elevation import ElevationSettings
from unfold.side_by_side import in_threads, shared_out
from unfold.surface.result import Surfaces, WallSurface

MIRROR_MM = 60.0  # how far beyond a mirror's rough bounds what lies within it may reach
REVEAL_MM = 120.0  # the same of a hole: a casing stands around it


def unfold_walls(
    scan: Scan, room: Room, surfaces: Surfaces, settings: ElevationSettings, progress: Progress = silent
) -> Elevations:
    """Unfold every wall: its scribed outline, its openings, and what was not seen.

    Parameters
    ----------
    scan : Scan
        The points, streamed once more for the rays that cross a wall near an opening's edge.
    room, surfaces
        The walls, and what was measured of them, in the same order.
    """
    progress("tracing outlines")
    evidence = in_threads(gather_evidence, surfaces.walls)
    outlines = trace_outlines(room, surfaces.walls, evidence)
    stations_known = _stations_known(scan)
    candidates = in_threads(
        lambda wall, outline, seen, surface: _candidates(wall, room, outline, seen, surface, stations_known),
        *(room.walls, outlines, evidence, surfaces.walls),
    )
    progress("placing openings")
    cases, ends = _collect(scan, room, surfaces.walls, evidence, outlines, candidates)
    cases, mirrors = _set_mirrors_aside(room, cases)
    if ends:
        outlines = trace_outlines(room, surfaces.walls, evidence, ends)
    openings = shared_out(measure_openings, room.walls, surfaces.walls, evidence, outlines, cases)
    level = level_datum_m(room, settings.level_above_floor_mm)
    walls = tuple(
        in_threads(
            lambda wall, outline, own, seen: _unfolded(wall, room, scan, outline, own, seen, level),
            *(room.walls, outlines, openings, evidence),
        )
    )
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = room.level_from_local.T, scan.origin_m
    return Elevations(
        walls,
        room.plumb.up_local,
        matrix,
        room.plumb.source,
        room.plumb.standard_uncertainty_deg,
        room.floor_area_m2 * 1e6,
        (*mirrors, *_findings(walls, stations_known)),
    )


def _stations_known(scan: Scan) -> bool:
    return any(station.position_m is not None for station in scan.stations)


def _candidates(
    wall: Wall, room: Room, outline: Outline, evidence: Evidence, surface: WallSurface, stations_known: bool
) -> list[Candidate]:
    inside = cells_inside(outline.ring, evidence.grid)
    lower = outline.ring[: outline.edges[0].last + 1] if outline.edges[0].last else outline.ring
    u = evidence.grid.u0_mm + evidence.grid.cell_mm * np.arange(evidence.grid.columns)
    floor_v = np.interp(u, lower[:, 0], lower[:, 1])
    rays_behind = surface.rays.recess + surface.rays.through
    found = find_candidates(evidence, rays_behind, inside, floor_v)
    found += carried_to_floor(found, evidence, floor_v) if surface.noise_mm > NOISY_MM else []
    if stations_known:
        return found
    found = with_holes(found, evidence, surface.noise_mm, rays_behind, inside, floor_v)
    found = over_voids(found, evidence, wall, room) if surface.noise_mm <= NOISY_MM else found
    absences = panes_set_aside(find_absences(evidence, rays_behind, inside, floor_v, wall, room), found)
    # the few points behind an edge of such a hole are its reveal's, no opening of their own
    within = [any(_within(one.box_mm, hole.box_mm, REVEAL_MM) for hole in absences) for one in found]
    return [one for one, reveal in zip(found, within, strict=True) if not reveal] + absences


def _collect(
    scan: Scan,
    room: Room,
    surfaces: Sequence[WallSurface],
    evidence: Sequence[Evidence],
    outlines: Sequence[Outline],
    candidates: Sequence[Sequence[Candidate]],
) -> tuple[list[list[Case]], FreeEnds]:
    """Stream the points: the rays around and inside each candidate, and those that place the walls' free sides."""
    free = [(i, side, rough) for i, outline in enumerate(outlines) for side, rough in free_sides(outline).items()]
    zones = [end_zone(i, outlines[i], surfaces[i], side, rough) for i, side, rough in free]
    count = len(zones)  # candidates come later, and take the cells that they share with an end
    owners: list[tuple[int, Candidate]] = []
    for i, own in enumerate(candidates):
        for candidate in own:
            zones += zones_of(i, candidate, evidence[i], surfaces[i])
            owners.append((i, candidate))
    rays = collect_zone_rays(scan, room, [surface.grid for surface in surfaces], zones)
    if not _stations_known(scan):
        rays = without_other_walls(rays, [zone.wall for zone in zones], room.walls, surfaces)
    cases: list[list[Case]] = [[] for _ in candidates]
    for k, (i, candidate) in enumerate(owners):
        edge = count + 2 * k
        cases[i].append(Case(candidate, rays[edge], rays[edge + 1], zones[edge].height_mm))
    sides = [(side, rough) for _, side, rough in free]
    return cases, place_ends(room.walls, surfaces, zones[:count], rays[:count], sides)


def _set_mirrors_aside(room: Room, cases: list[list[Case]]) -> tuple[list[list[Case]], list[Finding]]:
    """Leave out candidates that are mirrors, and what lies within their bounds; the area stays unseen."""
    voxels, plan = occupied_voxels(room.cells), plan_of(room.walls)
    kept: list[list[Case]] = []
    findings = []
    for wall, own in zip(room.walls, cases, strict=True):
        mirrored = [
            case.candidate.box_mm
            for case in own
            if is_mirror(join(case.edge, case.inner), case.crossed_mm, wall, voxels, plan)
        ]
        kept.append(
            [case for case in own if not any(_within(case.candidate.box_mm, box, MIRROR_MM) for box in mirrored)]
        )
        for u0, v0, u1, v1 in mirrored:
            size = f"{u1 - u0:.0f} x {v1 - v0:.0f} mm"
            text = f"A mirror of about {size} hangs on {wall.id}; the wall behind it was not seen."
            findings.append(Finding("note", "mirror", text, wall.id))
    return kept, findings


def _within(box: Box, other: Box, margin_mm: float) -> bool:
    """Whether a box lies within another one grown by a margin."""
    low = box[0] > other[0] - margin_mm and box[1] > other[1] - margin_mm
    return low and box[2] < other[2] + margin_mm and box[3] < other[3] + margin_mm


def _unfolded(
    wall: Wall, room: Room, scan: Scan, outline: Outline, openings: list[Opening], evidence: Evidence, level_m: float
) -> WallElevation:
    frame = frame_in_scan_axes(wall.frame, room)
    unseen, area, share = find_unseen(evidence, outline.ring, openings)
    level_v, plumb_u = datum_of(wall, level_m)
    radius = None if frame.radius_m is None else frame.radius_m * 1000
    origin: Floats = frame.origin_m + scan.origin_m
    return WallElevation(
        wall.id,
        origin,
        frame.right,
        frame.up,
        frame.inward,
        wall.shape,
        radius,
        outline.ring,
        outline.edges,
        tuple(openings),
        unseen,
        area,
        share,
        level_v,
        plumb_u,
        wall.loop,
    )


def _findings(walls: Sequence[WallElevation], stations_known: bool) -> list[Finding]:
    found = []
    if not stations_known:
        text = "The scan does not say where the scanner stood; openings are told from the points alone and less surely."
        found.append(Finding("warning", "stations-unknown", text))
    for wall in walls:
        if wall.seen_share < 0.9:
            text = f"{100 * (1 - wall.seen_share):.0f} % of {wall.id} was not seen; it is listed as unseen."
            found.append(Finding("note", "wall-partly-unseen", text, wall.id))
    return found
