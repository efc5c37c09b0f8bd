"""The height colours are uniform, symmetric about zero and safe for colour-blind eyes, by outside measures."""

import numpy as np
import pytest

from unfold.arrays import AnyArray, Floats
from unfold.drawing.colour import STEPS, UNSEEN_FILL, colour_heights, height_colours

# Machado, Oliveira and Fernandes 2009, A physiologically-based model for simulation of color vision deficiency,
# table 1, severity 1.0, for linear RGB (from memory)
DEFICIENCIES = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear_from_bytes(rgb: AnyArray) -> Floats:
    """sRGB bytes to linear light, IEC 61966-2-1."""
    share = np.asarray(rgb, dtype=float) / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lab_from_linear(linear: Floats) -> Floats:
    """Linear sRGB to CIELAB with the D65 white, written apart from the code under test (CIE 15:2004, 8.2.1)."""
    xyz = linear @ np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]).T
    share = xyz / [0.9505, 1.0, 1.089]
    x, y, z = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29).T
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=1)


def lab(rgb: AnyArray) -> Floats:
    return lab_from_linear(linear_from_bytes(rgb))


def test_the_measure_itself_gives_the_known_values_of_the_primaries() -> None:
    # CIELAB of the sRGB primaries, D65 (from memory, printed in many colour references)
    known = [[53.24, 80.09, 67.20], [87.73, -86.18, 83.18], [32.30, 79.19, -107.86]]
    np.testing.assert_allclose(lab(np.array([[255, 0, 0], [0, 255, 0], [0, 0, 255]])), known, atol=0.2)


def test_zero_is_the_lightest_and_neutral() -> None:
    zero = lab(height_colours())[STEPS]
    assert zero[0] > 93
    assert np.hypot(zero[1], zero[2]) < 1.5


def test_lightness_falls_steadily_and_alike_on_both_sides() -> None:
    lightness = lab(height_colours())[:, 0]
    hollow, proud = lightness[STEPS::-1], lightness[STEPS:]
    assert (np.diff(hollow) < 0).all()
    assert (np.diff(proud) < 0).all()
    np.testing.assert_allclose(hollow, proud, atol=0.6)  # rounding to bytes moves L* by up to about 0.3 a side


def test_equal_steps_of_height_are_equal_steps_of_colour() -> None:
    colours = lab(height_colours())[::8]  # eight steps at a time, so that rounding to bytes does not count
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    assert steps.max() / steps.min() < 1.12


@pytest.mark.parametrize("name", DEFICIENCIES)
def test_colour_blind_eyes_keep_the_order_and_tell_hollow_from_proud(name: str) -> None:
    seen = np.clip(linear_from_bytes(height_colours()) @ np.array(DEFICIENCIES[name]).T, 0.0, 1.0)
    colours = lab_from_linear(seen)
    hollow, proud = colours[STEPS::-1], colours[STEPS:]
    for side in (hollow, proud):
        assert (np.diff(side[::4, 0]) < 0).all()
    apart = np.linalg.norm(hollow - proud, axis=1)
    assert apart[STEPS // 4 :].min() > 20  # from a quarter of the scale on; 2.3 is a just noticeable difference


def test_red_yellow_green_traffic_colours_do_not_occur() -> None:
    red, green, blue = height_colours().astype(int).T
    assert not ((green > red) & (green > blue)).any()
    assert not ((red > 180) & (green < 90)).any()


def test_heights_take_their_place_on_the_scale() -> None:
    colours = colour_heights(np.array([[-9.0, -4.0, 0.0, 2.0, 4.0, np.nan]]), 4.0)[0]
    table = height_colours()
    expected = [table[0], table[0], table[STEPS], table[STEPS + STEPS // 2], table[-1], UNSEEN_FILL]
    np.testing.assert_array_equal(colours, expected)
