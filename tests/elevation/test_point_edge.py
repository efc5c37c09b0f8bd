"""Edges and rings placed from points alone: the truth over many seeds, and a plain twin of the compiled loop."""

import numpy as np
import pytest
from scipy.special import ndtr

from unfold.arrays import Floats
from unfold.elevation.circle import fit_circle, ring_likelihood
from unfold.elevation.edge_kernels import end_log_likelihood
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.local_rays import LocalRays
from unfold.elevation.point_edge import end_of_points
from unfold.elevation.shapes import fit_rectangle, place_at_end

NONE = EdgeRays(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))


def points_at_edge(random: np.random.Generator, edge: float, length: float, hidden: float, depth: float) -> EdgeRays:
    """Points without station beside a recess: the front to its edge, a back that is hidden up to `hidden` from it."""
    count = int(length * 80 / 20.0)
    t, x = random.uniform(-length / 2, length / 2, count), random.uniform(-40, 40, count)
    deep = np.where(x > edge, depth, 0.0)
    seen = (x < edge) | (x > edge + hidden)
    side = np.full(count // 8, edge)
    x = np.r_[x[seen], side] + random.normal(0, 3.0, seen.sum() + side.size)
    t = np.r_[t[seen], random.uniform(-length / 2, length / 2, side.size)]
    deep = np.r_[deep[seen], random.uniform(0, depth, side.size)] + random.normal(0, 4.0, x.size)
    return EdgeRays(x, t, np.zeros(x.size), deep)


@pytest.mark.parametrize(("length", "rms"), [(1200.0, 1.0), (60.0, 3.0)])
def test_a_hidden_back_does_not_draw_the_edge_to_the_open_side(length: float, rms: float) -> None:
    errors, uncertainties = [], []
    for seed in range(20):
        random = np.random.default_rng(seed)
        edge = random.uniform(-3, 3)
        points = points_at_edge(random, edge, length, 20.0, 60.0)
        fit = end_of_points(points, random.uniform(-8, 8), 12.0, 0.0015, 40.0, NONE)
        assert fit is not None
        errors.append(fit.across(fit.middle_mm) - edge)
        uncertainties.append(fit.standard_uncertainty_mm)
    assert np.sqrt(np.mean(np.square(errors))) < rms
    assert abs(np.mean(errors)) < 3 * rms / np.sqrt(20)
    assert np.mean(np.abs(errors) < 2 * np.array(uncertainties)) >= 0.85


def plain_end_likelihood(x: Floats, number: Floats, blur: float, offset: float, of_arris: float) -> float:
    """The same answer, slow and obvious: one strip, no side points."""
    piece, arris = ndtr((offset - x) / blur), np.exp(-0.5 * ((x - offset) / blur) ** 2)
    densities = np.stack([piece / piece.sum(), np.full(x.size, 1 / x.size)])
    arris = arris / arris.sum()
    share = np.array([0.95, 0.05])
    for _ in range(12):
        mixed = of_arris * arris + (1 - of_arris) * share @ densities
        value = float(number @ np.log(mixed))
        part = share * ((densities / mixed) @ number)
        share = part / part.sum()
    return value


def test_likelihood_equals_its_plain_twin() -> None:
    random = np.random.default_rng(3)
    x, number = np.arange(-40.0, 40.0, 0.5), random.poisson(1.0, 160).astype(float)
    offsets, none = np.array([-3.0, 0.0, 4.0]), np.zeros(0)
    found = end_log_likelihood(x, np.zeros(1), number[:, None], none, none, 3.0, offsets, np.zeros(1), 0.1, 0.001)
    expected = [plain_end_likelihood(x, number, 3.0, offset, 0.1) for offset in offsets]
    np.testing.assert_allclose(found[:, 0], expected, rtol=1e-9)


def recess(seed: int, circle: bool, size: float) -> LocalRays:
    """Points of a handheld scan about a box: the wall around, its back in the middle alone, its side faces."""
    random = np.random.default_rng(seed)
    half, count = size / 2, int((size + 80) ** 2 / 18.0)
    a, b = random.uniform(-half - 40, half + 40, (2, count))
    reach = np.hypot(a, b) if circle else np.maximum(np.abs(a), np.abs(b))
    seen = (reach > half) | (reach < 0.6 * half)
    depth = np.where(reach < half, 50.0, 0.0)[seen]
    turn = random.uniform(0, 2 * np.pi, count // 12)
    side = np.stack([np.cos(turn), np.sin(turn)]) * half
    if not circle:
        side = side / np.maximum(np.abs(np.cos(turn)), np.abs(np.sin(turn)))
    a, b = (np.r_[one[seen], at] for one, at in ((a, side[0]), (b, side[1])))
    depth = np.r_[depth, random.uniform(0, 50.0, turn.size)] + random.normal(0, 4.0, a.size)
    a, b = a + random.normal(0, 2.5, a.size), b + random.normal(0, 2.5, a.size)
    none = np.zeros(a.size)
    return LocalRays(a, b, none, none, depth, np.zeros(a.size, np.int64))


@pytest.mark.parametrize("circle", [False, True])
def test_boxes_and_pipes_are_told_apart_and_measured_without_stations(circle: bool) -> None:
    errors, right = [], 0
    for seed in range(8):
        rays, box = recess(seed, circle, 80.0), (-35.0, -35.0, 36.0, 35.0)
        rectangle = fit_rectangle(rays, box, 0.0, 12.0, True, None, place_at_end)
        round_one = fit_circle(rays, box, 0.0, 12.0, True)
        assert round_one is not None
        better = [ring_likelihood(rays, shape, box, 0.0, 12.0, True) for shape in (rectangle, round_one)]
        right += (better[1] > better[0]) == circle
        errors += [size - 80.0 for size in (round_one if circle else rectangle).size_mm]
    assert right >= 7
    assert np.sqrt(np.mean(np.square(errors))) < 3.0


def columns(random: np.random.Generator, gap: float, edge: float) -> EdgeRays:
    """A wall's points up to an edge, in upright columns `gap` apart as a scanner leaves them, and a back beyond."""
    lines = np.arange(random.uniform(-60.0 - gap, -60.0), 60.0, gap)
    x = np.repeat(lines, 12) + random.normal(0, 0.4, 12 * lines.size)
    t = random.uniform(-40.0, 40.0, x.size)
    depth = np.where(np.repeat(lines, 12) < edge, 0.0, 300.0) + random.normal(0, 0.8, x.size)
    return EdgeRays(x, t, np.zeros(x.size), depth)


def test_an_edge_between_two_columns_is_as_uncertain_as_their_gap_is_wide() -> None:
    # an edge falls anywhere between two columns: its deviation is the gap over root 12 (GUM, 4.3.7)
    gap = 10.0
    found = [
        end_of_points(columns(np.random.default_rng(s), gap, 0.0), 3.0, 2.5, 0.0015, 40.0, NONE) for s in range(40)
    ]
    errors = np.array([one.offset_mm for one in found if one is not None])
    stated = np.array([one.standard_uncertainty_mm for one in found if one is not None])
    assert len(errors) == 40
    assert np.median(stated) == pytest.approx(gap / np.sqrt(12.0), rel=0.25)
    assert abs(errors.mean()) < 1.0
    assert np.mean(np.abs(errors) < 2 * stated) > 0.9


def uneven_columns(seed: int, lean: float) -> tuple[EdgeRays, EdgeRays, tuple[float, float]]:
    """Columns some wide apart and some close, up to an edge at 0; past its ends they go on across.

    Returns the points between the edge's ends, those before and after them, and the gap that the edge lies in.
    """
    random = np.random.default_rng(seed)
    gaps = random.choice([4.0, 13.0], 30)
    lines = np.cumsum(gaps) - gaps[:15].sum() - random.uniform(1.3, gaps[15] - 1.3)
    x = np.repeat(lines, 18) + random.normal(0, 0.4, 18 * lines.size)
    t = np.tile(np.linspace(-80.0, 80.0, 18), lines.size) + random.normal(0, 2.0, x.size)
    gap = lines[lines < 0].max(), lines[lines > 0].min()
    x, beside = x + lean * t, np.abs(t) < 35.0
    depth = np.where((x < 0) | ~beside, 0.0, 300.0) + random.normal(0, 0.8, x.size)
    points = EdgeRays(x, t, np.zeros(x.size), depth)
    around = (np.abs(t) > 48.0) & (np.abs(t) < 80.0)
    return points.select(beside), points.select(around), gap


def test_the_gap_that_an_edge_lies_in_shows_where_the_columns_go_on() -> None:
    # between two columns an edge is anywhere: its middle, give or take the gap over root 12 (GUM, 4.3.7)
    errors, stated = [], []
    for seed in range(40):
        beside, around, (low, high) = uneven_columns(seed, 0.0)
        fit = end_of_points(beside, 2.0, 2.5, 0.0015, 40.0, around)
        assert fit is not None
        assert low - 1.0 < fit.offset_mm < high + 1.0
        assert fit.offset_mm == pytest.approx((low + high) / 2, abs=1.7)
        assert fit.standard_uncertainty_mm == pytest.approx((high - low) / np.sqrt(12.0), abs=1.0)
        errors.append(fit.offset_mm)
        stated.append(fit.standard_uncertainty_mm)
    assert np.mean(np.abs(errors) < 2 * np.array(stated)) > 0.93


def test_columns_that_lean_cross_an_edge_and_pin_it() -> None:
    errors = []
    for seed in range(20):
        beside, around, _ = uneven_columns(seed, 0.15)
        fit = end_of_points(beside, 2.0, 2.5, 0.0015, 40.0, around)
        assert fit is not None
        assert abs(fit.offset_mm) < 2.5 * fit.standard_uncertainty_mm
        errors.append(fit.offset_mm)
    assert np.sqrt(np.mean(np.square(errors))) < 2.0


def test_no_column_is_read_where_depths_are_as_noisy_as_a_handheld_scanner_s() -> None:
    """Three times 5 mm of noise: what goes on before and after the edge moves it no more, as sharp as it may look."""
    moved = []
    for seed in range(10):
        beside, around, _ = uneven_columns(seed, 0.0)
        fits = [end_of_points(beside, 2.0, 15.0, 0.0015, 40.0, near) for near in (around, NONE)]
        assert fits[0] == fits[1]
        clear = [end_of_points(beside, 2.0, 2.5, 0.0015, 40.0, near) for near in (around, NONE)]
        moved.append(clear[0] != clear[1])
    assert any(moved)
