"""What has to be done to a wall before panels go on: the decision and its reason in one sentence with the figures.

A wall that the measurement cannot decide on stays undecided, with what to measure; it is never clad in silence.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.layout.finished_face import widest_facet_mm
from unfold.layout.patching import EdgeRule, PatchLimits, PatchPlan, patch_spots, plan_patch
from unfold.layout.result import Cover, PatchSpot, Treatment
from unfold.layout.wall_face import WallFace
from unfold.layout.wall_heights import WallHeights
from unfold.quantity import COVERAGE_FACTOR, Quantity, Verdict, decide
from unfold.settings.layout import Face, LayoutSettings
from unfold.surface.result import Straightedge, WallSurface

COVERED = ("painted", "papered", "glazed", "dusty")
MOST_SHIM_QUANTILE = 0.99  # boards bridge a hole between their shims
LEAST_BAND_SHARE = 0.3  # of a tolerance is left to patch to when the uncertainty would eat it up


@dataclass(frozen=True, slots=True)
class Decision:
    """A treatment with its reason, and what it does to the wall's heights."""

    treatment: Treatment
    reason: str
    slope_v: float = 0.0  # of the finished face
    plan: PatchPlan | None = None
    patches: tuple[PatchSpot, ...] = ()
    cover: Cover | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known of one wall."""

    face: WallFace
    surface: WallSurface
    heights: WallHeights
    plumb_slope: float  # slope of a plumb plane in the wall's frame


def decide_treatment(evidence: Evidence, settings: LayoutSettings) -> Decision:
    """Decide on one wall from its surface, the bed's limits, and what the user declares of its face."""
    declared = [face for face in settings.face if face.wall == evidence.face.wall.id]
    decision = _from_scan(evidence, settings)
    for face in declared:
        decision = _with_condition(decision, face, evidence, settings)
    for face in declared:
        if face.treatment is not None and face.treatment != decision.treatment:
            decision = _as_declared(face.treatment, decision, evidence, settings)
    return decision


def _from_scan(evidence: Evidence, settings: LayoutSettings) -> Decision:
    hidden = evidence.face.unseen.area / max(evidence.face.net.area, 1.0)
    if not evidence.heights.measured.any():
        return Decision("undecided", "nothing of its surface was measured: scan it, or lay a straightedge on it")
    if evidence.face.wall.shape == "cylinder":
        return Decision("undecided", _curved_reason(evidence, settings))
    if hidden > settings.treatment.most_unseen_share:
        return Decision(
            "undecided",
            f"{hidden:.0%} of its face was not seen (at most {settings.treatment.most_unseen_share:.0%} may be): "
            "scan it again from where the unseen parts show",
        )
    if evidence.surface.verdict == "cannot be decided":
        return Decision("undecided", _undecided_reason(evidence))
    slope, lean_note, lean_fault = _lean(evidence, settings)
    if lean_fault is not None:
        return lean_fault
    if evidence.surface.verdict == "conforms" and _bed_verdict(evidence.heights, slope, settings) == "conforms":
        reason = f"{_flatness_words(evidence.surface.straightedges)}; {_bed_words(evidence.heights, slope, settings)}"
        return Decision("clad", f"{reason}{lean_note}", slope)
    return _repair(evidence, settings, slope, lean_note)


def _repair(evidence: Evidence, settings: LayoutSettings, slope: float, lean_note: str) -> Decision:
    """Patch, cover or rebuild a wall that is measured well enough and not good enough."""
    heights = evidence.heights
    why = f"{_flatness_words(evidence.surface.straightedges)}; {_bed_words(heights, slope, settings)}{lean_note}"
    plan = _plan(evidence, settings, slope)
    bed_takes_it = _bed_verdict(heights.corrected(plan.correction_mm), slope, settings) == "conforms"
    if plan.proved and bed_takes_it:
        spots = patch_spots(heights, plan)
        return Decision("patch", f"{why}; {_patch_words(spots, plan, evidence)}", slope, plan, spots)
    needed = (
        f"patching would fill up to {plan.most_fill_mm:.1f} mm and take down up to {plan.most_take_down_mm:.1f} mm "
        f"over {plan.share_of(heights):.0%} of it{'' if plan.proved else ' or more'}"
    )
    return _cover_or_rebuild(evidence, settings, slope, f"{why}; {needed}")


def _cover_or_rebuild(evidence: Evidence, settings: LayoutSettings, slope: float, why: str) -> Decision:
    cover = plan_cover(evidence, settings, slope)
    limit = settings.treatment.most_shim
    if cover.most_shim_mm > limit:
        text = f"{why}; shims would reach {cover.most_shim_mm:.1f} mm (at most {limit:g}): straighten or rebuild it"
        return Decision("rebuild", text, slope)
    text = f"{why}; {cover.boards} backer boards on {cover.shims} shims up to {cover.most_shim_mm:.1f} mm"
    return Decision("cover", text, slope, cover=cover)


