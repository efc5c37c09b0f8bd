"""The swept shape of a panel that is stood up, against geometry worked by hand and against brute force."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from unfold.layout.handling import PanelBody, Place, assess_handling
from unfold.layout.passage import Passage
from unfold.layout.tip_in import NO_FRAME, LiftingFrame, swept_height_mm


def test_bare_panel_sweeps_its_side_diagonal() -> None:
    # hypot(2700, 12) = 2700.0267 mm: thickness alone hardly counts.
    assert swept_height_mm(2700.0, 12.0) == pytest.approx(math.hypot(2700.0, 12.0), abs=1e-9)
    assert swept_height_mm(2700.0, 12.0) - 2700.0 == pytest.approx(12.0**2 / 5400.0, rel=1e-3)


def test_frame_down_to_the_foot_sweeps_its_own_diagonal() -> None:
    # hypot(2700, 12 + 150) = 2704.856 mm: 4.86 mm of gap are needed.
    frame = LiftingFrame(150.0, 0.0)
    assert swept_height_mm(2700.0, 12.0, frame) == pytest.approx(2704.8556, abs=1e-4)
    body = PanelBody(1200.0, 2700.0, 12.0, 93.0)
    door = [Passage("door", 915.0, 2040.0)]
    assert assess_handling(body, door, Place(2.0, 2.9), frame).fits_in is True
    assert assess_handling(body, door, Place(2.0, 2.8), frame).fits_in is False


def test_short_panel_with_a_frame_far_up_hangs_over_it() -> None:
    # From atan(100 / 400) = 14.04 deg on the frame is lower than the foot: at 30 deg 500 cos 30 + 412 sin 30 = 639.0,
    # the most at atan(412 / 500) is hypot(500, 412) = 647.9 mm; over the foot it is hypot(600, 12) = 600.1 mm.
    assert swept_height_mm(600.0, 12.0, LiftingFrame(400.0, 100.0)) == pytest.approx(math.hypot(500.0, 412.0), abs=1e-9)


def brute_force_mm(height: float, thickness: float, frame: LiftingFrame) -> float:
    """Turn all corners through a quarter in fine steps; take the greatest height over the lowest corner."""
    corners = [(0.0, 0.0), (0.0, thickness), (height, 0.0), (height, thickness)]
    if frame.depth_mm > 0.0:
        corners += [(frame.above_foot_mm, thickness + frame.depth_mm), (height, thickness + frame.depth_mm)]
    along, out = np.array(corners).T  # up the panel, and out of its back
    angle = np.linspace(0.0, math.pi / 2, 20001)[:, None]
    heights = along * np.cos(angle) - out * np.sin(angle)  # the front faces the floor as it leans into the room
    return float(np.max(np.ptp(heights, axis=1)))


@given(
    st.floats(200.0, 4000.0), st.floats(3.0, 30.0), st.floats(0.0, 400.0), st.floats(0.0, 0.9),
)  # fmt: skip
def test_closed_form_equals_brute_force(height: float, thickness: float, depth: float, share: float) -> None:
    frame = LiftingFrame(depth, share * height)
    wanted = brute_force_mm(height, thickness, frame)
    assert swept_height_mm(height, thickness, frame) == pytest.approx(wanted, abs=1e-3)


def test_a_frame_of_no_depth_is_none() -> None:
    assert swept_height_mm(2000.0, 6.0, LiftingFrame(0.0, 300.0)) == swept_height_mm(2000.0, 6.0, NO_FRAME)


def test_negative_frames_are_faults() -> None:
    with pytest.raises(ValueError, match="negative"):
        LiftingFrame(-1.0, 0.0)
