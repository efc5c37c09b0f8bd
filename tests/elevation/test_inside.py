"""What lies behind a ring, told from rays at a slant and from points without stations."""

import numpy as np
import pytest

from tests.elevation.scenes import surface, upright, wall
from unfold.arrays import Floats
from unfold.elevation.candidates import Candidate
from unfold.elevation.collect import ZoneRays
from unfold.elevation.inside import look_inside, returned_share
from unfold.elevation.kinds import kind_of
from unfold.elevation.local_surface import LocalSurface, surface_around

SIZE, DEEP = np.array([600.0, 500.0]), 200.0
RING = np.array([[700.0, 800.0], [1300.0, 800.0], [1300.0, 1300.0], [700.0, 1300.0]])


def flat() -> LocalSurface:
    measured = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0))
    cells = np.zeros(measured.is_wall.shape, dtype=bool)
    cells[100:150, 90:150] = True
    return surface_around(measured, Candidate("behind", cells, (700.0, 800.0, 1300.0, 1300.0), 0.0, False, False), 0.0)


def slanted(seed: int, drift: float, passes: float) -> ZoneRays:
    """Rays that run `drift` mm along the wall per mm of depth into a recess 200 mm deep; a share passes its pane.

    What passed ends on the far side face of the hole behind, 90 mm deeper, or far away.
    """
    random = np.random.default_rng(seed)
    u, v = random.uniform(RING.min(axis=0) - 40.0, RING.max(axis=0) + 40.0, (6000, 2)).T
    within = (u > 700.0) & (u < 1300.0) & (v > 800.0) & (v < 1300.0)
    side = (1300.0 - u) / drift
    beyond = np.where(random.random(u.size) < passes, np.where(side < DEEP + 90.0, side, 2000.0), DEEP)
    depth = np.where(within, np.where(side < DEEP, side, beyond), 0.0) + random.normal(0, 0.8, u.size)
    return ZoneRays(u, v, np.full(u.size, -drift), np.zeros(u.size), -depth, np.zeros(u.size, np.int64), 1.0)


@pytest.mark.parametrize("drift", [0.3, 1.5, 2.5])
@pytest.mark.parametrize(("passes", "kind"), [(0.0, "niche"), (0.75, "window")])
def test_rays_that_end_on_a_side_face_tell_nothing_of_the_back(drift: float, passes: float, kind: str) -> None:
    # at a slant of 2.5 the far side face takes five rays of six: the others alone tell a back from a pane
    inside = look_inside(slanted(1, drift, passes), 0.0, flat(), RING, 0.8)
    assert inside is not None
    assert inside.depth_mm == pytest.approx(DEEP, abs=1.0)
    assert kind_of((600.0, 500.0), False, False, inside) == kind


@pytest.mark.parametrize(("share", "hidden", "expected"), [(1.0, 0.0, 1.0), (1.0, 0.3, 1.0), (0.2, 0.0, 0.2)])
def test_a_back_partly_hidden_by_its_jambs_still_returns_as_a_back(
    share: float, hidden: float, expected: float
) -> None:
    random = np.random.default_rng(2)
    u, v = random.uniform((640.0, 740.0), (1360.0, 1360.0), (20_000, 2)).T
    out: Floats = np.maximum.reduce([700.0 - u, u - 1300.0, 800.0 - v, v - 1300.0])
    seen = (out > 0) | ((u > 700.0 + hidden * 600.0) & (random.random(u.size) < share))
    u, v, out = u[seen], v[seen], out[seen]
    none, h = np.zeros(u.size), np.where(out > 0, 0.0, -DEEP)
    rays = ZoneRays(u, v, none, none, h, np.zeros(u.size, np.int64), 1.0)
    found = returned_share(rays.select(out > -45.0), rays.select(out <= -45.0), flat(), RING)
    assert found == pytest.approx(expected, rel=0.15)
