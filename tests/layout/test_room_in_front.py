"""The room before a panel's place: bulkheads over the strip where it is tipped, and side walls that close in on it."""

import numpy as np
import pytest

from tests.layout.sample_walls import ticket_hall
from tests.layout.test_corners_in_plan import room
from unfold.arrays import Floats
from unfold.layout.handling import PanelBody, Place, assess_handling
from unfold.layout.passage import Passage, longest_round_corner_mm
from unfold.layout.room_in_front import Ceiling, ceiling_before, least_play_beside_mm
from unfold.layout.tip_in import NO_FRAME, LiftingFrame
from unfold.layout.wall_face import WallFace


def soffit(before_mm: float, height_mm: float, behind_mm: float = 2700.0) -> Ceiling:
    """A ceiling of 2.7 m with a bulkhead that begins at a depth and goes on into the room."""
    depth = np.arange(50.0, 4001.0, 50.0)
    return Ceiling(depth, np.where(depth >= before_mm, height_mm, behind_mm))


@pytest.mark.parametrize(("before", "height"), [(400.0, 1500.0), (600.0, 1700.0), (300.0, 1900.0)])
def test_under_a_soffit_a_panel_goes_top_first_as_a_ladder_round_a_corner(before: float, height: float) -> None:
    # The gap behind the soffit and the height under it are two corridors. The soffit counts up to two steps wider.
    longest = longest_round_corner_mm(before, height, 6.0)
    surely = longest_round_corner_mm(before - 100.0, height, 6.0)
    assert not soffit(before, height, 4000.0).lets_tip_in(longest + 20.0, 6.0, NO_FRAME)
    assert soffit(before, height, 4000.0).lets_tip_in(surely - 20.0, 6.0, NO_FRAME)


def test_what_stands_up_under_the_soffit_passes_it() -> None:
    assert soffit(100.0, 2300.0).lets_tip_in(2250.0, 6.0, NO_FRAME)
    # hypot(2290, 6 + 250) = 2304.3 with a frame down to the foot: it cannot turn under 2300.
    assert not soffit(100.0, 2300.0).lets_tip_in(2290.0, 6.0, LiftingFrame(250.0, 0.0))


def test_a_soffit_far_out_is_passed_with_the_foot_at_the_wall() -> None:
    # The top swings on a circle of 2000: 1700 out it is hypot(2000, -1700) = 1054 high, under a soffit at 1200.
    assert np.sqrt(2000.0**2 - 1600.0**2) == pytest.approx(1200.0)
    assert soffit(1800.0, 1200.0).lets_tip_in(2000.0, 6.0, NO_FRAME)


def test_a_low_ceiling_leaves_the_answer_open() -> None:
    panel, door = PanelBody(1000.0, 2600.0, 6.0, 37.4), [Passage("door", 915.0, 2040.0)]
    assert assess_handling(panel, door, Place(3.0, 97.0, soffit(500.0, 2600.0))).fits_in is True
    result = assess_handling(panel, door, Place(3.0, 97.0, soffit(100.0, 1800.0)))
    assert result.fits_in is None
    assert any("comes down to 1800 mm" in note for note in result.notes)


def test_a_bulkhead_is_read_from_the_side_walls() -> None:
    # W3's ceiling drops by 400 over the 700 next to W4: so it does over the strip before W4.
    faces = [WallFace(wall) for wall in ticket_hall().elevations.walls]
    found = ceiling_before(faces, faces[3], 3000.0, 2000.0)
    assert found is not None
    near = found.depth_mm < 700.0
    assert found.height_mm[near] == pytest.approx(2300.0, abs=5.0)
    assert found.height_mm[found.depth_mm > 760.0] == pytest.approx(2700.0, abs=8.0)
    plain = ceiling_before(faces, faces[1], 3000.0, 2000.0)
    assert plain is not None and plain.height_mm == pytest.approx(2700.0, abs=8.0)  # edges bow by up to 4 mm


def rectangle(left: float, low: float, right: float, high: float) -> Floats:
    return np.array([[left, low], [right, low], [right, high], [left, high]])


def test_side_walls_that_close_in() -> None:
    # Before the wall of 1100 the room narrows by 0.1 a mm of depth; 1487.5 is the middle of the last of 60 rows.
    faces = [WallFace(wall) for wall in room([(0.0, 0.0), (0.1, 2.0), (1.0, 2.0), (1.1, 0.0)]).elevations.walls]
    play = least_play_beside_mm(faces[3], faces, rectangle(5.0, 0.0, 1095.0, 1500.0), 0.0)
    assert play == pytest.approx(10.0 - 0.1 * 1487.5, abs=0.01)
    # Before the opposite wall it widens: the least is at the wall itself, but for the first row's place out of it.
    play = least_play_beside_mm(faces[1], faces, rectangle(5.0, 0.0, 895.0, 1500.0), 0.0)
    assert play == pytest.approx(10.0, abs=0.01)
    panel, door = PanelBody(1090.0, 1500.0, 6.0, 23.5), [Passage("door", 915.0, 2040.0)]
    assert assess_handling(panel, door, Place(3.0, 1000.0, play_mm=play)).fits_in is True
    result = assess_handling(panel, door, Place(3.0, 1000.0, play_mm=-138.75))
    assert result.fits_in is None and any("close in on it by 139 mm" in note for note in result.notes)


def test_without_a_wall_on_both_sides_there_is_room_beside() -> None:
    faces = [WallFace(wall) for wall in room([(0.0, 0.0), (0.1, 2.0), (1.0, 2.0), (1.1, 0.0)]).elevations.walls]
    assert least_play_beside_mm(faces[3], faces[2:], rectangle(5.0, 0.0, 1095.0, 1500.0), 0.0) is None
