"""Edges between rays: against a plain twin, brute force, and the truth over many seeds."""

import numpy as np
import pytest

from unfold.arrays import Floats
from unfold.elevation.edge_fit import fit_edge
from unfold.elevation.edge_kernels import edge_log_likelihood, edge_score
from unfold.elevation.edge_rays import EdgeRays


def plain_likelihood(
    x: Floats, t: Floats, front: Floats, blur: Floats, offset: float, slope: float, outliers: float
) -> float:
    """The same answer, slow and obvious."""
    share = 1 / (1 + np.exp((x - slope * t - offset) / blur))
    chance = outliers + (1 - 2 * outliers) * share
    whole = np.log(np.where(front > 0.5, chance, 1 - chance))
    mixed = (front > 0) & (front < 1)
    f, s = np.where(mixed, front, 0.5), np.clip(share, 1e-12, 1 - 1e-12)
    trials = (s / f) ** (4 * f) * ((1 - s) / (1 - f)) ** (4 * (1 - f))
    return float(np.sum(np.where(mixed, np.log(outliers + (1 - outliers) * trials), whole)))


def jamb(
    random: np.random.Generator,
    edge: float,
    length: float,
    spacing: float,
    drift: float,
    depth: float = 100.0,
    beam: float = 1.2,
    noise: float = 1.0,
) -> EdgeRays:
    """Rays at random along a jamb: the front piece at x < edge, a back behind, a reveal where rays run toward it."""
    count = int(length * 80 / spacing**2)
    t, x = random.uniform(-length / 2, length / 2, count), random.uniform(-40, 40, count)
    beyond = x - edge
    if drift < 0:
        met = np.where(beyond > 0, np.minimum(-beyond / drift, depth), 0.0)
    else:
        met = depth * np.clip(0.5 + beyond / (4 * beam), 0, 1)
    return EdgeRays(x, t, np.full(count, drift), met + random.normal(0, noise, count))


@pytest.mark.parametrize("outliers", [0.003, 0.1])
def test_likelihood_equals_its_plain_twin(outliers: float) -> None:
    random = np.random.default_rng(4)
    x, t = random.uniform(-20, 20, 200), random.uniform(-500, 500, 200)
    front, blur = np.clip(random.uniform(-1, 2, 200), 0, 1), random.uniform(0.5, 3, 200)
    offsets, slopes = np.array([-1.0, 0.0, 2.5]), np.array([-0.002, 0.0, 0.004])
    found = edge_log_likelihood(x, t, front, blur, offsets, slopes, outliers)
    expected = [[plain_likelihood(x, t, front, blur, o, s, outliers) for s in slopes] for o in offsets]
    np.testing.assert_allclose(found, expected, rtol=1e-10)


def test_score_is_the_slope_of_the_likelihood() -> None:
    random = np.random.default_rng(6)
    x, t = random.uniform(-20, 20, 300), random.uniform(-500, 500, 300)
    front, blur, step = np.clip(random.uniform(-1, 2, 300), 0, 1), random.uniform(0.8, 3, 300), 1e-5
    packed = edge_score(x, t, front, blur, 0.7, 0.001, 0.02)
    across = [plain_likelihood(x, t, front, blur, 0.7 + s, 0.001, 0.02) for s in (-step, step)]
    turned = [plain_likelihood(x, t, front, blur, 0.7, 0.001 + s * 1e-2, 0.02) for s in (-step, step)]
    assert packed[0] == pytest.approx(plain_likelihood(x, t, front, blur, 0.7, 0.001, 0.02))
    assert packed[1] == pytest.approx((across[1] - across[0]) / (2 * step), rel=1e-4)
    assert packed[2] == pytest.approx((turned[1] - turned[0]) / (2e-2 * step), rel=1e-4)


def test_fit_agrees_with_brute_force() -> None:
    """Every offset and slope of a fine grid is tried on the plain likelihood; the fit must find the same edge."""
    rays = jamb(np.random.default_rng(8), 1.3, 600.0, 8.0, 0.4, noise=0.2)
    fit = fit_edge(rays, 4.0, 2.5, 0.006)
    assert fit is not None
    front = np.clip(1 - rays.depth / 100.0, 0, 1)
    front[rays.depth < 2.5], front[rays.depth > 97.5] = 1.0, 0.0
    blur = np.full(rays.x.size, fit.blur_mm * np.hypot(1, 0.4))
    offsets = np.arange(-3, 5, 0.05)
    values = [plain_likelihood(rays.x, rays.t, front, blur, o, fit.slope, 0.003) for o in offsets]
    assert fit.offset_mm == pytest.approx(offsets[int(np.argmax(values))], abs=0.25)


@pytest.mark.parametrize("drift", [0.5, 0.0, -0.5])
@pytest.mark.parametrize(("length", "spacing", "rms"), [(2000.0, 6.0, 0.2), (60.0, 6.0, 0.6), (60.0, 12.0, 2.5)])
def test_edges_are_found_within_their_uncertainty(drift: float, length: float, spacing: float, rms: float) -> None:
    errors, uncertainties = [], []
    for seed in range(20):
        random = np.random.default_rng(seed)
        edge = random.uniform(-3, 3)
        fit = fit_edge(jamb(random, edge, length, spacing, drift), random.uniform(-8, 8), 3.0, 0.006)
        assert fit is not None
        errors.append(fit.across(fit.middle_mm) - edge)
        uncertainties.append(fit.standard_uncertainty_mm)
    assert np.sqrt(np.mean(np.square(errors))) < rms
    assert np.mean(np.abs(errors) < 2 * np.array(uncertainties)) >= 0.85


