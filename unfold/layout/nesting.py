"""Nest panels onto stock sheets: the fewest sheets, by saw (cuts from edge to edge) or free (waterjet).

A panel takes the place of its bounding rectangle. On a sheet x runs along its length and y along its width, both from
the sheet's lower left corner. `Placement.origin_mm` is where the lower left corner of the panel's bounding rectangle
lies; a turned panel is turned a quarter counter-clockwise first. The search is deterministic and bounded in places
looked at, never in time, so that a result does not depend on the machine.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.layout.packing import Job, Sheet
from unfold.layout.packing_search import pack
from unfold.layout.result import Placement
from unfold.layout.sheet_bounds import fewest_sheets

MICROMETRES = 1000


@dataclass(frozen=True, slots=True)
class Part:
    """A panel to nest. When `turn_allowed` is false it lies as `turned` says: the grain decides."""

    id: str
    ring_mm: Floats  # (n, 2)
    turn_allowed: bool
    turned: bool = False  # used only when turn_allowed is false


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


def nest_panels(parts: Sequence[Part], stock: Sequence[StockSheet], cutting: CuttingRules) -> Nesting:
    """Nest all parts onto as little sheet area as the search finds.

    Raises
    ------
    ValueError
        Two parts or two sheets share an id, a part's ring is empty, or a rule is negative.
    """
    _check(parts, stock, cutting)
    job = _job(parts, stock, cutting)
    placements: dict[str, Placement] = {}
    used = {sheet.id: 0 for sheet in stock}
    for filled in sorted(pack(job), key=lambda filled: (filled.kind, -filled.area(job), filled.places[0])):
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
    sizes = np.empty((len(parts), 2), np.int64)
    for row, part in zip(sizes, parts, strict=True):
        extent = np.ptp(part.ring_mm, axis=0)
        fixed_turn = part.turned and not part.turn_allowed
        row[:] = np.ceil(np.round((extent[::-1] if fixed_turn else extent) + cutting.kerf_mm, 6) * MICROMETRES)
    sheets = []
    for kind in stock:
        usable = np.array([kind.length_mm, kind.width_mm]) - 2.0 * cutting.trim_mm + cutting.kerf_mm
        size = np.floor(np.round(usable, 6) * MICROMETRES).astype(np.int64)
        sheets.append(Sheet(size, kind.length_mm * kind.width_mm, kind.count_available))
    may_turn = np.array([part.turn_allowed for part in parts], dtype=np.bool_)
    return Job(sizes, may_turn, tuple(sheets), cutting.guillotine)
