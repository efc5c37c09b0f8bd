"""Lines and circles in plan: published fits, the sampling table, and the compiled loops against plain NumPy."""

import math

import numpy as np
import pytest

from unfold.arrays import Floats
from unfold.room import plan_kernels
from unfold.room.uprights import (
    Circle,
    Line,
    find_traces,
    fit_circle,
    fit_line,
    gather_strips,
    group_rows,
)

RANDOM = np.random.default_rng(3)


def test_circle_of_gander_golub_and_strebel() -> None:
    # Gander, Golub and Strebel (1994), Least-squares fitting of circles and ellipses, BIT 34, 558-578: geometric fit
    points = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], float)
    found = fit_circle(points, np.ones(6), Circle(np.array([5.0, 5.0]), 3.0), steps=100)
    np.testing.assert_allclose(found.centre, [4.7398, 2.9835], atol=5e-5)
    assert found.radius == pytest.approx(4.7142, abs=5e-5)
    assert np.sum(np.square(found.distance(points))) == pytest.approx(1.2276, abs=5e-5)


def test_line_of_pearson() -> None:
    # Pearson (1901), On lines and planes of closest fit, Phil. Mag. 2, 559-572: slope -0.54556, intercept 5.78404
    x = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    slope = -0.54556
    normal = np.array([-slope, 1.0]) / math.hypot(slope, 1.0)
    line = fit_line(np.c_[x, y, np.tile(normal, (10, 1))], np.ones(10))
    assert line is not None
    assert -line.normal[0] / line.normal[1] == pytest.approx(slope, abs=5e-6)
    assert line.offset / line.normal[1] == pytest.approx(5.78404, abs=5e-6)
    assert np.sqrt(np.mean(np.square(line.distance(np.c_[x, y])))) == pytest.approx(0.2487, abs=5e-5)


def strips_of(xy: Floats, angle: Floats) -> Floats:
    return np.asarray(np.c_[xy, np.cos(angle), np.sin(angle)])


def test_scoring_agrees_with_plain_numpy() -> None:
    strips = strips_of(RANDOM.uniform(-2, 2, (300, 2)), RANDOM.uniform(0, math.pi, 300))
    weight, is_open = RANDOM.uniform(1, 5, 300), RANDOM.random(300) < 0.8
    lines = np.array([[math.cos(t), math.sin(t), d] for t, d in RANDOM.uniform(-1, 1, (8, 2))])
    bins = np.zeros(201)
    found = plan_kernels.score_lines(lines, strips, weight, is_open, 0.3, 0.8, 0.05, 6, bins, 100)
    for (a, b, d), score in zip(lines, found, strict=True):
        off = (strips[:, :2] @ (a, b) - d) / 0.3
        agree = np.abs(strips[:, 2:] @ (a, b))
        counts = is_open & (np.abs(off) <= 1) & (agree >= 0.8)
        part = np.where(counts, weight * (1 - off**2) * (agree - 0.8) / 0.2, 0.0)
        place = np.floor((strips[:, 1] * a - strips[:, 0] * b) / 0.05).astype(int)
        order = np.argsort(place[counts], kind="stable")
        runs, best = np.split(order, np.flatnonzero(np.diff(place[counts][order]) > 7) + 1), 0.0
        best = max(part[counts][run].sum() for run in runs)
        assert score == pytest.approx(best)
    circles = RANDOM.uniform(0.2, 1.5, (8, 3))
    tolerances = np.full(8, 0.25)
    found = plan_kernels.score_circles(circles, strips, weight, is_open, tolerances, 0.7)
    for (x, y, radius), score in zip(circles, found, strict=True):
        arm = strips[:, :2] - (x, y)
        distance = np.hypot(*arm.T)
        off, agree = (distance - radius) / 0.25, np.abs(np.sum(arm * strips[:, 2:], axis=1)) / distance
        counts = is_open & (np.abs(off) <= 1) & (agree >= 0.7)
        assert score == pytest.approx(np.sum(weight * (1 - off**2) * (agree - 0.7) / 0.3, where=counts))


