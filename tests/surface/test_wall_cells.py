"""Fittings, lumps and what may be either, on the raster of a made wall."""

import numpy as np
import pytest

from tests.surface.made_room import Height, made_scan, wall_between
from tests.surface.test_measure import codes
from unfold.arrays import Floats
from unfold.findings import Finding
from unfold.settings.surface import SurfaceSettings
from unfold.surface import measure_surfaces
from unfold.surface.result import WallSurface

WALL = wall_between("W1", (3.6, 0.0), (0.0, 0.0), 2.5)


def measured(
    height: Height, radius_m: float | None = None, beside: bool = False
) -> tuple[WallSurface, tuple[Finding, ...]]:
    wall = WALL if radius_m is None else wall_between("W1", (3.6, 0.0), (0.0, 0.0), 2.5, radius_m)
    scan, room = made_scan(wall, height, 1.0, beside=beside)
    result = measure_surfaces(scan, room, SurfaceSettings())  # type: ignore[arg-type]
    return result.walls[0], result.findings


def bump(height_mm: float, across_mm: float, u_mm: float = 1800.0, v_mm: float = 1300.0) -> Height:
    def rise(u: Floats, v: Floats) -> Floats:
        away = np.minimum(np.hypot(u - u_mm, v - v_mm) / (across_mm / 2), 1.0)
        return np.asarray(height_mm * 0.5 * (1 + np.cos(np.pi * away)))

    return rise


def block(height_mm: float, across_mm: float, run_mm: float) -> Height:
    def rise(u: Floats, v: Floats) -> Floats:
        inside = across_mm / 2 - np.maximum(np.abs(u - 1800.0), np.abs(v - 1300.0))
        return np.asarray(height_mm * np.clip(inside / run_mm, 0.0, 1.0))

    return rise


@pytest.mark.parametrize("across_mm", [40.0, 55.0, 80.0, 150.0, 300.0])
@pytest.mark.parametrize("height_mm", [3.0, -4.0])
def test_a_lump_of_plaster_never_conforms(height_mm: float, across_mm: float) -> None:
    # 3 mm are more than 1/16 in under any edge of 24 in that rocks on it
    wall, _ = measured(bump(height_mm, across_mm))
    assert wall.straightedges[1].verdict != "conforms"


@pytest.mark.parametrize("place", [(0.0, 1300.0), (3600.0, 900.0), (1800.0, 0.0), (1000.0, 2500.0)])
@pytest.mark.parametrize("across_mm", [100.0, 150.0, 300.0])
@pytest.mark.parametrize("height_mm", [3.5, -4.5])
def test_half_a_lump_at_an_edge_never_conforms(height_mm: float, across_mm: float, place: tuple[float, float]) -> None:
    wall, _ = measured(bump(height_mm, across_mm, *place), beside=True)
    assert wall.straightedges[1].verdict != "conforms"


def test_nothing_is_found_at_the_edges_of_a_flat_wall() -> None:
    wall, _ = measured(bump(0.0, 100.0), beside=True)
    assert wall.verdict == "conforms" and not wall.lumps


def test_a_cover_plate_is_no_part_of_the_wall() -> None:
    wall, findings = measured(block(8.0, 86.0, 1.0))
    assert wall.verdict == "conforms" and "things-on-wall" in codes(findings) and "doubtful-lump" not in codes(findings)


def test_a_sharp_patch_of_3_mm_does_not_conform() -> None:
    wall, _ = measured(block(3.0, 100.0, 4.0))
    assert wall.straightedges[1].verdict != "conforms"


def test_a_patch_with_a_bevel_is_doubtful_and_in_the_uncertainty() -> None:
    wall, findings = measured(block(6.0, 150.0, 30.0))
    short = wall.straightedges[1]
    assert "doubtful-lump" in codes(findings) and any(lump.doubtful for lump in wall.lumps)
    assert short.verdict == "cannot be decided" and short.worst is not None
    for true_mm in (0.0, 6.0):
        assert abs(short.worst.value - true_mm) <= 2.0 * short.worst.standard_uncertainty


@pytest.mark.parametrize("step_mm", [2.0, -2.5, 4.0])
def test_a_step_at_a_board_joint_is_caught(step_mm: float) -> None:
    wall, _ = measured(lambda u, v: np.where(u > 1500.0, step_mm, 0.0))
    assert wall.straightedges[1].verdict != "conforms"
    assert wall.straightedges[1].worst is not None and wall.straightedges[1].worst.value > 0.8 * abs(step_mm)


def test_a_bow_reaches_the_walls_edges() -> None:
    # 4 mm over the whole height of 2.5 m: the edge is as long as the wall is high
    wall, _ = measured(lambda u, v: 4.0 * (1 - ((v - 1250.0) / 1250.0) ** 2))
    worst = wall.straightedges[0].worst
    assert worst is not None and worst.value == pytest.approx(4.0, abs=0.1)


@pytest.mark.parametrize(("sagitta_mm", "verdict"), [(1.0, "conforms"), (9.0, "does not conform")])
def test_a_template_is_laid_around_a_curved_wall(sagitta_mm: float, verdict: str) -> None:
    # radius 3 m: a wave of the given height and 1.2 m length stands under a template of 45 degrees, 2356 mm
    wall, findings = measured(lambda u, v: 0.5 * sagitta_mm * np.sin(2 * np.pi * u / 1200.0), 3.0)
    edge = wall.straightedges[0]
    assert "curved" in codes(findings) and edge.verdict == verdict
    assert edge.template_radius_mm == pytest.approx(3000.0) and edge.angle_deg == 0.0
    assert edge.worst is not None
    assert edge.worst.value == pytest.approx(sagitta_mm, abs=2.0 * edge.worst.standard_uncertainty)