def test_a_gap_without_rays_is_stated_as_the_uncertainty() -> None:
    """Nothing between 0 and 12 mm: the edge is anywhere there, so u is about 12 / sqrt(12) (JCGM 100, 4.3.7)."""
    x = np.r_[np.linspace(-40, 0, 60), np.linspace(12, 40, 60)]
    t = np.tile(np.linspace(-300, 300, 60), 2)
    fit = fit_edge(EdgeRays(x, t, np.zeros(120), np.where(x > 6, 50.0, 0.0)), 3.0, 3.0, 1e-4)
    assert fit is not None
    assert fit.across(fit.middle_mm) == pytest.approx(6.0, abs=1.0)
    assert fit.standard_uncertainty_mm == pytest.approx(12 / np.sqrt(12), rel=0.25)


def test_a_turned_edge_is_followed() -> None:
    random = np.random.default_rng(11)
    rays = jamb(random, 0.0, 1500.0, 7.0, 0.3)
    turned = EdgeRays(rays.x + 0.004 * rays.t, rays.t, rays.drift, rays.depth)
    fit = fit_edge(turned, 0.0, 3.0, 0.006)
    assert fit is not None
    assert fit.slope == pytest.approx(0.004, abs=3e-4)


@pytest.mark.parametrize("depth", [0.0, 80.0])
def test_one_side_alone_gives_no_edge(depth: float) -> None:
    x = np.linspace(-30, 30, 80)
    assert fit_edge(EdgeRays(x, x, np.full(80, 0.1), np.full(80, depth)), 0.0, 3.0, 0.006) is None


def slanted(edge: float, columns: tuple[float, ...], drift: float, seed: int, noise: float = 0.4) -> EdgeRays:
    """Columns of rays that run toward an edge at a slant: those that cross beyond it end on its side face."""
    random = np.random.default_rng(seed)
    x = np.repeat(columns, 7) + random.normal(0, 0.1, 7 * len(columns))
    t = np.tile(np.linspace(-25.0, 25.0, 7), len(columns)) + random.normal(0, 1.0, x.size)
    met = np.clip((x - edge) / -drift, 0.0, None) + random.normal(0, noise, x.size)
    return EdgeRays(x, t, np.full(x.size, drift), met)


@pytest.mark.parametrize("seed", range(5))
def test_a_reveal_met_at_a_slant_pins_the_edge_wherever_the_rough_place_is(seed: int) -> None:
    # rays that cross up to tolerance * drift = 10 mm beyond the edge count as having met the front
    fit = fit_edge(slanted(0.0, (-38.0, -25.0, -12.0, 1.0, 22.0, 35.0), -4.0, seed), 0.0, 2.5, 0.0015)
    assert fit is not None and fit.side_face
    assert abs(fit.offset_mm) < max(2 * fit.standard_uncertainty_mm, 1.0)
    assert fit.standard_uncertainty_mm < 0.8


def test_few_rays_on_a_reveal_pin_it_by_how_deep_they_ended() -> None:
    """Two rays deep on the side face, some about the arris: no label tells those, their depths do."""
    errors, stated = [], []
    for seed in range(30):
        random = np.random.default_rng(seed)
        edge = random.uniform(-2.0, 2.0)
        rays = slanted(edge, (-20.0, -11.0, 3.0, 19.0), -2.1, seed, noise=0.8)
        deep = np.flatnonzero(rays.x > 15.0)
        keep = np.ones(rays.x.size, dtype=bool)
        keep[deep[2:]] = False
        fit = fit_edge(rays.select(keep), 4.0, 2.5, 0.0015, 29.0)
        assert fit is not None
        errors.append(fit.offset_mm - edge)
        stated.append(fit.standard_uncertainty_mm)
    assert np.sqrt(np.mean(np.square(errors))) < 1.3
    assert np.mean(np.abs(errors) < 2 * np.array(stated)) > 0.9
    assert np.median(stated) < 1.2


def test_a_pane_before_what_shows_through_it_makes_no_mixed_points() -> None:
    """Rays that pass an edge at a slant end on a pane 180 mm deep or on what lies 250 mm deep, however far they passed.

    Taken for beams that are a quarter front they would draw the edge to themselves; it lies in the gap before them.
    """
    random = np.random.default_rng(3)
    x = np.repeat([-30.0, -10.0, 7.0, 20.0, 33.0], 60) + random.normal(0, 0.3, 300)
    t = np.tile(np.linspace(-600.0, 600.0, 60), 5)
    behind = np.where(random.random(x.size) < 0.3, 182.0, 250.0)
    depth = np.where(x > 0, behind, 0.0) + random.normal(0, 0.5, x.size)
    fit = fit_edge(EdgeRays(x, t, np.full(x.size, 3.4), depth), 4.0, 2.5, 0.0015)
    assert fit is not None
    assert fit.offset_mm == pytest.approx(-1.5, abs=2.5)  # from -10 to 7
    assert fit.standard_uncertainty_mm > 2.0


def test_an_edge_that_mixed_points_on_one_side_alone_tell_of_is_as_uncertain_as_the_spot() -> None:
    """A seventh of the beam of all rays near the edge met the front: a narrow spot is near it, a wide one far off."""
    random = np.random.default_rng(4)
    x = np.repeat([-14.0, 0.9, 13.0], 40) + random.normal(0, 0.1, 120)
    t = np.tile(np.linspace(-300.0, 300.0, 40), 3)
    depth = np.where(x > 10.0, 145.0, np.where(x > 0, np.where(random.random(x.size) < 0.5, 124.0, 145.0), 0.0))
    fit = fit_edge(EdgeRays(x, t, np.full(x.size, 0.1), depth + random.normal(0, 0.5, x.size)), 2.0, 2.5, 0.0015)
    assert fit is not None
    assert abs(fit.offset_mm) < 2.5 * fit.standard_uncertainty_mm
    assert fit.standard_uncertainty_mm > 0.6
