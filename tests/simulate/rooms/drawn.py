"""Rooms drawn at random, so that accuracy is also measured in rooms that nobody had in mind.

`drawn_room(n)` is the same room for the same n. What is drawn: a plan of straight walls (a rectangle with corners cut
out or slanted, breasts, bays and alcoves), the bow, twist and ripple of every wall, openings of every kind, skirting
and casings, a column, a sloped ceiling, a bulkhead, furniture, people, the stations and the kind of file.
"""

import math

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import LineString, Point, Polygon, box

from tests.simulate.heights import bow, bump, ripple, slope, twist
from tests.simulate.room import Box, CeilingPlan, Chain, OpeningPlan, Person, Place, RoomPlan, Terms, WallPlan
from unfold.arrays import Floats

CLEAR_M = 0.12  # between openings, and from an opening to a corner
LEAST_WALL_M = 0.15
NARROWEST_M = 0.7  # that a person with a scanner passes
TRIES = 60


def drawn_room(number: int) -> RoomPlan:
    """The room that is drawn with this number."""
    random = np.random.default_rng([number, 77_003])
    shape = _outline(random)
    ring = np.asarray(shape.exterior.coords)[:-1]
    plan = tuple((float(x), float(y)) for x, y in (ring[::-1] if shape.exterior.is_ccw else ring))
    height = float(np.round(random.uniform(2.3, 3.3), 2))
    column = _column(random, shape)
    free = shape if column is None else shape.difference(Polygon(column.corners))
    skirting = (0.09, 0.014) if random.random() < 0.35 else None
    beyond: list[Polygon] = [shape.buffer(-0.05)]
    lowest = 0.65 * height
    walls = tuple(
        _wall(random, np.array(plan[i]), np.array(plan[(i + 1) % len(plan)]), lowest, height, skirting, beyond)
        for i in range(len(plan))
    )
    boxes = _furniture(random, free, plan, walls)
    tall = shapely.union_all([_foot(piece) for piece in boxes if piece.bottom + piece.size[2] > 1.2])
    stations = _stations(random, free.difference(tall))
    places = _places(random, free.difference(tall), int(random.integers(0, 3)), stations, 0.7)
    return RoomPlan(
        f"random_{number}",
        f"room {number} drawn at random",
        (Chain(plan, walls),) if column is None else (Chain(plan, walls), column),
        stations,
        _ceilings(random, shape, height),
        floor_terms=(slope(*random.normal(0, 0.001, 2)),),
        boxes=boxes,
        people=tuple(Person(int(random.integers(len(stations))), place) for place in places),
        yaw_deg=float(random.uniform(0, 360)),
        suffix=str(random.choice(["e57", "e57", "e57", "ply"])),
    )


def _outline(random: np.random.Generator) -> Polygon:
    shape = box(0.0, 0.0, random.uniform(2.0, 7.5), random.uniform(1.8, 5.5))
    for _ in range(int(random.integers(0, 5))):
        changed = _changed(random, shape)
        if _sound(changed):
            shape = changed
    return shape


def _changed(random: np.random.Generator, shape: Polygon) -> Polygon:
    """The plan with one more feature at one of its walls; sound or not."""
    ring = np.asarray(shapely.geometry.polygon.orient(shape, -1.0).exterior.coords)
    at = int(random.integers(len(ring) - 1))
    start, length = ring[at], float(np.linalg.norm(ring[at + 1] - ring[at]))
    along = (ring[at + 1] - start) / length
    out = np.array([-along[1], along[0]])  # a clockwise ring has its inside at the right

    def piece(*places: tuple[float, float]) -> Polygon:
        return Polygon([start + u * along + w * out for u, w in places])

    size = random.uniform(0.6, 2.2)
    first = random.uniform(0.2, max(0.3, length - size - 0.2))
    last, deep = first + size, random.uniform(0.15, 1.1)
    match str(random.choice(["corner", "slant", "breast", "bay", "alcove"])):
        case "corner":
            return shape.difference(piece((-0.1, 0.1), (size, 0.1), (size, -deep), (-0.1, -deep)))
        case "slant":
            return shape.difference(piece((-0.1, 0.1), (min(size, 1.0), 0.1), (-0.1, -deep)))
        case "breast":
            return shape.difference(piece((first, 0.1), (last, 0.1), (last, -0.5 * deep), (first, -0.5 * deep)))
        case "alcove":
            return shape.union(piece((first, -0.1), (first, deep), (last, deep), (last, -0.1)))
    lean = min(0.3 * size, deep * random.uniform(0.3, 1.0))
    bay = piece((first, 0.0), (first + lean, deep), (last - lean, deep), (last, 0.0), (last, -0.1), (first, -0.1))
    return shape.union(bay)


