"""Rounded coordinates hide a wall's shape: what is left of that in a mean, against rounding itself."""

import numpy as np
import pytest

from unfold.surface.shared_error import rounded_point_mm, rounding_error_mm

NORMAL = np.array([1.0, 0.0, 0.0])


def errors_of_means(step: float, noise: float, turn_deg: float) -> float:
    """Root mean square error of a decimetre's mean height, of walls everywhere between two steps."""
    random = np.random.default_rng(3)
    turn = np.radians(turn_deg)
    along = random.uniform(-50.0, 50.0, 4000)
    errors = []
    for height in np.linspace(0.0, step, 41):
        high = height + random.normal(0.0, noise, along.size)
        x, y = high * np.cos(turn) - along * np.sin(turn), high * np.sin(turn) + along * np.cos(turn)
        x, y = (np.round(axis / step) * step for axis in (x, y))
        errors.append(float(np.mean(x * np.cos(turn) + y * np.sin(turn))) - height)
    return float(np.sqrt(np.mean(np.square(errors))))


@pytest.mark.parametrize("step", [2.0, 10.0])
@pytest.mark.parametrize("noise_share", [0.0, 0.1, 0.3, 1.0])
@pytest.mark.parametrize("turn_deg", [0.0, 1.0, 20.0])
def test_the_uncertainty_covers_what_rounding_leaves(step: float, noise_share: float, turn_deg: float) -> None:
    noise = noise_share * step
    turn = np.radians(turn_deg)
    normal = np.array([np.cos(turn), np.sin(turn), 0.0])
    shown = float(np.hypot(noise, rounded_point_mm(np.full(3, step), normal)))  # what points scatter by
    stated = rounding_error_mm(np.full(3, step), normal, shown)
    true = errors_of_means(step, noise, turn_deg)
    assert true < 2.0 * stated + 0.1 * step / np.sqrt(12.0)
    if noise_share == 0.0 and turn_deg == 0.0:  # the standard deviation of rounding, JCGM 100 4.3.7
        assert stated == pytest.approx(step / np.sqrt(12.0)) and stated == pytest.approx(true, rel=0.1)


def test_what_is_not_rounded_or_well_evened_out_adds_nothing() -> None:
    assert rounding_error_mm(np.zeros(3), NORMAL, 1.0) == 0.0
    assert rounding_error_mm(np.full(3, 1.0), NORMAL, 1.0) < 0.001
