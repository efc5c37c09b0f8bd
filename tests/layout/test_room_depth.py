"""The depth of rooms whose plan is known."""

import numpy as np
import pytest

from tests.drawing.sample_job import WallPlan, sample_job
from unfold.layout.room_depth import depth_in_front_mm

# A room 6 m along x and 4 m along y, walked round clockwise seen from above, with a stub wall standing in at the right.
ROOM = (
    WallPlan((0, 0), (0, 4)),
    WallPlan((0, 4), (6, 4)),
    WallPlan((6, 4), (6, 0)),
    WallPlan((6, 0), (4, 0)),
    WallPlan((4, 0), (4, 1)),
    WallPlan((4, 1), (3.8, 1)),
    WallPlan((3.8, 1), (3.8, 0)),
    WallPlan((3.8, 0), (0, 0)),
)


def test_depths_of_a_room_by_hand() -> None:
    elevations = sample_job(ROOM).elevations
    walls = {wall.id: wall for wall in elevations.walls}
    # W1 looks along +x: 6 m, but 3.8 m where the stub stands; its u runs along +y.
    assert depth_in_front_mm(elevations, walls["W1"], 1500.0, 2500.0) == pytest.approx(6000.0, abs=1.0)
    assert depth_in_front_mm(elevations, walls["W1"], 500.0, 1500.0) == pytest.approx(3800.0, abs=1.0)
    # W2 looks along -y: 4 m, and 3 m over the stub's end at x = 3.8 to 4.0.
    assert depth_in_front_mm(elevations, walls["W2"], 1000.0, 2000.0) == pytest.approx(4000.0, abs=1.0)
    assert depth_in_front_mm(elevations, walls["W2"], 3850.0, 3950.0) == pytest.approx(3000.0, abs=1.0)


def test_what_lies_beyond_the_walls_is_not_known() -> None:
    elevations = sample_job(ROOM[:1]).elevations
    assert depth_in_front_mm(elevations, elevations.walls[0], 1000.0, 2000.0) is None


def test_a_round_wall_counts_by_its_chord() -> None:
    elevations = sample_job((WallPlan((0, 0), (0, 4)), WallPlan((3, 4), (3, 0), radius_m=10.0))).elevations
    depth = depth_in_front_mm(elevations, elevations.walls[0], 1900.0, 2100.0)
    assert depth == pytest.approx(3000.0, abs=2.0)
    assert np.isfinite(depth or np.nan)
