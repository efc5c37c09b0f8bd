"""Unrolling round columns past half a turn."""

import numpy as np
import pytest

from unfold.room.frame import WallFrame


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
