"""The simulator's own claims, held against closed forms: what accuracy is measured with has to be right itself."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.simulate.building import build
from tests.simulate.heights import as_terms, bow, bump, heights_at, ripple, slope, twist
from tests.simulate.kernels import trace_all
from tests.simulate.room import CeilingPlan, Chain, RoomPlan, WallPlan
from tests.simulate.rooms import ROOMS
from tests.simulate.scanner import HANDHELD, TRIPOD, measure, scan_from_room
from tests.simulate.sheets import pack
from tests.simulate.straightedge import worst_straightedge
from tests.simulate.truth import truth_of
from tests.simulate.writers import placed
from unfold.arrays import Bools, Floats

CELL_MM = 10.0


def _grid(terms: list[tuple[float, ...]], width_m: float, height_m: float) -> Floats:
    u = (np.arange(round(width_m * 100)) + 0.5) / 100
    v = (np.arange(round(height_m * 100)) + 0.5) / 100
    uu, vv = np.meshgrid(u, v)
    heights: Floats = heights_at(as_terms(terms), uu.ravel(), vv.ravel()).reshape(uu.shape) * 1000
    return heights


@pytest.mark.parametrize("sagitta_mm", [10.0, -10.0])
@pytest.mark.parametrize(("length_mm", "gap_mm"), [(609.6, 0.287), (2000.0, 3.086), (3048.0, 7.168)])
def test_worst_straightedge_of_a_parabola(sagitta_mm: float, length_mm: float, gap_mm: float) -> None:
    # Sagitta s = c^2 / (8 R) of a bow of 10 mm in 3600 (computed); the same on a crown as equal gaps at both ends.
    height = _grid([bow(sagitta_mm / 1000, 1.8, 3.6)], 3.6, 0.3)
    worst = worst_straightedge(height, _everywhere(height), CELL_MM, length_mm)
    # the profile is sampled every 10 mm, so that the edge used is up to 10 mm short
    assert gap_mm * ((length_mm - CELL_MM) / length_mm) ** 2 - 0.005 <= worst.gap <= gap_mm + 0.005


@pytest.mark.parametrize(("length_mm", "gap_mm"), [(609.6, 1.025), (900.0, 1.707), (1500.0, 2.0)])
def test_worst_straightedge_of_a_sine(length_mm: float, gap_mm: float) -> None:
    # Amplitude 1 mm, wavelength 1200 mm: 1 - cos(pi L / 1200) up to one wavelength, then 2 mm (computed).
    height = _grid([ripple(0.001, 1.2)], 3.6, 0.3)
    worst = worst_straightedge(height, _everywhere(height), CELL_MM, length_mm)
    assert worst.gap == pytest.approx(gap_mm, abs=0.03)


def test_a_twisted_wall_is_straight_along_rows_and_columns_but_not_along_its_diagonal() -> None:
    height = _grid([twist(0.004, 1.5, 1.5, 3.0, 3.0)], 3.0, 3.0)
    along_diagonal = height[np.arange(300), np.arange(300)]
    assert np.ptp(np.diff(height, 2, axis=1)) < 1e-9  # rows are straight
    assert np.ptp(along_diagonal) == pytest.approx(4.0, rel=0.02)
    worst = worst_straightedge(height, _everywhere(height), CELL_MM, 3048.0)
    # h = 4 x y / 1500^2; along the diagonal h = 2 s^2 / 1500^2, and an edge of 3048 shows 2 (1524 / 1500)^2
    assert worst.gap == pytest.approx(2 * (1524 / 1500) ** 2, rel=0.02)
    assert min(abs(worst.angle_deg - 45), abs(worst.angle_deg - 135)) < 2


def test_a_tilted_plane_has_no_gap_and_openings_are_bridged() -> None:
    height = _grid([slope(0.01, -0.02)], 3.0, 2.0)
    valid = _everywhere(height)
    valid[40:120, 100:180] = False
    assert worst_straightedge(height, valid, CELL_MM, 2000.0).gap < 1e-9


def test_a_hollow_that_is_an_opening_does_not_count() -> None:
    height = _grid([bump(-0.01, 1.0, 0.2, 0.36)], 2.0, 0.4)
    valid = _everywhere(height)
    valid[:, 80:120] = False
    assert worst_straightedge(height, _everywhere(height), CELL_MM, 600.0).gap == pytest.approx(10.0, rel=0.02)
    assert worst_straightedge(height, valid, CELL_MM, 600.0).gap < 1e-9


def _everywhere(height: Floats) -> Bools:
    return np.ones(height.shape, bool)


def _room(terms: tuple[tuple[float, ...], ...] = (), radius: float | None = None) -> RoomPlan:
    corners = ((0.0, 0.0), (0.0, 3.0), (4.0, 3.0), (4.0, 0.0))
    walls = (WallPlan(), WallPlan(terms, radius=radius), WallPlan(), WallPlan())
    return RoomPlan("plain", "a plain room", (Chain(corners, walls),), ((2.0, 1.4, 1.4),), (CeilingPlan(2.5),))


@pytest.mark.parametrize("radius", [None, 3.0, -3.0])
def test_rays_end_on_the_smooth_surface_and_not_on_facets(radius: float | None) -> None:
    building = build(_room((bow(0.008, 2.0, 4.0), ripple(0.002, 0.7, 30)), radius))
    turn = np.linspace(math.radians(60), math.radians(120), 400)
    rays = np.column_stack([np.cos(turn), np.sin(turn), 0.1 * np.cos(5 * turn)])
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    ranges, sheets = trace_all(pack(building.sheets), 0, np.array([2.0, 1.4, 1.4]), rays, 40.0, np.ones(400))
    assert (sheets == 1).all()
    gap = building.walls[1].surface.gap(np.array([2.0, 1.4, 1.4]) + rays * ranges[:, None])
    assert np.abs(gap).max() < 1e-9


def test_the_noise_put_in_comes_out() -> None:
    building = build(_room((bow(0.005, 2.0, 4.0),)))
    quiet = replace(TRIPOD, spacing_m=0.02, noise_m=0.002, angle_noise=0.0, registration_m=0.0, registration_turn=0.0)
    scan = next(measure(building, quiet, 3))
    turn, offset = scan_from_room(building)
    gap = building.walls[1].surface.gap((placed(scan) - offset) @ turn)
    place = building.walls[1].surface.frame.uvh_from_level((placed(scan) - offset) @ turn)
    middle = (np.abs(gap) < 0.02) & (np.abs(place[:, 0] - 2.0) < 0.4) & (np.abs(place[:, 1] - 1.4) < 0.4)
    # range noise is noise_m (0.8 + 0.04 r) at right angles; r is 1.6 m here and incidence small
    assert middle.sum() > 500
    assert gap[middle].std() == pytest.approx(0.002 * (0.8 + 0.04 * 1.6), rel=0.1)
    assert abs(gap[middle].mean()) < 0.0003


def test_registration_moves_a_station_as_one_body() -> None:
    building = build(_room())
    wrong = replace(TRIPOD, spacing_m=0.03, noise_m=0.0, angle_noise=0.0, registration_m=0.01, registration_turn=0.0)
    scan = next(measure(building, wrong, 1))
    turn, offset = scan_from_room(building)
    shift = turn.T @ (scan.position - turn @ scan.true_position - offset)
    gap = building.walls[1].surface.gap((placed(scan) - offset) @ turn)
    on_wall = np.abs(gap - shift @ building.walls[1].surface.frame.inward) < 1e-6
    assert np.linalg.norm(shift) > 0.003
    assert on_wall.sum() > 1000


def test_one_seed_gives_one_scan_and_another_another() -> None:
    building = build(_room())
    coarse = replace(TRIPOD, spacing_m=0.05)
    first, again, other = (next(measure(building, coarse, seed)).points for seed in (1, 1, 2))
    assert np.array_equal(first, again)
    assert first.shape != other.shape or not np.array_equal(first, other)


def test_handheld_drift_is_as_large_as_stated() -> None:
    building = build(_room())
    turn, offset = scan_from_room(building)
    coarse = replace(HANDHELD, spacing_m=0.2)
    drift = np.array([scan.position - turn @ scan.true_position - offset for scan in measure(building, coarse, 1)])
    assert math.sqrt(float((drift**2).sum(axis=1).mean())) == pytest.approx(0.005, rel=1e-6)
    assert np.linalg.norm(np.diff(drift, axis=0), axis=1).max() < 0.004


def test_unrolled_cylinder_has_the_arc_for_its_width() -> None:
    # R = 3 m over a chord of 4 m: arc = 2 R asin(c / 2 R) (computed).
    wall = build(_room(radius=3.0)).walls[1]
    width = np.ptp(wall.outline.ring[:, 0])
    assert width == pytest.approx(2 * 3.0 * math.asin(4.0 / 6.0), abs=1e-6)


def test_truth_of_the_box_room() -> None:
    building = build(ROOMS["box"]())
    document, walls = truth_of(building, TRIPOD)
    assert document["room"]["floor_area_mm2"] == pytest.approx(4.2e3 * 3.2e3, rel=0.003)
    west = walls[0]
    assert west.flatness["lean_mm_per_m"] == pytest.approx(1.0, abs=0.02)
    assert west.flatness["bow_horizontal_mm"] == pytest.approx(4.0, rel=0.02)
    # 4 mm bow in 3200 under 3048: 4 (3048 / 3200)^2 = 3.63
    assert west.flatness["straightedge"][0]["worst_mm"] == pytest.approx(3.63, rel=0.02)
    assert west.elevation["area_mm2"] == pytest.approx(
        Polygon(west.elevation["outline"]).area - 80 * 80 - 90 * 150, abs=1
    )
    assert [edge["kind"] for edge in west.elevation["edges"]] == ["floor", "inside_corner", "ceiling", "inside_corner"]


def test_what_furniture_hides_is_unseen_and_the_rest_is_seen() -> None:
    _, walls = truth_of(build(ROOMS["clutter"]()), TRIPOD)
    hidden = walls[0].elevation["unseen"]
    cupboard = max((Polygon(ring) for ring in hidden), key=lambda ring: ring.area)
    assert 1.2e6 < cupboard.area < 4e6  # a cupboard 1.4 m wide and 2.25 m high, and its shadow
    assert 0.4 < walls[0].elevation["seen_share"] < 0.8


def test_map_coordinates_keep_their_millimetres() -> None:
    building = build(replace(ROOMS["mapped"](), stations=((1.2, 1.2, 1.5),)))
    coarse = replace(TRIPOD, spacing_m=0.05, noise_m=0.0, registration_m=0.0, registration_turn=0.0, angle_noise=0.0)
    scan = next(measure(building, coarse, 0))
    turn, offset = scan_from_room(building)
    gap = building.walls[2].surface.gap((placed(scan) - offset) @ turn)
    assert (np.abs(gap) < 2e-6).sum() > 500
