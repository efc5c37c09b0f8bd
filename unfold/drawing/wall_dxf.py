"""The DXF elevation of one wall: scribed outline, openings, unseen areas, datum lines, dimensions and a table."""

from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace

from unfold.arrays import Floats
from unfold.drawing import lengths
from unfold.drawing.dxf_document import (
    DIMENSION_STYLE,
    PAPER_TEXT_MM,
    add_ring,
    add_text,
    drawing_scale,
    new_document,
    save,
)
from unfold.drawing.sizes import Size, size_at, wall_heights, wall_widths
from unfold.elevation.result import Opening, WallElevation
from unfold.quantity import Verdict
from unfold.settings.drawing import DrawingSettings

LEADER = 6.0  # of an ordinate, in text heights
SAME_SIDE_MM = 0.5  # sides of two openings that are this close share one ordinate


def write_wall_dxf(wall: WallElevation, verdict: Verdict | None, path: Path, settings: DrawingSettings) -> None:
    """Write one wall's elevation; coordinates are the wall's own u and v in millimetres."""
    save(draw_wall(wall, verdict, settings), path, (wall.outline_mm.min(axis=0), wall.outline_mm.max(axis=0)))


def draw_wall(wall: WallElevation, verdict: Verdict | None, settings: DrawingSettings) -> Drawing:
    """Draw one wall's elevation."""
    wide, tall = np.ptp(wall.outline_mm, axis=0)
    scale = drawing_scale(1.35 * float(wide), 1.35 * float(tall))
    document, text = new_document(scale), PAPER_TEXT_MM * scale
    space = document.modelspace()
    add_ring(space, wall.outline_mm, "OUTLINE")
    for opening in wall.openings:
        _add_opening(space, opening)
    for ring in wall.unseen_mm:
        _add_unseen(space, ring, text)
    _tag_openings(space, wall, text)
    _add_datum_lines(space, wall, text)
    below, beside = _add_positions(space, wall, text, settings)
    _add_overall(space, wall, (below, beside), text, settings)
    _add_notes(space, wall, verdict, below - 6.0 * text, text, settings)
    return document


def _add_opening(space: Modelspace, opening: Opening) -> None:
    if opening.shape == "circle":
        centre = 0.5 * (opening.ring_mm.min(axis=0) + opening.ring_mm.max(axis=0))
        space.add_circle(centre, 0.5 * opening.size_mm[0], dxfattribs={"layer": "OPENING"})
    else:
        add_ring(space, opening.ring_mm, "OPENING")
    if opening.clear_ring_mm is not None:
        add_ring(space, opening.clear_ring_mm, "CLEAR-OPENING")


def _tag_openings(space: Modelspace, wall: WallElevation, text: float) -> None:
    """Write each opening's number inside it, or in the first free place around it where it is small."""
    rings = [opening.ring_mm for opening in wall.openings]
    taken = [(ring.min(axis=0), ring.max(axis=0)) for ring in rings]
    for opening in wall.openings:
        low, high = opening.ring_mm.min(axis=0), opening.ring_mm.max(axis=0)
        tag, middle = short_tag(opening), 0.5 * (low + high)
        half = np.array([0.45 * text * len(tag), 0.7 * text])
        reach = 0.5 * (high - low) + half
        places = [middle + reach * np.array(way) for way in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, -1))]
        free = (
            at for at in places if not any(np.all(at - half < top) and np.all(at + half > foot) for foot, top in taken)
        )
        at = middle if min(high - low) > 3.0 * text else next(free, places[0])
        taken.append((at - half, at + half))
        add_text(space, (float(at[0]), float(at[1])), tag, text, align=TextEntityAlignment.MIDDLE_CENTER)


def short_tag(opening: Opening) -> str:
    """An opening's number without its wall's: the drawing is of one wall."""
    return opening.id.split("-")[-1]


def _add_unseen(space: Modelspace, ring: Floats, text: float) -> None:
    hatch = space.add_hatch(color=256, dxfattribs={"layer": "UNSEEN"})
    hatch.paths.add_polyline_path(ring.tolist(), is_closed=True)
    hatch.set_pattern_fill("ANSI31", scale=0.25 * text)
    add_ring(space, ring, "UNSEEN")