def plan_cover(evidence: Evidence, settings: LayoutSettings, slope: float) -> Cover:
    """Count backer boards (a grid over the wall's face) and the shims that bring their backs to one plane."""
    rules, heights = settings.treatment, evidence.heights
    above = heights.above(slope).height_mm
    depth = float(np.nanmax(above)) - above
    extent = np.ptp(evidence.face.wall.outline_mm, axis=0)
    boards = min(
        int(np.ceil(extent[0] / one) * np.ceil(extent[1] / other))
        for one, other in ((rules.board_length, rules.board_width), (rules.board_width, rules.board_length))
    )
    step = max(1, round(rules.shim_spacing / heights.cell_mm))
    places = depth[step // 2 :: step, step // 2 :: step]
    thick = places[np.isfinite(places) & (places >= 0.5)]
    most = float(np.nanquantile(depth, MOST_SHIM_QUANTILE))
    return Cover((rules.board_length, rules.board_width), rules.board_thickness, boards, len(thick), most)


def _plan(evidence: Evidence, settings: LayoutSettings, slope: float) -> PatchPlan:
    """Plan a patch to what the rules and the bed leave, less the guard band."""
    heights = evidence.heights.above(slope)
    guard = COVERAGE_FACTOR * float(np.nanmedian(heights.standard_error_mm))
    rules = []
    for edge in evidence.surface.straightedges:
        u = edge.worst.standard_uncertainty if edge.worst else 0.0
        left = max(edge.tolerance_mm - COVERAGE_FACTOR * u, LEAST_BAND_SHARE * edge.tolerance_mm)
        rules.append(EdgeRule(edge.length_mm, left))
    asked = settings.treatment
    limits = PatchLimits(asked.most_fill, asked.most_take_down, asked.most_patch_share)
    return plan_patch(heights, max(settings.bed.most - settings.bed.least - guard, 0.1), rules, limits)


def _lean(evidence: Evidence, settings: LayoutSettings) -> tuple[float, str, Decision | None]:
    """The finished face's slope, the lean's part of the reason, and a decision when the lean forbids cladding."""
    plumb, limit = evidence.plumb_slope, settings.treatment.most_lean_mm_per_m
    asked = plumb if settings.bed.face == "plumb" else 0.0
    lean = evidence.surface.lean_mm_per_m
    if lean is None:
        return asked, "; its lean is not known", None
    verdict = decide(abs(lean.value), lean.standard_uncertainty, limit)
    words = f"it leans {_value(lean, 'mm/m')} (limit {limit:g})"
    if verdict == "conforms":
        return asked, f"; {words}", None
    takes_it = _bed_verdict(evidence.heights, plumb, settings) == "conforms"
    if verdict == "cannot be decided":
        if takes_it:
            return asked, f"; {words}, and the bed could take either", None
        return asked, "", Decision("undecided", f"{words}, which cannot be decided: put a 2 m level on it")
    if takes_it or evidence.surface.verdict == "does not conform":
        return plumb, f"; {words}: the face is laid plumb", None
    return plumb, "", _cover_or_rebuild(evidence, settings, plumb, f"{words}, more than the bed can take")


def _bed_verdict(heights: WallHeights, slope: float, settings: LayoutSettings) -> Verdict:
    """Decide whether the bed keeps within its most depth when it has its least depth on the proudest spot."""
    above = heights.above(slope)
    depth = settings.bed.least + float(np.nanmax(above.upper_mm)) - above.height_mm
    deepest = np.unravel_index(np.nanargmax(depth), depth.shape)
    return decide(float(depth[deepest]), float(above.standard_error_mm[deepest]), settings.bed.most)


def _with_condition(decision: Decision, face: Face, evidence: Evidence, settings: LayoutSettings) -> Decision:
    """Change the answer where the user says that the face does not hold adhesive, or the wall does not hold at all."""
    if face.condition == "sound":
        return decision
    said = f"declared {face.condition} in the settings"
    if face.condition not in COVERED:
        return Decision("rebuild", f"{said}: it cannot carry panels; the scan alone says {decision.treatment}")
    if decision.treatment in ("clad", "patch"):
        cover = plan_cover(evidence, settings, decision.slope_v)
        text = f"{said}: adhesive does not hold on it; {cover.boards} backer boards on {cover.shims} shims"
        return Decision("cover", f"{text}; the scan alone says {decision.treatment}", decision.slope_v, cover=cover)
    return Decision(
        decision.treatment,
        f"{said}; {decision.reason}",
        decision.slope_v,
        decision.plan,
        decision.patches,
        decision.cover,
    )


def _as_declared(treatment: Treatment, decision: Decision, evidence: Evidence, settings: LayoutSettings) -> Decision:
    """Follow the user, and keep on record what the scan says."""
    text = f"{treatment} as set in the settings; the scan alone says {decision.treatment}: {decision.reason}"
    if not evidence.heights.measured.any():
        return Decision(treatment, text)
    if treatment == "patch":
        plan = _plan(evidence, settings, decision.slope_v)
        return Decision(treatment, text, decision.slope_v, plan, patch_spots(evidence.heights, plan))
    cover = plan_cover(evidence, settings, decision.slope_v) if treatment == "cover" else None
    return Decision(treatment, text, decision.slope_v, cover=cover)


def _curved_reason(evidence: Evidence, settings: LayoutSettings) -> str:
    radius = abs(evidence.face.wall.radius_mm or 0.0)
    width = widest_facet_mm(radius, settings.bed.most - settings.bed.least)
    return (
        f"it is curved (radius {radius:.0f} mm) and panels are flat: strips up to {width:.0f} mm wide would follow it "
        f"within the bed; decide it with [[layout.face]]"
    )


def _undecided_reason(evidence: Evidence) -> str:
    open_rules = [edge for edge in evidence.surface.straightedges if edge.verdict == "cannot be decided"]
    if all(_would_conform(edge) for edge in open_rules):
        area = float(evidence.heights.measured.sum()) * evidence.heights.cell_mm**2
        share = min(area / max(evidence.face.net.area, 1.0), 1.0)
        return f"{share:.0%} of its face was measured, too little to tell that it is flat: scan it again"
    for edge in sorted(open_rules, key=_would_conform):
        if edge.worst is not None and edge.u_mm is not None and edge.v_mm is not None:
            return (
                f"{_edge_words(edge)} cannot be decided: lay a {edge.length_mm:.0f} mm straightedge at "
                f"u {edge.u_mm:.0f}, v {edge.v_mm:.0f}, {edge.angle_deg or 0.0:.0f} deg from level, or scan closer"
            )
    return "its flatness cannot be decided from what was measured: lay a straightedge on it, or scan closer"


def _would_conform(edge: Straightedge) -> bool:
    """Tell whether what was seen conforms, so that only what was not seen leaves the rule open."""
    worst = edge.worst
    return worst is not None and decide(worst.value, worst.standard_uncertainty, edge.tolerance_mm) == "conforms"


def _flatness_words(straightedges: Sequence[Straightedge]) -> str:
    known = [edge for edge in straightedges if edge.worst is not None]
    if not known:
        return "no straightedge could be laid on it"
    worst = max(known, key=lambda edge: (edge.verdict == "does not conform", edge.worst.value / edge.tolerance_mm))  # type: ignore[union-attr]
    return f"{_edge_words(worst)} {'conforms' if worst.verdict == 'conforms' else 'does not conform'}"


def _edge_words(edge: Straightedge) -> str:
    worst = _value(edge.worst, "mm") if edge.worst else "nothing"
    return f"{worst} under a {edge.length_mm:.0f} mm straightedge (limit {edge.tolerance_mm:.2f})"


def _bed_words(heights: WallHeights, slope: float, settings: LayoutSettings) -> str:
    above = heights.above(slope)
    deepest = settings.bed.least + float(np.nanmax(above.upper_mm)) - float(np.nanmin(above.height_mm))
    return f"the bed would be up to {deepest:.1f} mm deep (limit {settings.bed.most:.1f})"


def _patch_words(spots: Sequence[PatchSpot], plan: PatchPlan, evidence: Evidence) -> str:
    if not spots:
        return _small_spot_words(evidence.surface.straightedges)
    fills = [spot for spot in spots if spot.kind == "fill"]
    highs = [spot for spot in spots if spot.kind == "take_down"]
    parts = []
    if fills:
        volume = sum(spot.volume_litres for spot in fills)
        deepest = max(spot.most_mm for spot in fills)
        parts.append(f"fill {_counted(len(fills), 'spot')} with {volume:.2g} l, up to {deepest:.1f} mm")
    if highs:
        highest = max(spot.most_mm for spot in highs)
        parts.append(f"take down {_counted(len(highs), 'high spot')} by up to {highest:.1f} mm")
    return f"{' and '.join(parts)} ({plan.share_of(evidence.heights):.0%} of the face)"


def _small_spot_words(straightedges: Sequence[Straightedge]) -> str:
    """Where a straightedge shows too much over a spot too small to plan by."""
    over = [edge for edge in straightedges if edge.verdict != "conforms"]
    at = [f"u {edge.u_mm:.0f}, v {edge.v_mm:.0f}" for edge in over if edge.u_mm is not None and edge.v_mm is not None]
    return f"ease the spot at {' and '.join(at) or 'the proudest place'} by hand until the straightedge conforms"


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def _value(quantity: Quantity, unit: str) -> str:
    return f"{quantity.value:.2f} ± {COVERAGE_FACTOR * quantity.standard_uncertainty:.2f} {unit}"