def _sound(shape: object) -> bool:
    """One ring without holes, no wall too short, no corner too sharp, no place too narrow."""
    if not isinstance(shape, Polygon) or shape.interiors or not shape.is_valid:
        return False
    ring = np.asarray(shape.exterior.coords)[:-1]
    sides = np.roll(ring, -1, axis=0) - ring
    lengths = np.linalg.norm(sides, axis=1)
    if lengths.min() < LEAST_WALL_M:
        return False
    headings = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.abs((np.roll(headings, -1) - headings + math.pi) % (2 * math.pi) - math.pi)
    whole = all(  # no chamber lies behind a slit
        isinstance(shape.buffer(-narrow / 2), Polygon) for narrow in (NARROWEST_M, 0.3)
    )
    return bool(turns.min() > math.radians(20) and turns.max() < math.radians(130) and whole)


def _column(random: np.random.Generator, shape: Polygon) -> Chain | None:
    if random.random() > 0.2:
        return None
    side = random.uniform(0.25, 0.5)
    for _ in range(TRIES):
        x, y = random.uniform((0, 0), shape.bounds[2:])
        foot = box(x, y, x + side, y + side)
        if shape.buffer(-NARROWEST_M).contains(foot):
            corners = ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
            return Chain(corners, tuple(WallPlan() for _ in corners))
    return None


def _stations(random: np.random.Generator, clear: Polygon) -> tuple[tuple[float, float, float], ...]:
    """Set-ups of somebody who takes care: one at a time, where it sees most of the walls that are not well seen yet.

    `clear` is the floor where nothing stands that hides the walls. A wall's foot counts by the cosine of incidence.
    """
    spots = np.arange(0.05, clear.exterior.length, 0.1)
    feet = shapely.get_coordinates(clear.exterior.interpolate(spots))
    along = shapely.get_coordinates(clear.exterior.interpolate(spots + 0.01)) - feet
    across = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    view = clear.buffer(1e-3)
    shapely.prepare(view)
    seen = np.zeros(len(feet))
    stations: list[tuple[float, float, float]] = []
    for _ in range(int(random.integers(3, 6))):
        trials = _places(random, clear, 12, (), 0.5)
        rays = feet - np.array(trials)[:, None]  # (trials, feet, 2)
        ranges = np.linalg.norm(rays, axis=2)
        worth = np.minimum(np.abs((rays * across).sum(axis=2)) / ranges / 0.4, 1.0)
        lines = shapely.linestrings([[(place, foot) for foot in feet] for place in trials])
        worth = worth * shapely.covers(view, lines)
        best = int(np.argmax((worth / (0.2 + seen)).sum(axis=1)))
        seen += worth[best]
        stations.append((*trials[best], float(random.uniform(1.3, 1.7))))
    return tuple(stations)


def _places(
    random: np.random.Generator,
    free: Polygon,
    count: int,
    stations: tuple[tuple[float, float, float], ...],
    clear: float,
) -> list[Place]:
    """Places on the floor, `clear` of walls where the room allows and of the stations."""
    found: list[Place] = []
    room = next(r for c in (clear, 0.35, 0.2) if not (r := free.buffer(-c)).is_empty)
    for _ in range(TRIES * count):
        place = Point(random.uniform(free.bounds[:2], free.bounds[2:]))
        if len(found) < count and room.contains(place) and all(place.distance(Point(s[:2])) > clear for s in stations):
            found.append((place.x, place.y))
    return found