def _add_datum_lines(space: Modelspace, wall: WallElevation, text: float) -> None:
    (left, bottom), (right, top) = wall.outline_mm.min(axis=0), wall.outline_mm.max(axis=0)
    on_datum = {"layer": "DATUM"}
    space.add_line((left - 6 * text, wall.level_v_mm), (right + 2 * text, wall.level_v_mm), dxfattribs=on_datum)
    space.add_line((wall.plumb_u_mm, bottom - 2 * text), (wall.plumb_u_mm, top + 2 * text), dxfattribs=on_datum)
    at = (left - 0.6 * text, wall.level_v_mm + 0.4 * text)
    add_text(space, at, "level datum", 0.8 * text, "DATUM", TextEntityAlignment.RIGHT)
    add_text(space, (wall.plumb_u_mm + 0.4 * text, top + 0.6 * text), "plumb datum", 0.8 * text, "DATUM")


def _add_overall(
    space: Modelspace, wall: WallElevation, clear_of: tuple[float, float], text: float, settings: DrawingSettings
) -> None:
    """Dimension the width at the bottom and the top, the height at the left, in the middle and at the right."""
    left, top = float(wall.outline_mm[:, 0].min()), float(wall.outline_mm[:, 1].max())
    below, beside = clear_of[0] - 3.0 * text, clear_of[1] + 3.0 * text
    lines = {"bottom": below, "top": top + 4.0 * text, "left": left - 9.0 * text, "right": beside}
    for size in wall_widths(wall):
        if size.where in lines:
            _linear(space, size, (0.0, lines[size.where]), 0.0, settings)
    for size in wall_heights(wall):
        if size.where in lines:
            _linear(space, size, (lines[size.where], 0.0), 90.0, settings)
    middle = clear_middle_u(wall, 2.5 * text)
    size_there = None if middle is None else size_at(wall, 0, middle, "middle")
    if size_there is not None:
        _linear(space, size_there, (float(size_there.ends_mm[0, 0]), 0.0), 90.0, settings)


def clear_middle_u(wall: WallElevation, clearance: float) -> float | None:
    """The u nearest the middle where an upright line keeps clear of openings, plumb line and ends; None without one."""
    left, right = float(wall.outline_mm[:, 0].min()), float(wall.outline_mm[:, 0].max())
    spans = [(float(opening.ring_mm[:, 0].min()), float(opening.ring_mm[:, 0].max())) for opening in wall.openings]
    spans += [(float(ring[:, 0].min()), float(ring[:, 0].max())) for ring in wall.unseen_mm]
    spans.append((wall.plumb_u_mm, wall.plumb_u_mm))
    middle = 0.5 * (left + right)
    places = [middle, *(low - clearance for low, _ in spans), *(high + clearance for _, high in spans)]
    free = [
        u
        for u in places
        if left + 2 * clearance < u < right - 2 * clearance
        and all(u <= low - clearance or u >= high + clearance for low, high in spans)
    ]
    return min(free, key=lambda u: abs(u - middle), default=None)


def _linear(space: Modelspace, size: Size, base: tuple[float, float], angle: float, settings: DrawingSettings) -> None:
    start, stop = size.ends_mm
    words = "<>" if settings.units == "mm" else lengths.dimension(size.length_mm.value, settings)
    dimension = space.add_linear_dim(
        base=base,
        p1=start,
        p2=stop,
        angle=angle,
        text=words,
        dimstyle=DIMENSION_STYLE,
        dxfattribs={"layer": "DIMENSION"},
    )
    dimension.render()


def _add_positions(
    space: Modelspace, wall: WallElevation, text: float, settings: DrawingSettings
) -> tuple[float, float]:
    """Give each side of each opening as an ordinate from where the datum lines cross; plus is right, and up.

    Returns how far down and how far right they reach, mm.
    """
    low, high = wall.outline_mm.min(axis=0), wall.outline_mm.max(axis=0)
    across, upward = opening_sides(wall, 0), opening_sides(wall, 1)
    reach = LEADER * text
    below, beside = (
        [_ordinate_words(u - wall.plumb_u_mm, tags, settings) for u, tags in across],
        [_ordinate_words(v - wall.level_v_mm, tags, settings) for v, tags in upward],
    )
    for (u, _), words, shown in zip(across, below, spread([u for u, _ in across], 2.0 * text), strict=True):
        _ordinate(space, (u, float(low[1])), (shown - u, -reach), wall, 0, words)
    for (v, _), words, shown in zip(upward, beside, spread([v for v, _ in upward], 2.0 * text), strict=True):
        _ordinate(space, (float(high[0]), v), (reach, shown - v), wall, 1, words)
    longest = [reach + (max(map(len, texts)) + 1.0) * text if texts else 2.0 * text for texts in (below, beside)]
    return float(low[1]) - longest[0], float(high[0]) + longest[1]


