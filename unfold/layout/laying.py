"""The layout stage: from elevations and surfaces to panels on sheets, in the order in which a fabricator decides."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry.polygon import orient

from unfold.arrays import Floats
from unfold.elevation.result import Elevations
from unfold.findings import Finding
from unfold.layout.checks import (
    check_corners,
    check_names,
    check_orientations,
    check_own_joints,
    check_panel_sizes,
    panel_limits,
)
from unfold.layout.field import Field, lay_field
from unfold.layout.finished_face import FinishedFace, bed_of, faceted_bed, finished_face, plumb_slope, widest_facet_mm
from unfold.layout.layout_findings import job_findings, wall_findings
from unfold.layout.movement import movement_spacing_mm, movement_sum
from unfold.layout.own_joints import OwnJoint, settled
from unfold.layout.panel_assembly import assemble_panels
from unfold.layout.panels import Cut, Ground, cut_panels, lay_ground, unclad_balance
from unfold.layout.pattern import FAR_MM
from unfold.layout.ranking import Chosen, choose_scheme
from unfold.layout.result import Bed, Layout, Panel, Patches, Stock, Totals, WallLayout
from unfold.layout.sheet_plan import SheetPlan, plan_sheets
from unfold.layout.site import PanelLimits, Site
from unfold.layout.treatment import Decision, Evidence, decide_treatment
from unfold.layout.wall_face import WallFace, polygon_list, polygons_of, ring_points
from unfold.layout.wall_heights import WallHeights, wall_heights
from unfold.progress import Progress, silent
from unfold.settings.layout import LayoutSettings, WallJoints
from unfold.surface.result import Surfaces

COARSE_MM = 0.5  # how far the outline that proposals are judged by may lie from the true one
CLADDABLE = ("clad", "patch", "cover")


@dataclass(frozen=True, slots=True)
class WallWork:
    """What has been worked out for one wall."""

    face: WallFace
    heights: WallHeights
    decision: Decision
    finished: FinishedFace | None  # None: not clad
    provisional: bool


def lay_panels(
    elevations: Elevations,
    surfaces: Surfaces,
    settings: LayoutSettings,
    progress: Progress = silent,
    decided: Callable[[Patches], None] | None = None,
) -> Layout:
    """Decide on every wall, and lay panels on those that are clad.

    `decided` is called with every wall's patches once they are known: they may be drawn while panels are laid.

    Raises
    ------
    SettingsError
        The settings ask for something that the measured walls or the stock do not allow.
    """
    check_names(settings, [wall.id for wall in elevations.walls])
    check_corners(settings, elevations.walls)
    check_orientations(panel_limits(settings), settings)
    progress("deciding what each wall needs")
    works = _decide(elevations, surfaces, settings)
    if decided is not None:
        decided({name: work.decision.patches for name, work in works.items()})
    fields, sites = _sites(works, settings)
    check_own_joints(sites, settings)
    progress("comparing schemes of joints")
    chosen = choose_scheme(sites, settings)
    progress("cutting and nesting panels")
    cuts = _cut(sites, chosen, settings)
    plan = plan_sheets(cuts, sites, settings)
    panels = assemble_panels(elevations, {name: works[name].face for name in cuts}, cuts, plan, settings)
    panels = {name: _with_warning(works[name], own) for name, own in panels.items()}
    walls = tuple(
        _wall_layout(
            name, work, fields.get(name), sites.get(name), chosen, cuts.get(name), panels.get(name, ()), settings
        )
        for name, work in works.items()
    )
    findings = (*_wall_findings(works, sites, cuts, chosen, settings), *job_findings(chosen, plan, settings))
    totals = _totals(walls, plan, settings)
    schemes = tuple(replace(one, sheets=totals.sheets) if one.chosen else one for one in chosen.schemes)
    return Layout(_stock(plan, settings), walls, totals, schemes, findings)


def _decide(elevations: Elevations, surfaces: Surfaces, settings: LayoutSettings) -> dict[str, WallWork]:
    surface_of = {surface.wall: surface for surface in surfaces.walls}
    works = {}
    for wall in elevations.walls:
        face = WallFace(wall)
        heights = wall_heights(face, surface_of[wall.id])
        slope = plumb_slope(elevations.up_scan, wall.up, wall.inward)
        decision = decide_treatment(Evidence(face, surface_of[wall.id], heights, slope), settings)
        asked = settings.walls is not None and wall.id in settings.walls
        wanted = asked if settings.walls is not None else decision.treatment in CLADDABLE
        can_be = decision.treatment in CLADDABLE or (asked and decision.treatment == "undecided")
        is_clad = wanted and can_be and wall.id not in settings.leave_out and bool(heights.measured.any())
        finished = _finish(decision, heights, settings) if is_clad else None
        works[wall.id] = WallWork(face, heights, decision, finished, is_clad and decision.treatment == "undecided")
    return works


def _finish(decision: Decision, heights: WallHeights, settings: LayoutSettings) -> FinishedFace:
    if decision.plan is not None:
        heights = heights.corrected(decision.plan.correction_mm)
    board = decision.cover.board_thickness_mm if decision.cover is not None else 0.0
    return finished_face(heights, settings.bed.least, settings.stock[0].thickness, decision.slope_v, board)


def _sites(works: Mapping[str, WallWork], settings: LayoutSettings) -> tuple[dict[str, Field], dict[str, Site]]:
    """Lay the field and the ground of every clad wall."""
    faces = {name: work.face for name, work in works.items()}
    finished = {name: work.finished for name, work in works.items() if work.finished is not None}
    limits, own = panel_limits(settings), {own.wall: own for own in settings.wall}
    fields, sites = {}, {}
    for name in finished:
        fields[name] = lay_field(faces[name], faces, finished, settings)
        ground = lay_ground(faces[name], fields[name], settings)
        left, _, right, _ = ground.region.bounds if not ground.region.is_empty else (0.0, 0.0, 0.0, 0.0)
        run = min(right - left, movement_spacing_mm(settings.movement))
        movement = movement_sum(run, settings.movement, settings.joints)
        sites[name] = Site(
            ground,
            polygons_of(ground.region.simplify(COARSE_MM)),
            _limits_on(works[name], limits, settings),
            own.get(name),
            movement,
            _partial_joints(name, ground, own.get(name), settings),
        )
    return fields, sites


def _partial_joints(
    wall: str, ground: Ground, own: WallJoints | None, settings: LayoutSettings
) -> tuple[OwnJoint, ...]:
    """All joints that the user wrote for a wall, where some are written one by one; those come first."""
    single = [
        OwnJoint(
            one.u is not None, (one.u if one.u is not None else one.v) or 0.0,
            -FAR_MM if one.start is None else one.start, FAR_MM if one.end is None else one.end,
        )
        for one in settings.own_joint if one.wall == wall
    ]  # fmt: skip
    if not single:
        return ()
    whole = [OwnJoint(True, place) for place in ((own and own.joints_u) or ())]
    whole += [OwnJoint(False, place) for place in ((own and own.joints_v) or ())]
    return settled((*single, *whole), ground.region, settings.joints.width)


def _limits_on(work: WallWork, limits: PanelLimits, settings: LayoutSettings) -> PanelLimits:
    """The largest panels of a wall: on a curved one no wider than its bed can follow."""
    radius, plan = work.face.wall.radius_mm, work.decision.plan
    if radius is None or work.finished is None:
        return limits
    heights = work.heights if plan is None else work.heights.corrected(plan.correction_mm)
    play = settings.bed.most - bed_of(work.finished, heights, 0.0, settings.bed.least).most_mm
    return limits.no_wider_than(max(widest_facet_mm(abs(radius), play), settings.joints.least_strip))


def _cut(sites: Mapping[str, Site], chosen: Chosen, settings: LayoutSettings) -> dict[str, Cut]:
    cuts = {}
    for name, proposal in chosen.walls.items():
        cuts[name] = cut_panels(sites[name].ground, proposal.pattern, settings)
        sizes = [tuple(np.ptp(panel.ring, axis=0)) for panel in cuts[name].panels]
        check_panel_sizes(name, sizes, sites[name], settings)
    return cuts


def _with_warning(work: WallWork, panels: tuple[Panel, ...]) -> tuple[Panel, ...]:
    """Panels of a wall that is not decided say so themselves."""
    if not work.provisional:
        return panels
    said = "provisional: the wall is undecided, do not cut before it is measured"
    return tuple(replace(panel, notes=(said, *panel.notes)) for panel in panels)


def _wall_layout(
    name: str, work: WallWork, field: Field | None, site: Site | None, chosen: Chosen, cut: Cut | None,
    panels: tuple[Panel, ...], settings: LayoutSettings,
) -> WallLayout:  # fmt: skip
    clad = cut is not None and site is not None and work.finished is not None
    return WallLayout(
        id=name,
        treatment=work.decision.treatment,
        reason=work.decision.reason,
        patches=work.decision.patches,
        face_offset_mm=None if work.finished is None else work.finished.offset_mm,
        bed=_bed(work, panels, settings) if clad else None,
        field_mm=() if field is None else _rings(field),
        gaps=() if field is None else field.gaps,
        joints=chosen.walls[name].pattern.joints_in(site.ground.region) if clad and site is not None else (),
        panels=panels,
        balance=cut.balance if cut is not None else unclad_balance(work.face),
        cover=work.decision.cover,
        face_slope_mm_per_m=0.0 if work.finished is None else 1000.0 * work.finished.slope_v,
        scheme=chosen.names.get(name),
        provisional=work.provisional,
    )


def _rings(field: Field) -> tuple[Floats, ...]:
    """The field's outer rings, the largest first."""
    parts = sorted(polygon_list(field.region), key=lambda part: -part.area)
    return tuple(ring_points(orient(part).exterior) for part in parts)


