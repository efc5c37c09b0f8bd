"""What sits in, on and before the walls: reveals, panes, casings, skirting, furniture, mirrors and people."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from tests.simulate.heights import as_terms, constant
from tests.simulate.outline import OpeningRing
from tests.simulate.room import Box, Mirror, Person, Plant, Pole
from tests.simulate.sheets import EVERY_STATION, GLASS, MIRROR, NO_TERMS, Sheet
from unfold.arrays import Floats
from unfold.room.frame import WallFrame

FRAME_M = 0.05  # face of a window's frame around its pane
UP = np.array([0.0, 0.0, 1.0])


def _flat(
    origin: Floats, right: Floats, up: Floats, domain: Polygon, label: str, material: int = 0, returns: float = 1.0
) -> Sheet:
    return Sheet(WallFrame(origin, right, up, np.cross(right, up)), domain, NO_TERMS, label, material, returns)


def _tangent(surface: Sheet, u: float) -> tuple[Floats, Floats, Floats, Floats]:
    """The plane that touches a wall's base surface at u: its origin there, right, up, inward."""
    places = np.array([[u, 0, 0], [u + 1e-5, 0, 0], [u - 1e-5, 0, 0]])
    origin, ahead, behind = surface.frame.level_from_uvh(places)
    right = (ahead - behind) / np.linalg.norm(ahead - behind)
    return origin, right, surface.frame.up, np.cross(right, surface.frame.up)


def opening_sheets(surface: Sheet, ring: OpeningRing) -> list[Sheet]:
    """The reveals of an opening and what is behind it."""
    plan = ring.plan
    middle = plan.u + plan.width / 2
    origin, right, up, inward = _tangent(surface, middle)
    depth = plan.depth
    low, high = (plan.v if plan.v is not None else -0.1), (plan.v or 0.0) + plan.height
    sheets = _round_reveal(surface, ring, origin, right, up) if plan.circle else _reveals(surface, ring, low, high)
    half = plan.width / 2
    face = Polygon(ring.cut - [middle, 0.0]) if plan.circle else box(-half, low, half, high)
    if plan.behind == "solid":
        sheets.append(_flat(origin - depth * inward, right, up, face, "back"))
    if plan.behind == "pane":
        pane = face.buffer(-FRAME_M)
        back = origin - depth * inward
        sheets.append(_flat(back, right, up, face.difference(pane), "window frame"))
        sheets.append(_flat(back, right, up, pane, "pane", GLASS, plan.pane_returns))
        sheets.append(_flat(origin - (depth + 6.0) * inward, right, up, box(-8, -1.0, 8, 1.6), "hedge"))
    if plan.behind == "space":
        sheets += _space(origin - depth * inward, right, up, inward, half + plan.space_side, plan.space_depth)
    if plan.casing is not None:
        sheets += _casing(surface, ring, low, high)
    return sheets


def _reveals(surface: Sheet, ring: OpeningRing, low: float, high: float) -> list[Sheet]:
    """Jambs, head and sill; each runs from the wall's bowed surface back by the reveal's depth."""
    plan = ring.plan
    origin, right, up, inward = _tangent(surface, plan.u + plan.width / 2)
    half, depth = plan.width / 2, plan.depth
    v = np.linspace(low, high, max(2, int((high - low) / 0.01)))
    s = np.linspace(-half, half, max(2, int(plan.width / 0.01)))
    sheets = []
    for side in (-half, half):
        points = surface.points(np.full(len(v), plan.u + half + side), v) - origin
        front = points @ inward
        domain = Polygon([*zip(v, front, strict=True), (high, -depth), (low, -depth)])
        sheets.append(_flat(origin + side * right, up, inward, domain, "jamb"))
    for level in (high,) if plan.v is None else (low, high):
        points = surface.points(plan.u + half + s, np.full(len(s), level)) - origin
        domain = Polygon([*zip(points @ right, points @ inward, strict=True), (half, -depth), (-half, -depth)])
        sheets.append(_flat(origin + level * up, right, inward, domain, "head" if level == high else "sill"))
    if plan.v is None:
        sheets.append(_flat(origin, right, inward, box(-half, -depth, half, 0.0), "threshold"))
    return sheets


