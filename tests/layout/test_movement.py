"""Movement sums against handbook figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.layout.movement import (
    choose_movement_joints,
    movement_spacing_mm,
    movement_sum,
    movement_words,
)
from unfold.settings.layout import JointSettings, MovementSettings

FOOT = 304.8


def test_a_published_thermal_movement() -> None:
    # Gypsum board, 9.0e-6 per F, 100 ft, 50 F: 0.54 in (a glossary page, "Thermal expansion", looked up).
    board = MovementSettings(expansion_per_K=9.0e-6 * 1.8, temperature_range_K=50.0 / 1.8)
    assert movement_sum(100 * FOOT, board, JointSettings()).thermal_mm == pytest.approx(0.54 * 25.4, rel=1e-9)


def test_porcelain_by_a_published_coefficient() -> None:
    # 4.0e-6 per F (a tile distributors' paper of 2008, looked up); 40 ft at 50 F: 0.096 in.
    tile = MovementSettings(expansion_per_K=4.0e-6 * 1.8, temperature_range_K=50.0 / 1.8)
    assert movement_sum(40 * FOOT, tile, JointSettings()).thermal_mm == pytest.approx(0.096 * 25.4, rel=1e-9)


@pytest.mark.parametrize(("length", "moves"), [(3200.0, 0.416), (7620.0, 0.991), (10000.0, 1.300)])
def test_worked_porcelain_runs(length: float, moves: float) -> None:
    # 6.5e-6 per K and 20 K, worked by hand.
    assert movement_sum(length, MovementSettings(), JointSettings()).total_mm == pytest.approx(moves, abs=5e-4)


def test_the_joint_for_a_movement_by_sealant_and_by_the_rule_of_four() -> None:
    # 1.3 mm with a sealant that takes 25 %: 5.2 mm; four times 1.3 mm: 5.2 mm. Both are under the least of 1/4 in.
    thin = MovementSettings(least_width=1.0)
    assert movement_sum(10000.0, thin, JointSettings(width=1.0)).width_mm == pytest.approx(5.2)
    assert movement_sum(10000.0, MovementSettings(), JointSettings()).width_mm == pytest.approx(6.35)
    # A better sealant does not go under four times the movement.
    better = MovementSettings(least_width=1.0, sealant_movement=0.5)
    assert movement_sum(10000.0, better, JointSettings(width=1.0)).width_mm == pytest.approx(5.2)


def test_moisture_adds_to_temperature() -> None:
    run = movement_sum(5000.0, MovementSettings(moisture_mm_per_m=0.3), JointSettings())
    assert run.moisture_mm == pytest.approx(1.5) and run.total_mm == pytest.approx(1.5 + 0.65)
    assert "= 0.65 + 1.50 = 2.15 mm" in movement_words(run, MovementSettings(moisture_mm_per_m=0.3))


def test_spacing_by_exposure() -> None:
    # EJ171: 20-25 ft indoors, 8-12 ft with sun or moisture (looked up, quoted).
    assert 20 * FOOT <= movement_spacing_mm(MovementSettings()) <= 25 * FOOT
    assert 8 * FOOT <= movement_spacing_mm(MovementSettings(exposure="sun or moisture")) <= 12 * FOOT
    assert movement_spacing_mm(MovementSettings(spacing=5000.0)) == 5000.0


def test_the_fewest_joints_that_keep_the_spacing() -> None:
    joints = [1500.0 * step for step in range(1, 10)]
    assert choose_movement_joints(joints, 0.0, 7000.0, 7620.0) == ()
    assert choose_movement_joints(joints, 0.0, 15000.0, 7620.0) == (7500.0,)
    assert choose_movement_joints(joints, 0.0, 15000.0, 6096.0) == (4500.0, 10500.0)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(1.0, 29999.0), min_size=1, max_size=30, unique=True), st.floats(2500.0, 9000.0))
def test_no_run_is_longer_than_the_spacing_where_joints_allow_it(joints: list[float], spacing: float) -> None:
    chosen = choose_movement_joints(joints, 0.0, 30000.0, spacing)
    runs = np.diff([0.0, *chosen, 30000.0])
    possible = np.diff([0.0, *sorted(joints), 30000.0]).max() <= spacing
    assert (runs.max() <= spacing + 1e-6) == possible
    assert set(chosen) <= set(joints)