def opening_sides(wall: WallElevation, axis: int) -> list[tuple[float, str]]:
    """Sides of the openings along u (axis 0) or v (axis 1), sorted, with the openings that share each to 0.5 mm."""
    sides = sorted(
        (float(end), short_tag(opening))
        for opening in wall.openings
        for end in (opening.ring_mm[:, axis].min(), opening.ring_mm[:, axis].max())
    )
    merged: list[tuple[float, list[str]]] = []
    for at, tag in sides:
        if merged and at - merged[-1][0] <= SAME_SIDE_MM:
            merged[-1][1].append(tag)
        else:
            merged.append((at, [tag]))
    return [(at, " ".join(dict.fromkeys(tags))) for at, tags in merged]


def _ordinate_words(distance: float, tags: str, settings: DrawingSettings) -> str:
    sign = "+" if distance > 0 else ""
    return f"{sign}{lengths.dimension(distance, settings)}  {tags}"


def _ordinate(
    space: Modelspace, at: tuple[float, float], offset: tuple[float, float], wall: WallElevation, axis: int, words: str
) -> None:
    add = space.add_ordinate_x_dim if axis == 0 else space.add_ordinate_y_dim
    add(
        feature_location=at,
        offset=offset,
        origin=(wall.plumb_u_mm, wall.level_v_mm),
        text=words,
        dimstyle=DIMENSION_STYLE,
        dxfattribs={"layer": "DIMENSION"},
    ).render()


def spread(wanted: list[float], pitch: float) -> list[float]:
    """Move sorted positions apart to at least `pitch`, as little as that takes (pool adjacent violators).

    Least-squares isotonic regression of the positions less their minimum spacing, Best and Chakravarti 1990.
    """
    blocks: list[tuple[float, int]] = []  # mean of (position - number * pitch), how many
    for number, position in enumerate(wanted):
        mean, count = position - number * pitch, 1
        while blocks and blocks[-1][0] > mean:
            before, so_many = blocks.pop()
            mean, count = (mean * count + before * so_many) / (count + so_many), count + so_many
        blocks.append((mean, count))
    means = [mean for mean, count in blocks for _ in range(count)]
    return [mean + number * pitch for number, mean in enumerate(means)]


def _add_notes(
    space: Modelspace, wall: WallElevation, verdict: Verdict | None, top: float, text: float, settings: DrawingSettings
) -> None:
    """Write the title and the table of openings under the wall, from `top` down."""
    left, y = float(wall.outline_mm[:, 0].min()), top
    add_text(space, (left, y), f"{wall.id}, seen from inside the room", 1.4 * text)
    for line in note_lines(wall, verdict, settings):
        y -= 1.8 * text
        add_text(space, (left, y), line, text)


def note_lines(wall: WallElevation, verdict: Verdict | None, settings: DrawingSettings) -> list[str]:
    """The words under an elevation: verdict, what is unseen, and each opening with its size and uncertainty."""
    lines = [f"millimetres; flatness: {verdict or 'not measured'}; seen {100.0 * wall.seen_share:.0f} %"]
    if wall.radius_mm is not None:
        bend = "concave" if wall.radius_mm > 0.0 else "convex"
        lines.append(f"unrolled: u is arc length; {bend}, radius {lengths.length(abs(wall.radius_mm), settings)}")
    for size in (*wall_widths(wall), *wall_heights(wall)):
        kind = "width" if size.where in ("bottom", "top") or abs(np.ptp(size.ends_mm[:, 1])) < 1e-6 else "height"
        value = lengths.wide_quantity(size.length_mm, settings)
        lines.append(f"{kind} {size.where}: {value}" + (" to where the scan ends" if size.to_scan_end else ""))
    for opening in wall.openings:
        expanded = 2.0 * opening.standard_uncertainty_mm
        sizes = " × ".join(lengths.length(side, settings) for side in opening.size_mm)
        round_words = "diameter " if opening.shape == "circle" else ""
        lines.append(f"{opening.id} {opening.kind}: {round_words}{sizes} (± {expanded:.1f} mm)")
    if wall.unseen_mm:
        lines.append("hatched: unseen, nothing was measured there; scan again or tape it before cutting")
    return lines
