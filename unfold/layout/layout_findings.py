"""What the layout stage noticed: walls that wait, sums of movement, joints that are too narrow, missing sheets."""

from collections.abc import Iterator

from unfold.findings import Finding
from unfold.layout.movement import movement_spacing_mm, movement_words
from unfold.layout.own_joints import OwnJoints
from unfold.layout.panels import Cut
from unfold.layout.pattern import Pattern
from unfold.layout.proposal import longest_run_mm
from unfold.layout.ranking import Chosen
from unfold.layout.sheet_plan import SheetPlan
from unfold.layout.site import Site
from unfold.layout.treatment import Decision
from unfold.layout.wall_face import WallFace
from unfold.settings.layout import LayoutSettings

LEAST_JOINT_MM = 25.4 / 16
"""ANSI A108.02 4.3.8, looked up, quoted: a joint is in no circumstances less than 1/16 in."""
LEAST_STAGGERED_JOINT_MM = 25.4 / 8
"""The same clause: in running bond with a side over 15 in, 1/8 in for rectified panels."""
LARGE_PANEL_MM, LEAST_LARGE_JOINT_MM = 3000.0, 5.0
"""BS 5385-1:2018 as a maker's page quotes it (looked up): joints grow with the panel; one of 3 m must have 5 mm."""
ROUNDING_MM = 1e-9


def wall_findings(
    face: WallFace,
    decision: Decision,
    site: Site | None,
    cut: Cut | None,
    pattern: Pattern | OwnJoints | None,
    settings: LayoutSettings,
) -> Iterator[Finding]:
    """Give what was noticed on one wall; `site`, `cut` and `pattern` are None where it gets no panels."""
    wall = face.wall.id
    if decision.treatment in ("undecided", "rebuild"):
        yield Finding("warning", f"wall-{decision.treatment}", decision.reason, wall)
    elif wall in settings.leave_out:
        yield Finding("note", "wall-left-out", "left out by the settings", wall)
    written_for = {own.wall for own in settings.wall} | {joint.wall for joint in settings.own_joint}
    if site is None and wall in written_for:
        yield Finding("warning", "joints-unused", "it gets no panels: the joints written for it are not used", wall)
    if site is not None:
        yield Finding("note", "movement-sum", movement_words(site.movement, settings.movement), wall)
        yield from _corner_movement(face, site, settings)
    if site is not None and pattern is not None:
        run, spacing = longest_run_mm(site, pattern), movement_spacing_mm(settings.movement)
        if run > spacing + settings.movement.least_width:
            text = f"a run of {run / 1000.0:.2f} m has no movement joint (at most {spacing / 1000.0:.2f} m): add joints"
            yield Finding("warning", "movement-run-long", text, wall)
    if cut is not None and cut.dropped.area > 0.0:
        text = f"{cut.dropped.area:.0f} mm2 are too narrow for a panel and stay unclad"
        yield Finding("warning", "sliver-unclad", text, wall)
    mitred = {mitre.neighbour for mitre in site.ground.mitres} if site is not None else set()
    if cut is not None and any(e.kind == "outside_corner" and e.neighbour not in mitred for e in face.wall.edges):
        text = "its cladding ends at the outside corner: a corner profile covers the edges of both walls' panels"
        yield Finding("note", "outside-corner", text, wall)


def _corner_movement(face: WallFace, site: Site, settings: LayoutSettings) -> Iterator[Finding]:
    """A soft corner joint takes half of the run beside it; say where its gap is too narrow for that."""
    needed = site.movement.total_mm / 2.0 / settings.movement.sealant_movement
    has_corner = any(edge.kind == "inside_corner" for edge in face.wall.edges)
    if has_corner and settings.gaps.change_of_plane < needed - ROUNDING_MM:
        text = (
            f"the corner gap of {settings.gaps.change_of_plane:.1f} mm is too narrow for half of the run's movement of "
            f"{site.movement.total_mm:.2f} mm: a sealant that takes {settings.movement.sealant_movement:.0%} needs "
            f"{needed:.1f} mm"
        )
        yield Finding("warning", "corner-gap-narrow", text, face.wall.id)


def job_findings(chosen: Chosen, plan: SheetPlan, settings: LayoutSettings) -> Iterator[Finding]:
    """Give what was noticed about the job as a whole."""
    width = settings.joints.width
    staggered = any(one.pattern.is_staggered for one in chosen.walls.values())
    longest = max((max(size) for one in chosen.walls.values() for size in one.sizes_mm), default=0.0)
    if width < LEAST_JOINT_MM - ROUNDING_MM:
        text = f"joints of {width:.2f} mm are under 1/16 in, which ANSI A108.02 4.3.8 allows in no circumstances"
        yield Finding("warning", "joint-narrow", text)
    elif staggered and width < LEAST_STAGGERED_JOINT_MM - ROUNDING_MM:
        text = f"joints of {width:.2f} mm are under 1/8 in, the least in running bond by ANSI A108.02 4.3.8"
        yield Finding("warning", "joint-narrow", text)
    elif longest >= LARGE_PANEL_MM and width < LEAST_LARGE_JOINT_MM:
        text = f"joints of {width:.2f} mm: where BS 5385-1 governs, panels of {longest / 1000.0:.1f} m must have 5 mm"
        yield Finding("note", "joint-under-bs-5385", text)
    kerf, runs_on = settings.cutting.kerf, settings.veins.match == "run on"
    if runs_on and any(kind.directional for kind in settings.stock) and width < kerf - ROUNDING_MM:
        text = f"veins do not run on: joints of {width:.2f} mm are narrower than the kerf of {kerf:.2f} mm"
        yield Finding("warning", "veins-cut-apart", text)
    if plan.unplaced:
        text = f"no sheet is left for {', '.join(plan.unplaced)}: raise the stock's count or add a kind"
        yield Finding("warning", "sheets-short", text)
