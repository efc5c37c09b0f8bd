"""Which sheet each panel comes from: nesting with the veins kept, running on from panel to panel, or book-matched.

Book-matched panels are cut from twin sheets, of which the second one's face mirrors the first one's about their
length. The left panel of a pair lies somewhere on the first twin, the right one at the mirrored place of the second:
so what the veins do at the left panel's edge they do at the right one's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from unfold.arrays import Floats
from unfold.layout.nesting import Nesting, Part, StockSheet, nest_panels
from unfold.layout.panels import Cut, PanelShape
from unfold.layout.ranking import cutting_rules, stock_sheets
from unfold.layout.result import Placement
from unfold.layout.site import Site
from unfold.layout.veins import chains_of, is_directional, part_of_chain, placements_of
from unfold.settings.layout import LayoutSettings


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """Placements by panel id, sheets used by kind, panels without a sheet, and each book-matched panel's partner."""

    placements: Mapping[str, Placement]
    sheets_used: Mapping[str, int]
    unplaced: tuple[str, ...]
    partners: Mapping[str, str]


def plan_sheets(cuts: Mapping[str, Cut], sites: Mapping[str, Site], settings: LayoutSettings) -> SheetPlan:
    """Nest the panels of all walls."""
    if is_directional(settings) and settings.veins.match == "book":
        return _book_matched(cuts, settings)
    chains = [
        chain for name, cut in cuts.items() for chain in chains_of(name, cut.panels, sites[name].limits, settings)
    ]
    parts = [part_of_chain(chain, settings) for chain in chains]
    nesting = nest_panels(parts, stock_sheets(settings.stock), cutting_rules(settings.cutting))
    placements = placements_of(chains, nesting.placements)
    members = [name for chain in chains for name, _ in chain.members]
    unplaced = tuple(name for name in members if name not in placements)
    return SheetPlan(placements, nesting.sheets_used, unplaced, {})


def _book_matched(cuts: Mapping[str, Cut], settings: LayoutSettings) -> SheetPlan:
    named = {
        f"{wall}-P{number}": panel for wall, cut in cuts.items() for number, panel in enumerate(cut.panels, start=1)
    }
    pairs = [pair for wall, cut in cuts.items() for pair in _pairs(wall, cut.panels, settings)]
    paired = {name for pair in pairs for name in pair}
    stock, rules = stock_sheets(settings.stock), cutting_rules(settings.cutting)
    twins = [replace(kind, count_available=_half(kind.count_available)) for kind in stock]
    nested_pairs = nest_panels([_twin_part(pair, named, settings) for pair in pairs], twins, rules)
    left = [_after(kind, nested_pairs) for kind in stock]
    singles = [_part(name, panel.ring, settings) for name, panel in named.items() if name not in paired]
    nested_singles = nest_panels(singles, left, rules)
    placements = _unfolded(pairs, named, nested_pairs, settings)
    for name, place in nested_singles.placements.items():
        before = 2 * nested_pairs.sheets_used[place.stock]
        placements[name] = replace(place, sheet=place.sheet + before)
    used = {kind.id: 2 * nested_pairs.sheets_used[kind.id] + nested_singles.sheets_used[kind.id] for kind in stock}
    partners = {one: other for pair in pairs for one, other in (pair, pair[::-1])}
    return SheetPlan(placements, used, tuple(name for name in named if name not in placements), partners)


def _pairs(wall: str, panels: Sequence[PanelShape], settings: LayoutSettings) -> list[tuple[str, str]]:
    """Panels that lie beside each other across the veins, two by two; upright veins pair columns, lying ones rows."""
    up = settings.veins.direction == "up"
    lines: dict[int, list[tuple[int, str]]] = {}
    for number, panel in enumerate(panels, start=1):
        line, place = (panel.row, panel.column) if up else (panel.column, panel.row)
        lines.setdefault(line, []).append((place, f"{wall}-P{number}"))
    pairs = []
    for beside in lines.values():
        for (first, one), (second, other) in pairwise(sorted(beside)):
            if first % 2 == 1 and second == first + 1:
                pairs.append((one, other))
    return pairs


def _twin_part(pair: tuple[str, str], named: Mapping[str, PanelShape], settings: LayoutSettings) -> Part:
    """Room for either panel of a pair: across the veins as wide as the wider, along them from foot to top of both."""
    rings = [named[name].ring for name in pair]
    size = np.ptp(np.concatenate(rings), axis=0)
    across, _ = _axes(settings)
    size[across] = max(np.ptp(ring[:, across]) for ring in rings)
    return _part(pair[0], np.array([[0.0, 0.0], [size[0], 0.0], size, [0.0, size[1]]]), settings)


def _axes(settings: LayoutSettings) -> tuple[int, int]:
    """The wall's axes (0 is u, 1 is v) across the veins and along them."""
    return (0, 1) if settings.veins.direction == "up" else (1, 0)


def _part(name: str, ring: Floats, settings: LayoutSettings) -> Part:
    return Part(name, ring, False, settings.veins.direction == "up")


def _unfolded(
    pairs: Sequence[tuple[str, str]], named: Mapping[str, PanelShape], nesting: Nesting, settings: LayoutSettings
) -> dict[str, Placement]:
    """Lay each pair's panels on the two twins: edge at edge across the veins, foot at foot along them."""
    widths = {kind.id: kind.width for kind in settings.stock}
    placements: dict[str, Placement] = {}
    for pair in pairs:
        place = nesting.placements.get(pair[0])
        if place is None:
            continue
        rings = [named[name].ring for name in pair]
        low, high = np.concatenate(rings).min(axis=0), np.concatenate(rings).max(axis=0)
        across, along = _axes(settings)
        shared = max(float(np.ptp(ring[:, across])) for ring in rings)
        for index, (name, ring) in enumerate(zip(pair, rings, strict=True)):
            size = float(np.ptp(ring[:, across]))
            x = float(high[along] - ring[:, along].max() if place.turned else ring[:, along].min() - low[along])
            edge = place.origin_mm[1] + shared  # where the pair's joint lies on the first twin
            y = edge - size if index == 0 else widths[place.stock] - edge
            origin = (place.origin_mm[0] + x, y)
            placements[name] = Placement(place.stock, 2 * place.sheet - 1 + index, origin, place.turned)
    return placements


def _half(count: int | None) -> int | None:
    return None if count is None else count // 2


def _after(kind: StockSheet, nesting: Nesting) -> StockSheet:
    left = None if kind.count_available is None else kind.count_available - 2 * nesting.sheets_used[kind.id]
    return replace(kind, count_available=left)
