"""Telling a cloud seen from one place from others; unrolling round columns past half a turn."""

import numpy as np
import pytest

from tests.room.scenes import BOX_ROOM, room_points
from unfold.arrays import Floats
from unfold.room.cells import CellGrid, CellMoments
from unfold.room.frame import WallFrame
from unfold.room.viewpoint import density_exponent, hidden_share, is_viewpoint
from unfold.scan.result import Chunk

PLACE = np.array([1.1, 1.3, 1.4])


def folded(points: Floats) -> CellMoments:
    grid = CellGrid()
    grid.fold(Chunk(0, np.ascontiguousarray(points, np.float32), np.empty((0, 3), np.float32)))
    return grid.moments()


def seen_from(place: Floats, size: Floats, step_deg: float = 0.5) -> Floats:
    """Points of a box room of `size` seen from a place in even steps of angle: one in every direction."""
    turn, rise = np.meshgrid(np.radians(np.arange(0, 360, step_deg)), np.radians(np.arange(-85, 85, step_deg)))
    ahead = np.stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)], axis=-1).reshape(-1, 3)
    ahead = np.where(ahead == 0.0, 1e-12, ahead)
    reach = np.where(ahead > 0, (size - place) / ahead, -place / ahead).min(axis=1)
    return np.asarray(place + reach[:, None] * ahead)


def test_a_room_seen_from_one_place_is_told_from_one_sampled_evenly() -> None:
    size = np.array([4.0, 3.0, 2.5])
    assert is_viewpoint(folded(seen_from(PLACE, size)), PLACE)
    assert not is_viewpoint(folded(room_points(BOX_ROOM)), PLACE)


def test_two_places_hide_points_from_one_another() -> None:
    long = np.array([9.0, 3.0, 2.5])
    wall = np.c_[np.full(4000, 3.0), np.random.default_rng(2).uniform((0, 0), (2.2, 2.5), (4000, 2))]
    behind = seen_from(np.array([6.0, 1.5, 1.4]), long)
    cells = folded(np.concatenate([wall, seen_from(PLACE, np.array([3.0, 3.0, 2.5])), behind]))
    assert hidden_share(cells, PLACE) > 0.3
    assert density_exponent(folded(seen_from(PLACE, long)), PLACE) == pytest.approx(-2.0, abs=0.7)


@pytest.mark.parametrize("radius", [0.3, -0.3])
def test_a_cylinder_unrolls_all_the_way_round_and_back(radius: float) -> None:
    around = 2 * np.pi * 0.3
    up, right, inward = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, -1.0, 0.0])
    frame = WallFrame(np.array([1.0, 2.0, 0.0]), right, up, inward, radius, seam_m=0.0)
    u = np.linspace(0.0, 0.999 * around, 50)
    uvh = np.c_[u, np.full(50, 0.4), np.full(50, 0.01)]
    np.testing.assert_allclose(frame.uvh_from_level(frame.level_from_uvh(uvh)), uvh, atol=1e-9)
    # ISO 80000-3: arc = radius x angle; a quarter turn on R 1200 is 1884.96 mm
    quarter = WallFrame(np.zeros(3), right, up, inward, np.copysign(1.2, radius))
    end = quarter.level_from_uvh(np.array([[1.88496, 0.0, 0.0]]))[0]
    assert np.hypot(*end[:2]) == pytest.approx(1.2 * np.sqrt(2), abs=1e-5)
