"""From chains of runs to walls: base surfaces, corners, frames, extents, ids and neighbours."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from unfold.arrays import Floats
from unfold.findings import Finding
from unfold.room.arrangement import Rooms
from unfold.room.cells import LevelCells
from unfold.room.chains import CARRY_M, Chain, Run, columns_within, span
from unfold.room.evidence import COLUMN_M, Columns, last_along
from unfold.room.refine import Base, corner, fit_base, frame_between
from unfold.room.result import Wall, WallEnd
from unfold.room.storey import Storey

FRAGMENT_M = 0.8


@dataclass(slots=True)
class _Draft:
    """A wall being put together."""

    run: Run
    base: Base
    bottom: float
    top: float
    start: Floats
    end: Floats
    stepped: bool  # only short stretches that no ray reached part it from its neighbours
    left: Literal["inside_corner", "outside_corner", "end"] = "end"
    right: Literal["inside_corner", "outside_corner", "end"] = "end"


Built = tuple[tuple[Wall, ...], tuple[Floats, ...], float, list[Finding]]


def build_walls(
    chains: list[Chain], columns: list[Columns], cells: LevelCells, storey: Storey, rooms: Rooms
) -> Built:
    """Build the walls of all chains, outer chains before columns, the longest first."""
    drafts = [_drafts(chain, columns, cells, storey) for chain in chains]
    drafts, findings = _without_fragments(drafts)
    order = sorted(
        (k for k in range(len(chains)) if drafts[k]),
        key=lambda k: (chains[k].hole, -sum(round(d.run.length, 2) for d in drafts[k])),
    )
    walls: list[Wall] = []
    rings: list[Floats] = []
    for loop, k in enumerate(order):
        made = _finish(_from_longest(drafts[k], chains[k].closed), chains[k].closed, loop, len(walls))
        walls += made
        if chains[k].closed:
            rings.append(_ring(made))
        findings += _open_ends(made)
    return tuple(walls), tuple(rings), _floor_area(rooms, chains, rings, order), findings


def _without_fragments(drafts: list[list[_Draft]]) -> tuple[list[list[_Draft]], list[Finding]]:
    """Leave out short walls that meet nothing at either end, where there are others: glimpses, reflections, panels."""
    kept: list[list[_Draft]] = []
    left_out: list[float] = []
    enough = sum(draft.run.length for chain in drafts for draft in chain) > 3.0
    for chain in drafts:
        alone = [d.left == d.right == "end" and d.base.circle is None and not d.stepped for d in chain]
        widths = [float(np.hypot(*(draft.end - draft.start))) for draft in chain]
        small = [enough and one and width < FRAGMENT_M for one, width in zip(alone, widths, strict=True)]
        left_out += [width for width, drop in zip(widths, small, strict=True) if drop]
        kept.append([draft for draft, drop in zip(chain, small, strict=True) if not drop])
    if not left_out:
        return kept, []
    sizes = ", ".join(f"{width:.2f} m" for width in left_out)
    text = f"{len(left_out)} short upright surface(s) that meet no other wall were left out ({sizes} wide)."
    return kept, [Finding("note", "wall-fragments", text)]


def _drafts(chain: Chain, columns: list[Columns], cells: LevelCells, storey: Storey) -> list[_Draft]:
    """One draft a wall run, with its ends where the neighbours' base surfaces meet it."""
    drafts: list[_Draft | None] = []
    for k, run in enumerate(chain.runs):
        if run.trace < 0:
            drafts.append(None)
            continue
        one = columns[run.trace]
        bottom, top = _heights(run, one, storey)
        base = fit_base(run, one, cells, (bottom, top))
        drafts.append(_Draft(run, base, bottom, top, run.start, run.end, _is_stepped(chain, k)))
    n = len(drafts)
    for k in range(n):
        here, after = drafts[k], drafts[(k + 1) % n]
        if here is None:
            continue
        if after is None or (n == 1 and not chain.closed):
            _trim(here, columns[here.run.trace], cells, True)
        if n > 1 and after is not None:
            _meet(here, after, columns, cells)
        if n > 1 and drafts[k - 1] is None:
            _trim(here, columns[here.run.trace], cells, False)
    return [draft for draft in drafts if draft is not None]


def _is_stepped(chain: Chain, k: int) -> bool:
    """Whether a run's neighbours on both sides are a short way off, unseen: the front of a pilaster, say."""
    n = len(chain.runs)
    gaps = [chain.runs[(k + side) % n] for side in (-1, 1)]
    return n > 3 and all(gap.trace < 0 and gap.length < CARRY_M for gap in gaps)


def _heights(run: Run, one: Columns, storey: Storey) -> tuple[float, float]:
    """Floor and ceiling along a run: the maps just inside, else the storey's, and no higher than what was hit."""
    inside = columns_within(run, one)
    along = one.along()[inside]
    base, normal = one.trace.at(along), one.trace.normal_at(along)
    direction = run.end - run.start
    floor, ceiling = [], []
    sign = np.sign(normal @ np.array([direction[1], -direction[0]]))[:, None] if len(along) else np.ones((0, 1))
    for offset in (0.1, 0.15, 0.2):
        i, j, ok = storey.raster.index(base + offset * sign * normal)
        floor.append(storey.floor_map_m[i, j][ok])
        ceiling.append(storey.ceiling_map_m[i, j][ok])
    floors, ceilings = np.concatenate(floor), np.concatenate(ceiling)
    floors, ceilings = floors[~np.isnan(floors)], ceilings[~np.isnan(ceilings)]
    hit = one.full[inside] | one.partly[inside]
    high = one.high_m[inside][hit]
    bottom = float(np.median(floors)) if len(floors) else storey.bottom_m
    if len(ceilings):
        return bottom, float(np.percentile(ceilings, 98))
    if storey.ceiling_m is not None:
        return bottom, storey.ceiling_m
    return bottom, float(np.nanpercentile(high, 98)) + 0.05 if len(high) else storey.top_m