def _round_reveal(surface: Sheet, ring: OpeningRing, origin: Floats, right: Floats, up: Floats) -> list[Sheet]:
    """A round hole's reveal: 24 flat strips, a little outside the circle so that none stands in it."""
    plan = ring.plan
    inward = np.cross(right, up)
    middle = np.array([plan.u + plan.width / 2, (plan.v or 0.0) + plan.width / 2])
    front = float(surface.heights(middle[:1], middle[1:])[0])
    sheets = []
    for turn in np.linspace(0, 2 * np.pi, 25)[:-1]:
        out, along = math.cos(turn) * right + math.sin(turn) * up, -math.sin(turn) * right + math.cos(turn) * up
        half = plan.width / 2 * math.tan(math.pi / 24) * 1.001
        place = origin + middle[1] * up + plan.width / 2 * out
        sheets.append(_flat(place, along, inward, box(-half, -plan.depth, half, front), "pipe"))
    return sheets


def _space(origin: Floats, right: Floats, up: Floats, inward: Floats, half: float, depth: float) -> list[Sheet]:
    """The room behind a doorway or hatch: floor, ceiling, two sides, a back, and the wall's far face left open."""
    back = origin - depth * inward
    return [
        _flat(back, right, up, box(-half, -0.02, half, 2.62), "beyond"),
        _flat(origin - half * right, up, inward, box(-0.02, -depth, 2.62, 0.0), "beyond"),
        _flat(origin + half * right, up, inward, box(-0.02, -depth, 2.62, 0.0), "beyond"),
        _flat(origin, right, inward, box(-half, -depth, half, 0.0), "beyond"),
        _flat(origin + 2.6 * up, right, inward, box(-half, -depth, half, 0.0), "beyond"),
    ]


def _casing(surface: Sheet, ring: OpeningRing, low: float, high: float) -> list[Sheet]:
    """Boards that cover the wall around an opening: a face parallel to the wall, and its four edges."""
    plan = ring.plan
    if plan.casing is None:
        return []
    width, proud = plan.casing
    terms = np.concatenate([surface.terms, as_terms([constant(proud)])])
    u0, u1 = plan.u - width, plan.u + plan.width + width
    v0, v1 = (low if plan.v is None else low - width), high + width
    hole = box(plan.u, low if plan.v is not None else low - 1, plan.u + plan.width, high)
    sheets = [Sheet(surface.frame, box(u0, v0, u1, v1).difference(hole), terms, "casing")]
    origin, right, up, inward = _tangent(surface, plan.u + plan.width / 2)
    base = float(surface.heights(np.array([(u0 + u1) / 2]), np.array([(v0 + v1) / 2]))[0])
    edge = box(v0, base - 0.01, v1, base + proud)
    clear = box(low, base - 0.01, high, base + proud)
    for side, domain in ((u0, edge), (u1, edge), (plan.u, clear), (plan.u + plan.width, clear)):
        place = surface.frame.level_from_uvh(np.array([[side, 0.0, 0.0]]))[0]
        sheets.append(_flat(place, up, inward, domain, "casing"))
    half = (u1 - u0) / 2
    for level, reach in (
        (v1, half),
        (high, half - width),
        *(((v0, half), (low, half - width)) if plan.v is not None else ()),
    ):
        sheets.append(
            _flat(origin + level * up, right, inward, box(-reach, base - 0.01, reach, base + proud), "casing")
        )
    return sheets


