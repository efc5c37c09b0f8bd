"""The colours of heights: a diverging scale, blue where the wall lies hollow, orange where it stands proud.

Computed in CIELAB (CIE 15, D65 white): both sides share one course of lightness and chroma and differ in hue alone, and
equal steps of height are equal steps along that course, so the scale is perceptually uniform, and symmetric about zero.
Blue and orange keep apart for people who lack one of the cone types, and lightness alone tells the size of a height.
"""

from functools import cache

import numpy as np

from unfold.arrays import AnyArray, Floats

LIGHTEST, DARKEST = 95.0, 36.0
HUE_HOLLOW_DEG, HUE_PROUD_DEG = 270.0, 60.0
MOST_CHROMA, CHROMA_PEAK_LIGHTNESS = 44.0, 55.0
STEPS = 64  # a side; 2 * STEPS + 1 entries, the middle one is zero; neighbours differ too little to show as bands

INK = (27, 31, 36)
QUIET_INK = (92, 99, 108)
HAIRLINE = (186, 191, 198)
PAPER = (255, 255, 255)
UNSEEN_FILL = (214, 216, 219)
UNSEEN_HATCH = (84, 88, 94)
OPENING_FILL = (255, 255, 255)

# IEC 61966-2-1: linear sRGB to XYZ, D65 white
_XYZ_FROM_RGB = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE_XYZ = _XYZ_FROM_RGB.sum(axis=1)


def rgb_from_lab(lab: Floats) -> Floats:
    """Turn CIELAB (n, 3) into sRGB (n, 3) in 0..1; colours outside the gamut fall outside that range."""
    lightness = (lab[:, 0] + 16.0) / 116.0
    root = np.stack([lightness + lab[:, 1] / 500.0, lightness, lightness - lab[:, 2] / 200.0], axis=1)
    knee = 6.0 / 29.0
    xyz = np.where(root > knee, root**3, 3.0 * knee**2 * (root - 4.0 / 29.0)) * _WHITE_XYZ
    linear = xyz @ np.linalg.inv(_XYZ_FROM_RGB).T
    curved = 1.055 * np.maximum(linear, 0.0) ** (1.0 / 2.4) - 0.055
    rgb: Floats = np.where(linear <= 0.0031308, 12.92 * linear, curved)
    return rgb


@cache
def height_colours() -> AnyArray:
    """The scale as sRGB bytes, shape (2 * STEPS + 1, 3): from the most hollow over zero to the most proud."""
    lightness = np.linspace(LIGHTEST, DARKEST, 2001)
    half_range = LIGHTEST - CHROMA_PEAK_LIGHTNESS
    chroma = MOST_CHROMA * (1.0 - ((lightness - CHROMA_PEAK_LIGHTNESS) / half_range) ** 2)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(lightness), np.diff(chroma)))])
    even = np.linspace(0.0, walked[-1], STEPS + 1)
    side_lightness, side_chroma = np.interp(even, walked, lightness), np.interp(even, walked, chroma)
    hollow = _lab_side(side_lightness, side_chroma, HUE_HOLLOW_DEG)[::-1]
    proud = _lab_side(side_lightness, side_chroma, HUE_PROUD_DEG)
    rgb = rgb_from_lab(np.concatenate([hollow, proud[1:]]))
    return np.round(rgb * 255.0).astype(np.uint8)


def _lab_side(lightness: Floats, chroma: Floats, hue_deg: float) -> Floats:
    hue = np.radians(hue_deg)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


def colour_heights(height_mm: Floats, limit_mm: float) -> AnyArray:
    """Colour heights of any shape: returns sRGB bytes of that shape and a last axis of 3; NaN becomes UNSEEN_FILL.

    Heights beyond `limit_mm` on either side take the end's colour; the legend says so.
    """
    measured = np.isfinite(height_mm)
    share = np.clip(np.where(measured, height_mm, 0.0) / limit_mm, -1.0, 1.0)
    index = np.round((share + 1.0) * STEPS).astype(np.int64)
    colours = height_colours()[index]
    colours[~measured] = UNSEEN_FILL
    return colours