def _trim(draft: _Draft, one: Columns, cells: LevelCells, at_end: bool) -> None:
    """Pull an open end of a wall back to where its own cells stop."""
    inside = columns_within(draft.run, one)
    hit = inside[one.full[inside] | one.lintel[inside]]
    if len(hit) == 0:
        return
    first, last = span(draft.run, one)
    ahead = 1.0 if (last > first) == at_end else -1.0
    index = int(hit.max() if ahead > 0 else hit.min())
    middle = float(one.start + (index + 0.5) * COLUMN_M)
    along = last_along(one, cells, middle, ahead)
    point = one.trace.at(np.array([along]))[0]
    if at_end:
        draft.end = point
    else:
        draft.start = point


def _meet(here: _Draft, after: _Draft, columns: list[Columns], cells: LevelCells) -> None:
    """Join two walls at their corner; walls that do not cross, or were not seen near it, end open."""
    near = 0.5 * (here.run.end + after.run.start)
    z = 0.5 * (max(here.bottom, after.bottom) + min(here.top, after.top))
    point = corner(here.base, after.base, near, z, cells)
    reach = max(
        _unseen_to(here.run, columns[here.run.trace], near, True),
        _unseen_to(after.run, columns[after.run.trace], near, False),
    )
    if point is None or reach > CARRY_M:
        _trim(here, columns[here.run.trace], cells, True)
        _trim(after, columns[after.run.trace], cells, False)
        return
    turn = _direction(here, point, True), _direction(after, point, False)
    cross = float(turn[0][0] * turn[1][1] - turn[0][1] * turn[1][0])
    kind: Literal["inside_corner", "outside_corner"] = "inside_corner" if cross < 0 else "outside_corner"
    here.end, here.right = point, kind
    after.start, after.left = point, kind


def _unseen_to(run: Run, one: Columns, point: Floats, at_end: bool) -> float:
    """How far a run was carried on without a hit, to its end or from its start."""
    inside = columns_within(run, one)
    hit = inside[one.full[inside] | one.lintel[inside] | one.partly[inside]]
    if len(hit) == 0:
        return float("inf")
    middles = one.trace.at(one.along()[hit])
    return float(np.hypot(*(middles - point).T).min())


def _direction(draft: _Draft, point: Floats, at_end: bool) -> Floats:
    """Walking direction of a wall at one of its ends."""
    circle = draft.base.circle
    if circle is None:
        inward = draft.base.inward[:2]
        return np.array([-inward[1], inward[0]])
    radial = (point - circle.centre) / circle.radius
    inward = -radial if draft.base.concave else radial
    return np.array([-inward[1], inward[0]])


def _from_longest(drafts: list[_Draft], closed: bool) -> list[_Draft]:
    """Begin a closed chain with its longest wall, an open one after an open end."""
    if closed:
        lengths = [round(draft.run.length, 2) for draft in drafts]
        first = int(np.argmax(lengths))
    else:
        ends = [k for k, draft in enumerate(drafts) if draft.left == "end"]
        first = max(ends, key=lambda k: (round(drafts[k].run.length, 2), -k)) if ends else 0
    return drafts[first:] + drafts[:first]


def _finish(drafts: list[_Draft], closed: bool, loop: int, before: int) -> list[Wall]:
    names = [f"W{before + k + 1}" for k in range(len(drafts))]
    walls = []
    for k, draft in enumerate(drafts):
        middle_z = 0.5 * (draft.bottom + draft.top)
        frame, width = frame_between(draft.base, draft.start, draft.end, draft.bottom, middle_z)
        left = WallEnd(draft.left, names[k - 1] if draft.left != "end" else None)
        right = WallEnd(draft.right, names[(k + 1) % len(names)] if draft.right != "end" else None)
        up = float(frame.up[2])
        walls.append(
            Wall(names[k], frame, width, 0.0, (draft.top - draft.bottom) / up, left, right, loop, draft.base.noise_m)
        )
    return walls


def _ring(walls: list[Wall]) -> Floats:
    """Plan ring through the walls' left corners, with curved walls sampled."""
    points = []
    for wall in walls:
        if wall.frame.radius_m is None:
            points.append(wall.frame.origin_m[None, :2])
        else:
            u = np.linspace(0.0, wall.width_m, max(8, int(wall.width_m / 0.05)))[:-1]
            uvh = np.stack([u, np.zeros(len(u)), np.zeros(len(u))], axis=1)
            points.append(wall.frame.level_from_uvh(uvh)[:, :2])
    return np.concatenate(points)


def _floor_area(rooms: Rooms, chains: list[Chain], rings: list[Floats], order: list[int]) -> float:
    """Closed rings' areas, less the columns in them; the region as found where a chain is open."""
    total, number = 0.0, 0
    for k in order:
        chain = chains[k]
        if chain.closed:
            ring = shapely.Polygon(rings[number])
            number += 1
            total += -ring.area if chain.hole else ring.area
        elif not chain.hole:
            total += shapely.Polygon(rooms.regions[chain.region].exterior).area
    return total


def _open_ends(walls: list[Wall]) -> list[Finding]:
    found = []
    for wall in walls:
        if wall.frame.seam_m is not None and wall.frame.seam_m > -1e-3:
            continue  # a round column closes on itself
        for side, end in (("left", wall.left), ("right", wall.right)):
            if end.kind == "end":
                text = f"{wall.id} is open at its {side} end: the scan does not show what it meets there."
                found.append(Finding("note", "wall-open-end", text, wall.id))
    return found
