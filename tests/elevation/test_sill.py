"""A window's sill board against rays that are cast at it in closed form."""

import numpy as np
import pytest

from tests.elevation.scenes import surface, upright, wall
from unfold.elevation.candidates import Candidate
from unfold.elevation.cases import Case
from unfold.elevation.collect import ZoneRays
from unfold.elevation.local_surface import surface_around
from unfold.elevation.shapes import Shape
from unfold.elevation.sill import with_sill_board

TOP, FRAME_MM = 920.0, 150.0  # v of the board's top, and how far the frame lies back
WINDOW = (600.0, TOP, 1800.0, 2100.0)


def rays_at_a_window(thick: float, proud: float, station: tuple[float, float, float], seed: int = 1) -> ZoneRays:
    """Rays from a station (u, v, h) to a wall at h = 0 with a window over v = 920, a board under it; 1 mm noise."""
    random = np.random.default_rng(seed)
    u, v = random.uniform((600.0, 860.0), (1800.0, 1000.0), (5000, 2)).T
    du, dv = (station[0] - u) / station[2], (station[1] - v) / station[2]
    on_top = (TOP - v) / dv  # the height over the wall at which a ray comes down to the board's top
    nose = v + dv * proud
    h = np.zeros(u.size)
    h = np.where((on_top < proud) & (on_top > -FRAME_MM), on_top, h)
    h = np.where(on_top <= -FRAME_MM, -FRAME_MM, h)
    h = np.where((nose > TOP - thick) & (nose < TOP), proud, h)
    h = np.where(nose <= TOP - thick, 0.0, h)
    length = np.sqrt(1.0 + du**2 + dv**2)
    return ZoneRays(u, v, du, dv, h + random.normal(0, 1.0, u.size) / length, np.zeros(u.size, np.int64), 1.0)


def measured(rays: ZoneRays) -> Shape | None:
    one = surface(wall("W1", upright((0, 0, 0), 0.0), 2.4))
    within = [(WINDOW[k] < axis) & (axis < WINDOW[k + 2]) for k, axis in enumerate((one.grid.u_mm, one.grid.v_mm))]
    cells = within[1][:, None] & within[0][None, :]
    candidate = Candidate("behind", cells, WINDOW, 0.0, False, False)
    ring = np.array([[600.0, TOP], [1800.0, TOP], [1800.0, 2100.0], [600.0, 2100.0]])
    shape = Shape("rectangle", ring, (1200.0, 1180.0), 0.4, ())
    case = Case(candidate, rays, rays.select(np.zeros(rays.u.size, bool)), 0.0)
    return with_sill_board(case, surface_around(one, candidate, 0.0), 3.0, shape)


@pytest.mark.parametrize("station", [(1200.0, 1500.0, 2500.0), (300.0, 1400.0, 1200.0)])
@pytest.mark.parametrize(("thick", "proud"), [(20.0, 25.0), (24.0, 30.0), (15.0, 12.0)])
def test_a_window_is_bounded_by_the_underside_of_its_sill_board(
    thick: float, proud: float, station: tuple[float, float, float]
) -> None:
    found = measured(rays_at_a_window(thick, proud, station))
    assert found is not None
    lower = float(found.ring[:2, 1].mean())
    assert abs(lower - (TOP - thick)) < max(1.5, 2.0 * found.standard_uncertainty_mm) < 4.0
    assert found.size_mm == pytest.approx((1200.0, 2100.0 - lower))


def test_a_window_without_a_board_keeps_its_edge() -> None:
    assert measured(rays_at_a_window(0.0, 0.001, (1200.0, 1500.0, 2500.0))) is None