def test_drawn_lines_agree_with_a_weighted_fit_of_the_neighbours() -> None:
    along = np.sort(RANDOM.uniform(-2, 2, 200))
    strips = strips_of(np.c_[along, 0.3 * along + RANDOM.normal(0, 0.01, 200)], np.full(200, math.atan2(1, -0.3)))
    weight, is_open = RANDOM.uniform(1, 3, 200), RANDOM.random(200) < 0.9
    seeds = np.flatnonzero(is_open)[::25]
    found = plan_kernels.draw_lines(seeds, strips, weight, is_open, 0.35, 0.02, 0.94)
    for seed, row in zip(seeds, found, strict=True):
        away = strips[:, :2] - strips[seed, :2]
        near = is_open & (np.hypot(*away.T) <= 0.35) & (np.abs(away @ strips[seed, 2:]) <= 0.02)
        line = fit_line(strips[near], weight[near])
        assert line is not None
        sign = np.sign(line.normal @ row[:2])
        np.testing.assert_allclose(row, sign * np.r_[line.normal, line.offset], atol=1e-9)


def test_two_strips_with_normals_draw_the_circle_they_lie_on() -> None:
    angle = np.linspace(0, 2, 30)
    strips = strips_of(np.c_[1 + 0.8 * np.cos(angle), 2 + 0.8 * np.sin(angle)], angle)
    found = plan_kernels.draw_circles(
        np.arange(30), RANDOM.random(30), strips, np.ones(30, bool), 1.5, 0.01, 0.1, 12.0
    )
    drawn = found[found[:, 2] > 0]
    assert len(drawn) > 20
    np.testing.assert_allclose(drawn, np.tile([1.0, 2.0, 0.8], (len(drawn), 1)), atol=1e-9)


@pytest.mark.parametrize("thick", [0.1, 0.25])
def test_both_faces_of_a_slender_column_are_found(thick: float) -> None:
    along = np.linspace(-0.12, 0.12, 80)
    faces = [np.c_[along, np.full(80, side * 0.5 * thick)] @ turn(20.0) for side in (-1.0, 1.0)]
    xy = np.repeat(np.concatenate(faces), 20, axis=0)
    normals = np.tile([0.0, 1.0] @ turn(20.0), (len(xy), 1))
    found = find_traces(gather_strips(xy, normals), 0.03, 100.0)
    offsets = sorted(trace.offset for trace in found if isinstance(trace, Line))
    assert len(found) == 2 and abs(offsets[1] - offsets[0]) == pytest.approx(thick, abs=1e-6)


def test_three_flats_that_touch_a_circle_stay_flat_and_an_arc_is_found_round() -> None:
    flats = [np.c_[np.linspace(-0.6, 0.6, 400), np.full(400, 2.24)] @ turn(k * 30.0) for k in (-1, 0, 1)]
    normals = [np.tile([0.0, 1.0] @ turn(k * 30.0), (400, 1)) for k in (-1, 0, 1)]
    xy, normal = np.repeat(np.concatenate(flats), 40, axis=0), np.repeat(np.concatenate(normals), 40, axis=0)
    found = find_traces(gather_strips(xy, normal), 0.03, 100.0)
    assert len(found) == 3 and all(isinstance(trace, Line) for trace in found)
    angle = np.repeat(np.linspace(0.2, 2.0, 900), 40)
    arc = 2.0 * np.c_[np.cos(angle), np.sin(angle)]
    found = find_traces(gather_strips(arc, arc / 2.0), 0.03, 100.0)
    assert len(found) == 1 and isinstance(found[0], Circle)
    assert found[0].radius == pytest.approx(2.0, abs=0.01)


def turn(degrees: float) -> Floats:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.asarray([[c, s], [-s, c]], dtype=float)


@pytest.mark.parametrize("apart", [1, 1_000_000])
def test_rows_are_grouped_in_the_order_of_their_distinct_values(apart: int) -> None:
    keys = np.random.default_rng(3).integers(-4, 5, (500, 3)) * (apart, apart, 1)
    distinct, group = np.unique(keys, axis=0, return_inverse=True)
    assert 100 < len(distinct) < 500
    np.testing.assert_array_equal(group_rows(keys), group.ravel())
