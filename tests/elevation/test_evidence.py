"""What rays that met nothing prove of a wall: an opening, unless furniture before it swallowed them."""

from dataclasses import replace

import numpy as np
import pytest

from tests.elevation.scenes import surface, upright, wall
from unfold.elevation.absence import panes_set_aside
from unfold.elevation.candidates import Candidate, find_candidates
from unfold.elevation.evidence import gather_evidence
from unfold.surface.result import WallSurface


def covered_by_a_cupboard(lost_share: float) -> WallSurface:
    """A wall of 3 m of which a cupboard of 0.9 x 0.8 m hides a part; of its front a share gives no return."""
    made = surface(wall("W1", upright((0.0, 0.0, 0.0), 0.0), 3.0))
    u, v = np.meshgrid(made.grid.u_mm, made.grid.v_mm)
    hidden = (u > 1000) & (u < 1900) & (v < 800)
    rays = 3
    lost = np.where(hidden, np.random.default_rng(0).binomial(rays, lost_share, hidden.shape), 0).astype(np.uint32)
    blocked = np.where(hidden, rays - lost, 0).astype(np.uint32)
    hit = np.where(hidden, 0, made.rays.hit).astype(np.uint32)
    seen = replace(made.rays, hit=hit, through=lost.copy(), lost=lost, blocked=blocked)
    return replace(made, is_wall=~hidden, height_mm=np.where(hidden, np.nan, 0.0), rays=seen)


@pytest.mark.parametrize(("lost_share", "openings"), [(0.01, 0), (0.15, 0), (0.9, 1), (1.0, 1)])
def test_furniture_that_swallows_a_few_rays_is_no_opening(lost_share: float, openings: int) -> None:
    made = covered_by_a_cupboard(lost_share)
    behind = made.rays.recess + made.rays.through
    everywhere = np.ones(behind.shape, dtype=bool)
    found = find_candidates(gather_evidence(made), behind, everywhere, np.zeros(made.grid.columns))
    assert len(found) == openings


def test_a_ray_that_ended_behind_the_wall_proves_it_open_whatever_hides_it_from_elsewhere() -> None:
    made = covered_by_a_cupboard(0.3)
    assert made.rays.lost is not None
    none = np.zeros_like(made.rays.lost)
    made = replace(made, rays=replace(made.rays, lost=none))
    behind = made.rays.recess + made.rays.through
    everywhere = np.ones(behind.shape, dtype=bool)
    assert find_candidates(gather_evidence(made), behind, everywhere, np.zeros(made.grid.columns))


@pytest.mark.parametrize(("frame_mm", "kept"), [(60.0, 0), (10.0, 1)])
def test_a_hole_within_a_frame_is_its_pane_and_one_within_its_reveal_is_an_opening(frame_mm: float, kept: int) -> None:
    cells = np.zeros((4, 4), dtype=bool)
    hole = Candidate("absence", cells, (700.0, 1400.0, 1200.0, 1900.0), 0.0, False, False)
    box = (700.0 - frame_mm, 1400.0 - frame_mm, 1200.0 + frame_mm, 1900.0 + frame_mm)
    rough = Candidate("behind", cells, box, 0.0, False, False)
    assert len(panes_set_aside([hole], [rough])) == kept
