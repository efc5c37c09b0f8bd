"""Nest panels onto stock sheets: the fewest sheets, by saw (cuts from edge to edge) or free (waterjet).

For the saw a panel takes the place of its bounding rectangle; for the waterjet others may lie in its notches and
cutouts, as far as upright rectangles fill those. On a sheet x runs along its length and y along its width, both from
the sheet's lower left corner. `Placement.origin_mm` is where the lower left corner of the panel's bounding rectangle
lies; a turned panel is turned a quarter counter-clockwise first. The search is deterministic and bounded in places
looked at, never in time, so that a result does not depend on the machine.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats, Ints
from unfold.layout.packing import Job, Sheet
from unfold.layout.packing_search import THOROUGH, pack
from unfold.layout.pockets import MICROMETRES, pockets_of, solid_boxes, turned_pockets
from unfold.layout.result import Placement
from unfold.layout.sheet_bounds import fewest_sheets


@dataclass(frozen=True, slots=True)
class Part:
    """A panel to nest. When `turn_allowed` is false it lies as `turned` says: the grain decides."""

    id: str
    ring_mm: Floats  # (n, 2)
    turn_allowed: bool
    turned: bool = False  # used only when turn_allowed is false
    holes_mm: tuple[Floats, ...] = ()  # (n, 2) each: cutouts that a smaller part may come from


@dataclass(frozen=True, slots=True)
class StockSheet:
    """A kind of sheet that the job may use."""

    id: str
    length_mm: float
    width_mm: float
    count_available: int | None  # None: as many as needed


@dataclass(frozen=True, slots=True)
class CuttingRules:
    """How sheets are cut: width of the cut, strip taken off all round, and whether every cut runs through (a saw)."""

    kerf_mm: float
    trim_mm: float
    guillotine: bool


@dataclass(frozen=True, slots=True)
class Nesting:
    """Where every part comes from. `unplaced` are too large for every sheet, or left over when the sheets ran out."""

    placements: dict[str, Placement]
    sheets_used: dict[str, int]
    unplaced: tuple[str, ...]


def nest_panels(
    parts: Sequence[Part], stock: Sequence[StockSheet], cutting: CuttingRules, work_per_part: int = THOROUGH
) -> Nesting:
    """Nest all parts onto as little sheet area as the search finds with some work for each part.

    Raises
    ------
    ValueError
        Two parts or two sheets share an id, a part's ring is empty, or a rule is negative.
    """
    _check(parts, stock, cutting)
    job = _job(parts, stock, cutting)
    placements: dict[str, Placement] = {}
    used = {sheet.id: 0 for sheet in stock}
    packed = pack(job, work_per_part)
    for filled in sorted(packed, key=lambda filled: (filled.kind, -filled.area(job), filled.places[0])):
        kind = stock[filled.kind]
        used[kind.id] += 1
        for index, x, y, turn in filled.places:
            origin = (x / MICROMETRES + cutting.trim_mm, y / MICROMETRES + cutting.trim_mm)
            turned = bool(turn) != (parts[index].turned and not parts[index].turn_allowed)
            placements[parts[index].id] = Placement(kind.id, used[kind.id], origin, turned)
    ordered = {part.id: placements[part.id] for part in parts if part.id in placements}
    return Nesting(ordered, used, tuple(part.id for part in parts if part.id not in placements))


def quick_sheet_bound(parts: Sequence[Part], stock: Sequence[StockSheet], cutting: CuttingRules) -> int:
    """Bound the number of sheets from below, without nesting; parts that fit no sheet are left out."""
    _check(parts, stock, cutting)
    return fewest_sheets(_job(parts, stock, cutting))


def _check(parts: Sequence[Part], stock: Sequence[StockSheet], cutting: CuttingRules) -> None:
    for what, ids in (("parts", [part.id for part in parts]), ("sheets", [sheet.id for sheet in stock])):
        if len(set(ids)) != len(ids):
            raise ValueError(f"two {what} share an id")
    if any(len(part.ring_mm) < 3 for part in parts):
        raise ValueError("a part needs a ring of three points or more")
    if cutting.kerf_mm < 0.0 or cutting.trim_mm < 0.0:
        raise ValueError("kerf and trim cannot be negative")


def _job(parts: Sequence[Part], stock: Sequence[StockSheet], cutting: CuttingRules) -> Job:
    """Round lengths to whole micrometres, parts up and sheets down, and add the kerf to both."""
    extents = np.array([np.ptp(part.ring_mm, axis=0) for part in parts]).reshape(-1, 2)
    is_swapped = np.array([part.turned and not part.turn_allowed for part in parts], np.bool_)
    extents[is_swapped] = extents[is_swapped, ::-1]
    sizes = np.ceil(np.round(extents + cutting.kerf_mm, 6) * MICROMETRES).astype(np.int64)
    sheets = []
    for kind in stock:
        usable = np.array([kind.length_mm, kind.width_mm]) - 2.0 * cutting.trim_mm + cutting.kerf_mm
        size = np.floor(np.round(usable, 6) * MICROMETRES).astype(np.int64)
        sheets.append(Sheet(size, kind.length_mm * kind.width_mm, kind.count_available))
    may_turn = np.array([part.turn_allowed for part in parts], dtype=np.bool_)
    solids, firsts = _solids(parts, extents, sizes, cutting)
    return Job(sizes, solids, firsts, may_turn, tuple(sheets), cutting.guillotine)


def _solids(parts: Sequence[Part], extents: Floats, sizes: Ints, cutting: CuttingRules) -> tuple[Ints, Ints]:
    """Boxes that cover each part, not turned and turned, and the first row of each; see Job."""
    boxes, firsts = [np.zeros((0, 4), np.int64)], [0]
    least = float(extents.min(initial=np.inf))
    for part, extent, size in zip(parts, extents, sizes, strict=True):
        pockets = [] if cutting.guillotine else pockets_of(part.ring_mm, part.holes_mm, least)
        if part.turned and not part.turn_allowed:
            pockets = turned_pockets(pockets, float(extent[0]))
        for turn in (0, 1):
            lying = pockets if turn == 0 else turned_pockets(pockets, float(extent[1]))
            step = 1 if turn == 0 else -1
            boxes.append(solid_boxes(lying, extent[::step], size[::step], cutting.kerf_mm))
            firsts.append(firsts[-1] + len(boxes[-1]))
    return np.concatenate(boxes), np.array(firsts, np.int64)
