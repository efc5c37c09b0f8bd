"""How often the true worst of a straightedge lies within twice its stated standard uncertainty.

`python -m tests.benchmarks.straightedge_coverage --walls 60` makes walls of many shapes, scans each at point noises
of 1, 5 and 10 mm, measures them with the surface stage, and prints a table for docs/surface.md. The truth is the same
search on the wall without noise.
"""

import argparse
from typing import cast

import numpy as np
from scipy import ndimage

from tests.surface.made_room import Height, made_scan, wall_between
from unfold.arrays import Bools, Floats
from unfold.scan import Scan
from unfold.settings.surface import SurfaceSettings
from unfold.surface import measure_surfaces
from unfold.surface.blocks import block_sums
from unfold.surface.result import WallSurface
from unfold.surface.straightedge import HeightField, coarse_step_mm, worst_straightedge

WALL = wall_between("W1", (4.2, 0.0), (0.0, 0.0), 2.6)
WIDTH, HEIGHT = 4200.0, 2600.0
KINDS = ("flat", "bow", "twist", "wave", "lumps", "rough")


def shape(kind: str, random: np.random.Generator) -> Height:
    """A wall's true heights, mm."""
    a, b, c, d = random.uniform(-1, 1, 4)
    if kind == "rough":
        table = ndimage.gaussian_filter(random.normal(size=(300, 460)), random.uniform(15, 40))
        table *= random.uniform(0.3, 1.0) / table.std()
        return lambda u, v: np.asarray(ndimage.map_coordinates(table, [v / 10 + 10, u / 10 + 10], order=1))
    turn, length, phase = random.uniform(0, np.pi), random.uniform(600, 2000), random.uniform(0, 6)
    lumps = [
        (random.uniform(300, 3900), random.uniform(300, 2300), random.uniform(150, 500), random.uniform(-3, 3))
        for _ in range(3)
    ]

    def height(u: Floats, v: Floats) -> Floats:
        x, y = 2 * u / WIDTH - 1, 2 * v / HEIGHT - 1
        if kind == "bow":
            return np.asarray(6 * a * (1 - x * x) + 4 * b * (1 - y * y))
        if kind == "twist":
            return np.asarray(6 * a * x * y + 3 * b * (1 - x * x))
        if kind == "wave":
            along = u * np.cos(turn) + v * np.sin(turn)
            return np.asarray((0.4 + abs(a)) * np.sin(2 * np.pi * along / length + phase) + 3 * c * (1 - x * x))
        if kind == "lumps":
            rises = [
                h * 0.5 * (1 + np.cos(np.pi * np.minimum(np.hypot(u - p, v - q) / r, 1.0))) for p, q, r, h in lumps
            ]
            return np.asarray(np.sum(rises, axis=0) + 3 * d * (1 - x * x))
        return np.zeros_like(u)

    return height


def true_worst(height: Height, wall: WallSurface, is_wall: Bools, length_mm: float) -> float:
    """The worst of the wall without noise, over the cells that were measured."""
    grid = wall.grid
    u, v = np.meshgrid(grid.u_mm, grid.v_mm)
    exact = height(u.ravel(), v.ravel()).reshape(u.shape)
    ratio = round(coarse_step_mm(length_mm, grid.cell_mm) / grid.cell_mm)
    inside = block_sums(is_wall, ratio)
    blocks = block_sums(np.where(is_wall, exact, 0.0), ratio) / np.maximum(inside, 1.0)
    field = HeightField(blocks, inside >= 0.5 * ratio * ratio, ratio * grid.cell_mm)
    found = worst_straightedge(
        field, HeightField(exact, is_wall, grid.cell_mm), lambda: blocks[None].repeat(2, 0), length_mm, 1e9
    )
    assert found is not None
    return found[1].gap_mm


def one(kind: str, noise_mm: float, seed: int) -> list[tuple[float, float, float, float]]:
    """(length, error, stated u, true worst) of each rule on one made wall."""
    height = shape(kind, np.random.default_rng([seed, 77]))
    scan, room = made_scan(
        WALL, height, noise_mm, stations=2, offsets_mm=tuple(np.random.default_rng(seed).normal(0, 0.2, 2)), seed=seed
    )
    wall = measure_surfaces(cast(Scan, scan), room, SurfaceSettings()).walls[0]
    rows = []
    for edge in wall.straightedges:
        assert edge.worst is not None
        truth = true_worst(height, wall, wall.is_wall, edge.length_mm)
        rows.append((edge.length_mm, edge.worst.value - truth, edge.worst.standard_uncertainty, truth))
    return rows


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walls", type=int, default=60)
    parser.add_argument("--noise-mm", type=float, nargs="*", default=[1.0, 5.0, 10.0])
    arguments = parser.parse_args()
    print("| noise | straightedge | within 2 u | mean error | rms error | median u |\n|---|---|---|---|---|---|")
    for noise_mm in arguments.noise_mm:
        kinds = [KINDS[seed % len(KINDS)] for seed in range(arguments.walls)]
        rows = [(kind, *row) for seed, kind in enumerate(kinds) for row in one(kind, noise_mm, seed)]
        for length_mm in (3048.0, 609.6):
            table = np.array([row[2:] for row in rows if row[1] == length_mm])
            _line(f"{noise_mm:.0f} mm", f"{length_mm:.1f} mm", table)
            for kind in KINDS:
                _line("", kind, np.array([row[2:] for row in rows if row[1] == length_mm and row[0] == kind]))


def _line(noise: str, what: str, table: Floats) -> None:
    if len(table):
        error, u = table[:, 0], table[:, 1]
        share = np.mean(np.abs(error) <= 2 * u)
        rms = np.sqrt(np.mean(error**2))
        cells = (
            noise,
            what,
            f"{100 * share:.0f} % of {len(table)}",
            f"{error.mean():+.3f}",
            f"{rms:.3f}",
            f"{np.median(u):.3f}",
        )
        print(f"| {' | '.join(cells)} |")


if __name__ == "__main__":
    main()
