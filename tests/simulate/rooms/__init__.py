"""The rooms that accuracy is measured in, by name."""

from tests.simulate.rooms.plain import bathroom, bay_room, box_room, clutter_room, column_room, corridor
from tests.simulate.rooms.shapes import alcove, bulkhead, curved, foyer_wall, odd_angles, two_rooms, unlevelled
from tests.simulate.rooms.surfaces import bumps, diagonal, heating, in_feet, mapped, mirrors, near_tolerance
from tests.simulate.rooms.terminal import ferry_terminal

_MAKERS = (
    box_room, bay_room, column_room, clutter_room, corridor, bathroom,
    odd_angles, unlevelled, curved, bulkhead, two_rooms, foyer_wall, alcove,
    near_tolerance, diagonal, bumps, mirrors, heating, mapped, in_feet, ferry_terminal,
)  # fmt: skip
ROOMS = {maker().name: maker for maker in _MAKERS}
