"""Where a run of wall ends."""

import numpy as np
import pytest

from unfold.room.chains import _passed_ends


@pytest.mark.parametrize(
    ("hit", "passed", "ends"),
    [
        ("..HHHH", "pp....", "ee...."),  # the room goes on behind: an alcove begins
        ("..HHHH", "......", "......"),  # not known, as behind furniture: carried on to the corner
        ("HH..HH", "..pp..", "......"),  # an opening in the wall
        ("HHHH..", "....p.", "....ee"),
        ("......", "pppppp", "......"),
    ],
)
def test_a_wall_ends_where_the_room_goes_on_behind_its_line(hit: str, passed: str, ends: str) -> None:
    found = _passed_ends(np.array([c == "H" for c in hit]), np.array([c == "p" for c in passed]))
    assert "".join("e" if end else "." for end in found) == ends
