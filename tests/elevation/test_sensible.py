"""Which of the openings that were measured on a wall are listed."""

import numpy as np
import pytest

from unfold.elevation.outline import Outline
from unfold.elevation.result import Opening
from unfold.elevation.sensible import sensible


def rectangle(u0: float, v0: float, u1: float, v1: float, uncertainty: float = 0.5) -> Opening:
    ring = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
    return Opening("", "opening", ring, "rectangle", (u1 - u0, v1 - v0), None, "through", uncertainty, None)


OUTLINE = Outline(np.array([[0.0, 0.0], [3000.0, 0.0], [3000.0, 2500.0], [0.0, 2500.0]]), ())


@pytest.mark.parametrize(
    ("box", "listed"),
    [
        ((0.0, 0.0, 300.0, 2500.0), False),  # the wall ends before its outline does
        ((2700.0, 0.0, 2990.0, 2480.0), False),
        ((1000.0, 0.0, 1900.0, 2500.0), True),  # a passage as high as the room, wall on both sides
        ((0.0, 0.0, 900.0, 2050.0), True),  # a door in the corner
        ((100.0, 0.0, 1000.0, 2500.0), True),  # 100 mm of wall stand beside it
    ],
)
def test_no_opening_takes_a_wall_s_end_from_floor_to_ceiling(
    box: tuple[float, float, float, float], listed: bool
) -> None:
    assert len(sensible([rectangle(*box)], OUTLINE, 0.8)) == listed


def test_the_surest_of_two_measurements_of_one_opening_is_kept() -> None:
    one, other = rectangle(500.0, 800.0, 1100.0, 1300.0, 3.0), rectangle(502.0, 801.0, 1099.0, 1301.0, 0.6)
    assert sensible([one, other], OUTLINE, 0.8) == [other]


def test_what_is_hardly_wider_than_it_is_uncertain_is_left_out() -> None:
    assert not sensible([rectangle(500.0, 800.0, 550.0, 850.0, 12.0)], OUTLINE, 0.8)
