"""The rooms themselves are sound: nothing beyond an opening stands in a room, and what is seen is what should be."""

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from tests.simulate.building import build
from tests.simulate.generate import room_named
from tests.simulate.rooms import ROOMS

NAMES = [*ROOMS, *(f"random_{n}" for n in range(12))]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_beyond_an_opening_stands_in_a_room(name: str) -> None:
    building = build(room_named(name))
    outer = [Polygon(chain.corners) for chain in building.room.chains if chain.closed and len(chain.corners) > 2]
    rooms = shapely.union_all([ring for ring in outer if not ring.exterior.is_ccw]).buffer(-0.1)
    for sheet in building.sheets:
        if sheet.label in ("beyond", "hedge"):
            places = sheet.domain.exterior.segmentize(0.1)
            u, v = np.asarray(places.coords).T
            x, y, _ = sheet.points(u, v).T
            assert not shapely.contains_xy(rooms, x, y).any(), f"{sheet.label} of {name} stands in the room"


@pytest.mark.parametrize("name", NAMES)
def test_every_outline_is_simple_and_counter_clockwise_and_holds_its_openings(name: str) -> None:
    for wall in build(room_named(name)).walls:
        outline = Polygon(wall.outline.ring)
        assert outline.is_valid and outline.exterior.is_ccw
        for ring in wall.openings:
            assert outline.buffer(1e-6).covers(Polygon(ring.face))


@pytest.mark.parametrize("name", NAMES)
def test_neighbours_meet_in_one_line(name: str) -> None:
    building = build(room_named(name))
    for c, chain in enumerate(building.room.chains):
        walls = [wall for wall in building.walls if wall.chain == c]
        following = walls[1:] + walls[:1] if chain.closed else walls[1:]
        for wall, other in zip(walls, following, strict=False):
            side = wall.outline.sides[1]
            edge = wall.outline.ring[side.first : side.last + 1]
            gap = other.surface.gap(wall.surface.points(edge[:, 0], edge[:, 1]))
            assert len(walls) == 1 or np.abs(gap).max() < 1e-6