def _bed(work: WallWork, panels: tuple[Panel, ...], settings: LayoutSettings) -> Bed:
    assert work.finished is not None
    plan, radius = work.decision.plan, work.face.wall.radius_mm
    heights = work.heights if plan is None else work.heights.corrected(plan.correction_mm)
    area = sum(panel.area_mm2 for panel in panels)
    bed = bed_of(work.finished, heights, area, settings.bed.least)
    if radius is None:
        return bed
    return faceted_bed(bed, radius, max(float(np.ptp(panel.ring_mm[:, 0])) for panel in panels), area)


def _stock(plan: SheetPlan, settings: LayoutSettings) -> tuple[Stock, ...]:
    return tuple(
        Stock(
            kind.id, (kind.length, kind.width), kind.thickness, kind.density_kg_m3,
            plan.sheets_used.get(kind.id, 0), kind.directional,
        )
        for kind in settings.stock
    )  # fmt: skip


def _totals(walls: tuple[WallLayout, ...], plan: SheetPlan, settings: LayoutSettings) -> Totals:
    panels = [panel for wall in walls for panel in wall.panels]
    area = sum(panel.area_mm2 for panel in panels)
    sheet_area = sum(plan.sheets_used.get(kind.id, 0) * kind.length * kind.width for kind in settings.stock)
    rings = [ring for panel in panels for ring in (panel.ring_mm, *(cutout.ring_mm for cutout in panel.cutouts))]
    return Totals(
        area_mm2=area,
        panels=len(panels),
        sheets=sum(plan.sheets_used.values()),
        used_share=area / sheet_area if sheet_area else 0.0,
        joint_mm=sum(float(np.hypot(*np.diff(joint.line_mm, axis=0)[0])) for wall in walls for joint in wall.joints),
        cut_mm=sum(float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum()) for ring in rings),
        mass_kg=sum(panel.mass_kg for panel in panels),
    )


def _wall_findings(
    works: Mapping[str, WallWork],
    sites: Mapping[str, Site],
    cuts: Mapping[str, Cut],
    chosen: Chosen,
    settings: LayoutSettings,
) -> Iterator[Finding]:
    for name, work in works.items():
        pattern = chosen.walls[name].pattern if name in chosen.walls else None
        yield from wall_findings(work.face, work.decision, sites.get(name), cuts.get(name), pattern, settings)
