"""Boxes in a row, and rays that met another side face than the one that is placed."""

import numpy as np
import pytest

from unfold.elevation.local_rays import LocalRays
from unfold.elevation.shapes import fit_rectangle
from unfold.elevation.webs import part_at_webs


def rays_into_boxes(starts: tuple[float, ...], size: float, slant: float, seed: int = 0) -> LocalRays:
    """Rays 5 mm apart from two stations, `slant` to either side, into boxes 50 mm deep; exact but for 0.8 mm noise."""
    random = np.random.default_rng(seed)
    a, b = (one.ravel() for one in np.meshgrid(np.arange(-60.0, 400.0, 5.0), np.arange(-50.0, size + 50.0, 5.0)))
    parts = []
    for drift in (slant, -slant):
        u, v = a + random.uniform(0, 5), b + random.uniform(0, 5)
        depth = np.zeros(u.size)
        for start in starts:
            inside = (u > start) & (u < start + size) & (v > 0) & (v < size)
            room = np.where(drift > 0, start + size - u, u - start)
            depth = np.where(inside, np.minimum(50.0, room / abs(drift)), depth)
        parts.append((u, v, np.full(u.size, drift), np.zeros(u.size), depth + random.normal(0, 0.8, u.size)))
    u, v, da, db, depth = (np.concatenate(one) for one in zip(*parts, strict=True))
    return LocalRays(u, v, da, db, depth, np.zeros(u.size, np.int64))


def test_a_row_is_parted_at_its_webs_and_a_single_box_is_not() -> None:
    rays = rays_into_boxes((0.0, 72.0, 144.0), 60.0, 0.4)
    parts = part_at_webs(rays, (0.0, 0.0, 204.0, 60.0), 2.5)
    assert [round(box[0] / 36) for box, _ in parts] == [0, 2, 4]
    single = rays_into_boxes((0.0,), 150.0, 0.4)
    assert len(part_at_webs(single, (0.0, 0.0, 150.0, 150.0), 2.5)) == 1


@pytest.mark.parametrize("slant", [0.3, 1.5])
def test_rays_on_the_other_side_face_do_not_draw_an_edge_inward(slant: float) -> None:
    errors, within = [], []
    for seed in range(10):
        rays = rays_into_boxes((0.0,), 70.0, slant, seed)
        shape = fit_rectangle(rays, (-4.0, -3.0, 75.0, 74.0), 0.0, 2.5, True, None)
        errors.append(shape.size_mm[0] - 70.0)
        within.append(abs(errors[-1]) < 2 * shape.standard_uncertainty_mm)
    assert np.sqrt(np.mean(np.square(errors))) < 1.5
    assert np.mean(within) >= 0.8
