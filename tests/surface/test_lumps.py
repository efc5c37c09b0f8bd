"""The scan statistic for lumps: how often it invents one, what it finds, and what it leaves to others.

Sources: Bonferroni's inequality for the false alarms; the matched filter's own signal to noise, height times the root
of (points times the shape's mean square) over the scatter, for what can be found.
"""

from collections.abc import Callable

import numpy as np
import pytest

from unfold.arrays import Floats
from unfold.surface.lumps import SMALL_CELLS, find_lumps, smallest_lumps, threshold
from unfold.surface.result import Grid, Lump

SIDE = 130  # cells
SCATTER_MM = 0.8  # of a tripod's points at 2 m
DENSITY = 2 / 36.0  # points a mm2: two stations, 6 mm each
Shape = Callable[[Floats, Floats], Floats]


def searched(shape: Shape, seed: int, rounded: bool = True) -> list[Lump]:
    random = np.random.default_rng(seed)
    count = random.poisson(DENSITY * (10.0 * SIDE) ** 2)
    u, v = random.uniform(0, 10.0 * SIDE, (2, count))
    z = shape(u, v) + random.normal(0, SCATTER_MM, count)
    cell = (v // 10).astype(int) * SIDE + (u // 10).astype(int)
    n = np.bincount(cell, minlength=SIDE**2).reshape(SIDE, SIDE) / SCATTER_MM**2
    left = np.bincount(cell, z, SIDE**2).reshape(SIDE, SIDE) / SCATTER_MM**2
    grid, everywhere = Grid(5.0, 5.0, 10.0, SIDE, SIDE), np.ones((SIDE, SIDE), bool)
    return find_lumps(grid, n, left, everywhere, SMALL_CELLS, rounded=rounded)


def disc(height_mm: float, across_mm: float, middle: tuple[float, float]) -> Shape:
    return lambda u, v: np.where(np.hypot(u - middle[0], v - middle[1]) < across_mm / 2, height_mm, 0.0)


def test_the_threshold_is_that_of_a_normal_distribution() -> None:
    # two-sided 0.002 of one test: 3.0902 (NIST/SEMATECH e-Handbook, table of the normal distribution)
    assert threshold(1) == pytest.approx(3.0902, abs=1e-4)


def test_a_flat_wall_has_no_lump() -> None:
    assert sum(len(searched(lambda u, v: 0.0 * u, seed)) for seed in range(25)) == 0


def test_a_bump_of_30_mm_and_1_mm_is_found_in_its_place() -> None:
    # 39 points: 7.8 standard errors for the ideal filter, 5.7 are asked for
    told = 0
    for seed in range(20):
        middle = (500.0 + 13.0 * seed, 700.0 - 7.0 * seed)
        near = [
            x for x in searched(disc(1.0, 30.0, middle), seed) if np.hypot(x.u_mm - middle[0], x.v_mm - middle[1]) < 15
        ]
        told += len(near) == 1 and near[0].height_mm > 0
    assert told >= 16


def test_the_height_of_a_rounded_hollow_is_within_its_uncertainty() -> None:
    within = 0
    for seed in range(20):
        found = searched(
            lambda u, v: -2.0 * 0.5 * (1 + np.cos(np.pi * np.minimum(np.hypot(u - 640, v - 655) / 40, 1))), seed
        )
        assert len(found) == 1
        within += abs(found[0].height_mm + 2.0) <= 2.0 * found[0].standard_uncertainty_mm
    assert within >= 17


def test_a_ridge_gives_fewer_lumps_than_rounded_ones_would_need() -> None:
    # a joint 40 mm wide and 1 mm high all along the wall: lumps are no shape for it
    def ridge(u: Floats, v: Floats) -> Floats:
        return np.where(np.abs(u - 655) < 20, 1.0, 0.0)

    assert len(searched(ridge, 3, rounded=True)) < len(searched(ridge, 3, rounded=False))


def test_smaller_lumps_must_be_higher_to_be_found() -> None:
    stated = dict(smallest_lumps(100_000, SCATTER_MM, DENSITY, 0.0))
    # (5.74 + 2.05) standard errors of 0.8 / sqrt(39.3 * 0.1724): 2.4 mm at 30 mm (computed by hand)
    assert stated[30.0] == pytest.approx(2.4, abs=0.05) and stated[100.0] == pytest.approx(0.72, abs=0.02)