def skirting_sheets(
    surface: Sheet, ring: Floats, openings: Sequence[OpeningRing], height: float, proud: float
) -> list[Sheet]:
    """A skirting board that follows the wall, interrupted by whatever stands on the floor."""
    terms = np.concatenate([surface.terms, as_terms([constant(proud)])])
    strip = box(ring[:, 0].min() - 0.05, -0.1, ring[:, 0].max() + 0.05, height)
    for opening in openings:
        if opening.plan.v is None:
            low, high = opening.face[:, 0].min(), opening.face[:, 0].max()
            strip = strip.difference(box(low, -1, high, 1))
    sheets = []
    for piece in shapely.get_parts(strip):
        sheets.append(Sheet(surface.frame, piece, terms, "skirting"))
        u0, _, u1, _ = piece.bounds
        for start in np.arange(u0, u1, 0.25):
            stop = min(start + 0.25, u1)
            u = np.linspace(start, stop, 6)
            top = surface.points(u, np.full(6, height))
            origin, right, up, inward = _tangent(surface, start)
            front = (top - origin) @ inward
            along = (top - origin) @ right
            domain = Polygon(
                [*zip(along, front + proud, strict=True), *zip(along[::-1], front[::-1] - 0.002, strict=True)]
            )
            sheets.append(_flat(origin + height * up, right, inward, domain, "skirting"))
    return sheets


def box_sheets(piece: Box) -> list[Sheet]:
    """Five faces of a box and its underside where it hangs."""
    turn = math.radians(piece.yaw_deg)
    x, y = np.array([math.cos(turn), math.sin(turn), 0.0]), np.array([-math.sin(turn), math.cos(turn), 0.0])
    middle = np.array([*piece.middle, piece.bottom])
    a, b, high = piece.size[0] / 2, piece.size[1] / 2, piece.size[2]
    sheets = [_flat(middle + high * UP, x, y, box(-a, -b, a, b), "furniture")]
    for axis, other, reach, half in ((x, y, a, b), (-x, y, a, b), (y, x, b, a), (-y, x, b, a)):
        sheets.append(_flat(middle + reach * axis, other, UP, box(-half, 0, half, high), "furniture"))
    if piece.bottom > 0:
        sheets.append(_flat(middle, x, y, box(-a, -b, a, b), "furniture"))
    return sheets


def mirror_sheet(surface: Sheet, mirror: Mirror) -> list[Sheet]:
    """A plane mirror before the wall."""
    origin, right, up, inward = _tangent(surface, mirror.u)
    u, v = np.meshgrid(
        np.linspace(mirror.u, mirror.u + mirror.width, 20), np.linspace(mirror.v, mirror.v + mirror.height, 20)
    )
    highest = float(((surface.points(u.ravel(), v.ravel()) - origin) @ inward).max())
    place = origin + (highest + mirror.proud) * inward
    return [_flat(place, right, up, box(0, mirror.v, mirror.width, mirror.v + mirror.height), "mirror", MIRROR)]


def pole_sheets(pole: Pole) -> list[Sheet]:
    """An upright cylinder."""
    return [_upright_cylinder(pole.middle, pole.radius, pole.bottom, pole.top, "pole", EVERY_STATION)]


def plant_sheets(plant: Plant) -> list[Sheet]:
    """Leaves as small rhombs, turned every way; the same plant is always the same."""
    random = np.random.default_rng(11)
    sheets = []
    for _ in range(plant.leaves):
        place = random.normal(0, 1, 3)
        place *= plant.radius * random.random() ** (1 / 3) / np.linalg.norm(place)
        turn = np.linalg.qr(random.normal(0, 1, (3, 3)))[0]
        a, b = random.uniform(0.02, 0.05), random.uniform(0.05, 0.12)
        leaf = Polygon([(-a, 0), (0, -b), (a, 0), (0, b)])
        sheets.append(_flat(np.array(plant.middle) + place, turn[0], turn[1], leaf, "plant"))
    return sheets


def _upright_cylinder(
    middle: tuple[float, float], radius: float, bottom: float, top: float, label: str, stations: int
) -> Sheet:
    start = np.array([middle[0], middle[1] + radius, 0.0])
    right = np.array([-1.0, 0, 0])
    frame = WallFrame(start, right, UP, np.cross(right, UP), -radius)
    return Sheet(frame, box(0, bottom, 2 * math.pi * radius, top), NO_TERMS, label, stations=stations)


def person_sheets(person: Person) -> list[Sheet]:
    """An upright figure of two cylinders."""
    body, head = (0.2, 0.0, 1.45), (0.09, 1.45, 1.75)
    return [_upright_cylinder(person.place, *part, "person", 1 << person.station) for part in (body, head)]
