"""Smooth wall surfaces as sums of simple terms, exact at every point: what the measured height map is held against.

A term is a row of eight numbers: its kind and up to seven parameters. Lengths in metres.
"""

import math
from collections.abc import Sequence

import numpy as np

from unfold.arrays import Floats
from unfold.compiled import compiled

_CONSTANT, _SLOPE, _BOW, _TWIST, _RIPPLE, _BUMP, _STEP, _PATCH, _GROUTED = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0


def _row(*numbers: float) -> tuple[float, ...]:
    return numbers + (0.0,) * (8 - len(numbers))


def constant(height_m: float) -> tuple[float, ...]:
    """A surface moved out by `height_m`."""
    return _row(_CONSTANT, height_m)


def slope(per_u: float, per_v: float, at_u_m: float = 0.0, at_v_m: float = 0.0) -> tuple[float, ...]:
    """A plane tilted by `per_u` and `per_v` (metres a metre), zero at (at_u_m, at_v_m)."""
    return _row(_SLOPE, per_u, per_v, at_u_m, at_v_m)


def bow(sagitta_m: float, middle_m: float, length_m: float, along: str = "u") -> tuple[float, ...]:
    """A parabola: `sagitta_m` in the middle, zero at both ends of `length_m`; `along` is "u" or "v"."""
    return _row(_BOW, sagitta_m, middle_m, length_m / 2, 0.0 if along == "u" else 1.0)


def twist(corner_m: float, middle_u_m: float, middle_v_m: float, width_m: float, height_m: float) -> tuple[float, ...]:
    """A hyperbolic paraboloid: straight along u and v, +corner_m and -corner_m at alternate corners."""
    return _row(_TWIST, corner_m, middle_u_m, middle_v_m, width_m / 2, height_m / 2)


def ripple(
    amplitude_m: float, wavelength_m: float, direction_deg: float = 0.0, phase: float = 0.0
) -> tuple[float, ...]:
    """A sine wave whose crests stand across `direction_deg` (from u toward v)."""
    turn = math.radians(direction_deg)
    return _row(_RIPPLE, amplitude_m, math.cos(turn) / wavelength_m, math.sin(turn) / wavelength_m, phase)


def bump(height_m: float, u_m: float, v_m: float, across_m: float) -> tuple[float, ...]:
    """A raised cosine `across_m` in diameter at its foot, `height_m` at its top."""
    return _row(_BUMP, height_m, u_m, v_m, across_m / 2)


def step(height_m: float, at_m: float, direction_deg: float = 0.0, run_m: float = 0.002) -> tuple[float, ...]:
    """A board joint: from -height_m / 2 up to +height_m / 2 over a run of `run_m` at `at_m` along `direction_deg`."""
    turn = math.radians(direction_deg)
    return _row(_STEP, height_m, math.cos(turn), math.sin(turn), at_m, run_m / 2)


def patch(
    height_m: float, u_m: float, v_m: float, across_m: float, up_m: float, run_m: float = 0.002
) -> tuple[float, ...]:
    """A flat-topped rectangle about (u_m, v_m), its sides rising over a run of `run_m`."""
    return _row(_PATCH, height_m, u_m, v_m, across_m / 2, up_m / 2, run_m)


def grouted(depth_m: float, across_m: float, up_m: float, width_m: float = 0.004) -> tuple[float, ...]:
    """Grout lines of `width_m` and `depth_m` between tiles of across_m x up_m."""
    return _row(_GROUTED, depth_m, across_m, up_m, width_m)


def as_terms(rows: Sequence[tuple[float, ...]]) -> Floats:
    """Stack terms into an array (n, 8)."""
    return np.array(rows, dtype=float).reshape(-1, 8)


@compiled
def height_at(terms: Floats, first: int, last: int, u: float, v: float) -> float:
    """Height of the surface terms[first:last] at one place, metres."""
    total = 0.0
    for i in range(first, last):
        kind, a, b, c, d, e = terms[i, 0], terms[i, 1], terms[i, 2], terms[i, 3], terms[i, 4], terms[i, 5]
        if kind == _CONSTANT:
            total += a
        elif kind == _SLOPE:
            total += a * (u - c) + b * (v - d)
        elif kind == _BOW:
            x = ((v if d > 0.5 else u) - b) / c
            total += a * (1.0 - x * x)
        elif kind == _TWIST:
            total += a * (u - b) / d * (v - c) / e
        elif kind == _RIPPLE:
            total += a * math.sin(2.0 * math.pi * (b * u + c * v) + d)
        elif kind == _STEP:
            total += a * min(max((b * u + c * v - d) / (2.0 * e), -0.5), 0.5)
        elif kind == _PATCH:
            inside = min(d - abs(u - b), e - abs(v - c)) / terms[i, 6]
            total += a * min(max(inside, 0.0), 1.0)
        elif kind == _GROUTED:
            beside = min(abs(u - b * round(u / b)), abs(v - c * round(v / c)))
            total -= a * min(max((d - beside) / d, 0.0), 1.0)
        else:
            r = math.hypot(u - b, v - c) / d
            if r < 1.0:
                total += a * 0.5 * (1.0 + math.cos(math.pi * r))
    return total


@compiled
def heights_at(terms: Floats, u: Floats, v: Floats) -> Floats:
    """Heights at places u, v of shape (n,), metres."""
    out = np.empty(len(u))
    for i in range(len(u)):
        out[i] = height_at(terms, 0, len(terms), u[i], v[i])
    return out