def _wall(
    random: np.random.Generator,
    start: Floats,
    end: Floats,
    lowest: float,
    height: float,
    skirting: tuple[float, float] | None,
    beyond: list[Polygon],
) -> WallPlan:
    """A wall's surface and what is in it; the ground that its openings show is added to `beyond`."""
    length = float(np.linalg.norm(end - start))
    terms: list[tuple[float, ...]] = [slope(0.0, random.normal(0, 0.0015))]
    terms.append(bow(random.normal(0, 0.0012) * min(length, 4.0), length / 2, length))
    if random.random() < 0.4:
        terms.append(twist(random.normal(0, 0.0015), length / 2, height / 2, length, height))
    if random.random() < 0.4:
        terms.append(ripple(random.uniform(0.0002, 0.0012), random.uniform(0.6, 2.0), random.uniform(0, 180)))
    if random.random() < 0.3:
        place = random.uniform((0.2, 0.4), (max(0.3, length - 0.2), 0.8 * height))
        top = random.choice([-1, 1]) * random.uniform(0.001, 0.004)
        terms.append(bump(top, place[0], place[1], random.uniform(0.15, 0.6)))
    openings: list[OpeningPlan] = []
    taken: list[Polygon] = []
    for _ in range(int(random.integers(0, 1 + min(5, round(2 * length))))):
        opening = _opening(random, length, lowest)
        if opening is None:
            continue
        foot = opening.v or 0.0
        face = box(opening.u, foot, opening.u + opening.width, foot + opening.height)
        margin = (opening.casing or (0.0,))[0] + CLEAR_M
        ground = _ground(start, (end - start) / length, opening)
        if any(face.buffer(margin).intersects(other) for other in taken):
            continue
        if ground is not None and any(ground.intersects(other) for other in beyond):
            continue
        openings.append(opening)
        taken.append(face.buffer(margin - CLEAR_M))
        beyond += [] if ground is None else [ground]
    return WallPlan(_rows(terms), tuple(openings), skirting=skirting)


def _rows(terms: list[tuple[float, ...]]) -> Terms:
    return tuple(tuple(float(x) for x in term) for term in terms)


def _opening(random: np.random.Generator, length: float, lowest: float) -> OpeningPlan | None:
    """An opening somewhere on a wall of this length, or None where it has no room; its top stays under `lowest`."""
    kind = str(random.choice(["door", "window", "opening", "niche", "service", "service", "round"]))
    sizes = {
        "door": ((0.7, 1.95), (1.0, 2.15)),
        "window": ((0.5, 0.5), (1.8, 1.4)),
        "opening": ((0.6, 0.5), (1.3, 1.0)),
        "niche": ((0.25, 0.25), (0.8, 0.9)),
        "service": ((0.05, 0.05), (0.2, 0.15)),
        "round": ((0.07, 0.07), (0.15, 0.15)),
    }
    width, height = np.round(random.uniform(*sizes[kind]), 3)
    casing = (0.07, 0.016) if random.random() < 0.3 else None
    margin = CLEAR_M + (casing[0] if casing and kind in ("door", "window") else 0.0)
    top = max(lowest, 2.3) - 0.1 - margin
    if length < width + 2 * margin or height > top:
        return None
    u = float(random.uniform(margin, length - margin - width))
    v = float(random.uniform(min(0.25, top - height), top - height))
    size = (float(width), float(height))
    match kind:
        case "door":
            closed = random.random() < 0.4
            depth = float(random.uniform(0.04, 0.15))
            return OpeningPlan("door", u, *size, depth=depth, behind="solid" if closed else "space", casing=casing)
        case "window":
            depth = float(random.uniform(0.08, 0.25))
            returns = float(random.uniform(0.05, 0.4))
            return OpeningPlan("window", u, *size, v, depth, "pane", casing=casing, pane_returns=returns)
        case "opening":
            return OpeningPlan("opening", u, *size, v)
        case "niche":
            return OpeningPlan("niche", u, *size, v, float(random.uniform(0.08, 0.25)), "solid")
        case "round":
            return OpeningPlan("service", u, size[0], size[0], v, 0.2, "nothing", circle=True)
    return OpeningPlan("service", u, *size, v, float(random.uniform(0.04, 0.07)), "solid")


