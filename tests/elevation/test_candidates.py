"""Rough openings: which cells of the wall belong to them."""

import numpy as np

from tests.elevation.scenes import surface, upright, wall
from unfold.elevation.candidates import find_candidates
from unfold.elevation.evidence import BEHIND, EMPTY, WALL, Evidence


def test_the_floor_seen_behind_a_wall_s_foot_widens_no_door() -> None:
    """A door of 800 mm, and beside its foot two rows of cells over 600 mm where floor points lie behind the wall."""
    grid = surface(wall("W1", upright((0, 0, 0), 0.0), 3.0)).grid
    inside = np.zeros((grid.rows, grid.columns), dtype=bool)
    inside[20:270, 20:320] = True
    kind = np.where(inside, WALL, EMPTY).astype(np.int8)
    kind[20:220, 100:180] = BEHIND
    kind[20:22, 180:240] = BEHIND
    evidence = Evidence(grid, kind, kind, np.full(kind.shape, 6.0), np.zeros(kind.shape, dtype=bool))
    floor = np.full(grid.columns, grid.v0_mm + 20 * grid.cell_mm)
    (door,) = find_candidates(evidence, np.where(kind == BEHIND, 3, 0), inside, floor)
    assert door.reaches_floor
    assert door.box_mm[2] - door.box_mm[0] == 800.0
