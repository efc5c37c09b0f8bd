"""What the drawings say of a wall in words: treatment, joints, gaps and bed."""

from unfold.drawing.lengths import feet_and_inches
from unfold.layout.result import Gap, WallLayout
from unfold.settings.drawing import DrawingSettings

TREATMENTS = {
    "clad": "clad as it is",
    "patch": "patch, then clad",
    "cover": "cover with backer board, then clad",
    "rebuild": "rebuild before cladding",
    "undecided": "not decided",
}
PLACES = {
    "change_of_plane": "inside corners",
    "inside_corner": "inside corners",
    "outside_corner": "outside corners",
    "floor": "floor",
    "ceiling": "ceiling",
    "end": "ends",
    "opening": "openings",
}

HALF_UP = 1e-9
"""Added before rounding, so that 6.35 becomes 6.4 whatever its last bit is."""


def small_length(length_mm: float, settings: DrawingSettings) -> str:
    """Write a width of some millimetres to 0.1 mm, and as a fraction of an inch when the drawing is in those."""
    text = f"{length_mm + HALF_UP:.1f} mm"
    if settings.units == "mm":
        return text
    return f"{feet_and_inches(length_mm, 2 * settings.smallest_fraction)} ({text})"


def joint_widths(laid: WallLayout, kind: str) -> list[float]:
    """List the widths of a wall's joints of one kind, each once, narrow first."""
    return sorted({round(joint.width_mm, 2) for joint in laid.joints if joint.kind == kind})


def gap_widths(gaps: tuple[Gap, ...]) -> dict[str, list[float]]:
    """List the widths of the gaps at each kind of place, each once."""
    found: dict[str, set[float]] = {}
    for gap in gaps:
        found.setdefault(PLACES.get(gap.reason, gap.reason.replace("_", " ")), set()).add(round(gap.width_mm, 2))
    return {place: sorted(widths) for place, widths in sorted(found.items())}


def _ground_work(laid: WallLayout) -> list[str]:
    """Say what is to be filled, taken down or covered before cladding."""
    notes = []
    fills = [spot for spot in laid.patches if spot.kind == "fill"]
    highs = [spot for spot in laid.patches if spot.kind == "take_down"]
    if fills:
        litres, most = sum(spot.volume_litres for spot in fills), max(spot.most_mm for spot in fills)
        notes.append(f"fill {len(fills)} hollows, {litres:.1f} litres, at most {most:.1f} mm deep")
    if highs:
        notes.append(f"take down {len(highs)} high spots, at most {max(spot.most_mm for spot in highs):.1f} mm")
    if laid.cover is not None:
        cover = laid.cover
        length, width = cover.board_size_mm
        notes.append(
            f"{cover.boards} backer boards {length:.0f} x {width:.0f} x {cover.board_thickness_mm:.1f} mm on "
            f"{cover.shims} shims, at most {cover.most_shim_mm:.1f} mm"
        )
    return notes


def wall_notes(laid: WallLayout, settings: DrawingSettings) -> list[str]:
    """Say how the wall is treated and why, and how wide its joints, gaps and bed are."""

    def widths(values: list[float]) -> str:
        return " and ".join(small_length(value, settings) for value in values)

    notes = [f"{TREATMENTS[laid.treatment]}: {laid.reason}"]
    if laid.provisional and laid.panels:
        notes.insert(0, "PROVISIONAL: this wall is not decided; do not cut its panels before it is measured")
    notes += _ground_work(laid)
    if plain := joint_widths(laid, "joint"):
        notes.append(f"joints {widths(plain)}")
    if moving := joint_widths(laid, "movement"):
        notes.append(f"movement joints {widths(moving)}, filled with sealant")
    if gaps := gap_widths(laid.gaps):
        notes.append("gaps: " + "; ".join(f"{place} {widths(values)}" for place, values in gaps.items()))
    if laid.bed is not None and laid.face_offset_mm is not None:
        bed = laid.bed
        notes.append(
            f"bed {bed.least_mm:.1f} to {bed.most_mm:.1f} mm, mean {bed.mean_mm:.1f} mm, {bed.volume_litres:.1f} litres"
            f"; finished face {small_length(laid.face_offset_mm, settings)} in front of the wall's plane"
        )
    return notes