def _ground(start: Floats, along: Floats, opening: OpeningPlan) -> Polygon | None:
    """The ground beyond an opening that its sheets stand on, None where there is nothing beyond."""
    if opening.behind not in ("space", "pane"):
        return None
    back = np.array([-along[1], along[0]])
    middle = start + (opening.u + opening.width / 2) * along
    if opening.behind == "pane":
        half, near, far = 8.05, opening.depth + 5.9, opening.depth + 6.1
    else:
        half, near, far = opening.width / 2 + opening.space_side, 0.05, opening.depth + opening.space_depth
    corners = ((-half, near), (half, near), (half, far), (-half, far))
    return Polygon([middle + u * along + w * back for u, w in corners])


def _ceilings(random: np.random.Generator, shape: Polygon, height: float) -> tuple[CeilingPlan, ...]:
    if random.random() < 0.15:
        tilt = random.uniform(-0.15, 0.15, 2)
        least = min(float(p @ tilt) for p in np.asarray(shape.exterior.coords))
        return (CeilingPlan(height - least, (float(tilt[0]), float(tilt[1]))),)
    x0, y0, x1, _ = shape.bounds
    if random.random() < 0.15 and len(shape.exterior.coords) == 5:
        drop = ((x0 - 0.05, y0 - 0.05), (x0 - 0.05, y0 + 0.5), (x1 + 0.05, y0 + 0.5), (x1 + 0.05, y0 - 0.05))
        return (CeilingPlan(height), CeilingPlan(height - random.uniform(0.15, 0.3), area=drop, faces=True))
    return (CeilingPlan(height),)


def _furniture(
    random: np.random.Generator, free: Polygon, plan: tuple[Place, ...], walls: tuple[WallPlan, ...]
) -> tuple[Box, ...]:
    """Cupboards and shelves near the walls, tables anywhere; few stand before an opening."""
    boxes: list[Box] = []
    corners = np.array([*plan, plan[0]])
    ways = [np.linspace(corners[i], corners[i + 1], 2) for i in range(len(plan))]
    lengths = [float(np.linalg.norm(way[1] - way[0])) for way in ways]
    fronts = shapely.union_all(
        [
            LineString([way[0] + u * (way[1] - way[0]) / length for u in (opening.u, opening.u + opening.width)])
            for way, length, wall in zip(ways, lengths, walls, strict=True)
            for opening in wall.openings
        ]
    ).buffer(0.6)
    for _ in range(int(random.integers(0, 11))):
        width, depth, tall = (float(x) for x in random.uniform((0.3, 0.25, 0.4), (1.4, 0.7, 2.2)))
        bottom = float(random.choice([0.0, 0.0, 0.0, 1.4]))
        if random.random() < 0.6:  # with its back to a wall, a hand's breadth off at most
            at = int(random.integers(len(ways)))
            along = (ways[at][1] - ways[at][0]) / lengths[at]
            off = np.array([along[1], -along[0]]) * (random.uniform(0.0, 0.1) + depth / 2 + 0.02)
            middle = ways[at][0] + random.random() * lengths[at] * along + off
            turned = math.degrees(math.atan2(along[1], along[0]))
        else:
            middle = random.uniform(free.bounds[:2], free.bounds[2:])
            turned = float(random.uniform(0, 180))
        middle_at = (float(middle[0]), float(middle[1]))
        piece = Box(middle_at, (width, depth, min(tall, 2.2 - bottom)), turned, bottom)
        before = _foot(piece).intersects(fronts) and random.random() < 0.85
        others = any(_foot(piece).intersects(_foot(other)) for other in boxes)
        if free.buffer(-0.01).contains(_foot(piece)) and not before and not others:
            boxes.append(piece)
    return tuple(boxes)


def _foot(piece: Box) -> Polygon:
    """The ground that a piece of furniture covers."""
    (x, y), (width, depth, _) = piece.middle, piece.size
    foot = box(x - width / 2, y - depth / 2, x + width / 2, y + depth / 2)
    return shapely.affinity.rotate(foot, piece.yaw_deg, "center")
