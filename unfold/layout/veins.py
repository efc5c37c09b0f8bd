"""Veins that run on from panel to panel: such panels are nested as one piece and cut apart along their joint.

Veins run along a sheet's length. On the wall they run up or along; panels that follow each other in that direction come
from one sheet, as far as they fit on one, spaced as on the wall, so that the veins meet across the joint.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats
from unfold.layout.nesting import Part
from unfold.layout.panels import PanelShape
from unfold.layout.result import Placement
from unfold.layout.site import PanelLimits
from unfold.settings.layout import LayoutSettings

ROUNDING_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Chain:
    """Panels that are cut from one piece: their ids and rings, in the order in which the veins pass them."""

    members: tuple[tuple[str, Floats], ...]
    holes: tuple[Floats, ...] = ()  # cutouts, of a chain of one

    @property
    def id(self) -> str:
        """The first panel's id stands for all."""
        return self.members[0][0]

    @property
    def bounds(self) -> Floats:
        """[[left, low], [right, high]] of all members on the wall."""
        points = np.concatenate([ring for _, ring in self.members])
        return np.stack([points.min(axis=0), points.max(axis=0)])


def is_directional(settings: LayoutSettings) -> bool:
    """Tell whether any stock has veins."""
    return any(kind.directional for kind in settings.stock)


def chains_of(
    wall: str, panels: Sequence[PanelShape], limits: PanelLimits, settings: LayoutSettings
) -> tuple[Chain, ...]:
    """Group a wall's panels into chains; without veins, or unless they are to run on, each panel is its own chain."""
    named = [(f"{wall}-P{number}", panel) for number, panel in enumerate(panels, start=1)]
    if not (is_directional(settings) and settings.veins.match == "run on"):
        return tuple(Chain(((name, panel.ring),), panel.holes) for name, panel in named)
    up = settings.veins.direction == "up"
    lines: dict[int, list[tuple[str, PanelShape]]] = {}
    for name, panel in named:
        lines.setdefault(panel.column if up else panel.row, []).append((name, panel))
    chains: list[Chain] = []
    for line in lines.values():
        line.sort(key=lambda entry: entry[1].row if up else entry[1].column)
        rings = [(name, panel.ring) for name, panel in line]
        chains += _chains_along(rings, limits, 1 if up else 0, settings.cutting.kerf)
    return tuple(chains)


def _chains_along(
    line: Sequence[tuple[str, Floats]], limits: PanelLimits, axis: int, kerf_mm: float
) -> list[Chain]:
    """Put panels of one line together as long as they follow each other a kerf apart and fit on one sheet."""
    chains: list[Chain] = []
    for member in line:
        if chains:
            longer = Chain((*chains[-1].members, member))
            size = np.ptp(longer.bounds, axis=0)
            follows = float(member[1][:, axis].min()) >= float(chains[-1].bounds[1, axis]) + kerf_mm - ROUNDING_MM
            if follows and limits.fits(float(size[0]), float(size[1])):
                chains[-1] = longer
                continue
        chains.append(Chain((member,)))
    return chains


def part_of_chain(chain: Chain, settings: LayoutSettings) -> Part:
    """A chain as the nesting takes it: turned at will, or as the veins ask."""
    directional = is_directional(settings)
    ring = chain.members[0][1]
    if len(chain.members) > 1:
        (left, low), (right, high) = chain.bounds
        ring = np.array([[left, low], [right, low], [right, high], [left, high]])
    turned = directional and settings.veins.direction == "up"
    return Part(chain.id, ring, not directional, turned, chain.holes)


def placements_of(chains: Sequence[Chain], placed: Mapping[str, Placement]) -> dict[str, Placement]:
    """Take the chains' placements apart into their panels'.

    A piece turned a quarter counter-clockwise has its top on the sheet's left: (u, v) becomes (-v, u).
    """
    placements: dict[str, Placement] = {}
    for chain in chains:
        place = placed.get(chain.id)
        if place is None:
            continue
        low, high = chain.bounds
        for name, ring in chain.members:
            near, far = ring.min(axis=0), ring.max(axis=0)
            shift = (high[1] - far[1], near[0] - low[0]) if place.turned else (near[0] - low[0], near[1] - low[1])
            origin = (place.origin_mm[0] + float(shift[0]), place.origin_mm[1] + float(shift[1]))
            placements[name] = Placement(place.stock, place.sheet, origin, place.turned)
    return placements
