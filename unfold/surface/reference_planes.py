"""Reference planes and what is read off them: flatness (ISO 12781-1), lean and bow."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats


@dataclass(frozen=True, slots=True)
class Plane:
    """z = offset + slope_u * u + slope_v * v, and the extreme residuals about it; mm (slopes mm per mm)."""

    offset: float
    slope_u: float
    slope_v: float
    highest: float
    deepest: float

    @property
    def flatness(self) -> float:
        """Peak to valley about this plane."""
        return self.highest - self.deepest


def _about(u: Floats, v: Floats, z: Floats, solution: Floats) -> Plane:
    residual = z - (solution[0] + solution[1] * u + solution[2] * v)
    a, b, c = (float(number) for number in solution[:3])
    return Plane(a, b, c, float(residual.max()), float(residual.min()))


def least_squares_plane(u: Floats, v: Floats, z: Floats) -> Plane:
    """Fit the least-squares plane to heights z (n,) at (u, v): ISO 12781-1, LSPL; heights small against the extent."""
    middle = np.array([u.mean(), v.mean()])
    scale = np.array([1.0, max(float(np.ptp(u)), 1e-9), max(float(np.ptp(v)), 1e-9)])
    table = np.stack([np.ones_like(u), u - middle[0], v - middle[1]], axis=1) / scale
    # about the middle and in units of the extent the normal equations are well conditioned
    solution = np.linalg.lstsq(table.T @ table, table.T @ z, rcond=None)[0] / scale
    solution[0] -= solution[1:] @ middle
    return _about(u, v, z, solution)


def minimum_zone_plane(u: Floats, v: Floats, z: Floats) -> Plane:
    """Find the plane with the least peak to valley: ISO 12781-1, MZPL, exact for heights small against the extent.

    A linear program over a few points that grows by the worst offenders until none lies outside: the optimum over
    those is then the optimum over all.
    """
    from scipy.optimize import linprog

    scale = max(float(np.ptp(u)), float(np.ptp(v)), 1e-9)
    middle = np.array([u.mean(), v.mean(), z.mean()])
    x, y, h = (u - middle[0]) / scale, (v - middle[1]) / scale, z - middle[2]
    start = least_squares_plane(x, y, h)
    solution = np.array([start.offset, start.slope_u, start.slope_v])
    held: set[int] = set()
    for _ in range(100):
        residual = h - (solution[0] + solution[1] * x + solution[2] * y)
        half = 0.5 * float(np.ptp(residual[list(held)])) if held else -1.0
        solution[0] += 0.5 * (residual[list(held)].max() + residual[list(held)].min()) if held else 0.0
        residual = h - (solution[0] + solution[1] * x + solution[2] * y)
        if held and max(residual.max(), -residual.min()) <= half + 1e-9 * max(1.0, half):
            break
        held |= {int(np.argmax(residual)), int(np.argmin(residual))} | _extremes(x, y, residual)
        rows = np.array(sorted(held))
        one = np.ones(len(rows))
        table = np.stack([one, x[rows], y[rows]], axis=1)
        bounds = np.concatenate([np.column_stack([-table, -one]), np.column_stack([table, -one])])
        found = linprog([0, 0, 0, 1], A_ub=bounds, b_ub=np.concatenate([-h[rows], h[rows]]), bounds=[(None, None)] * 4)
        solution = np.asarray(found.x)[:3]
    solution = np.array(
        [
            solution[0] + middle[2] - (solution[1] * middle[0] + solution[2] * middle[1]) / scale,
            solution[1] / scale,
            solution[2] / scale,
        ]
    )
    return _about(u, v, z, solution)


def _extremes(x: Floats, y: Floats, residual: Floats) -> set[int]:
    """The highest and the lowest point in each quarter of the wall."""
    found: set[int] = set()
    for right in (False, True):
        for top in (False, True):
            here = np.nonzero(((x > 0) == right) & ((y > 0) == top))[0]
            if len(here):
                found |= {int(here[np.argmax(residual[here])]), int(here[np.argmin(residual[here])])}
    return found


@dataclass(frozen=True, slots=True)
class LowOrder:
    """Linear maps from heights (n,) at fixed places to lean and bows: one map serves many examples of the heights."""

    lean: Floats  # mm per m, of the least-squares plane along v
    bow_horizontal: (
        Floats  # mm, sagitta of the least-squares quadratic along u over its extent; positive: the middle stands proud
    )
    bow_vertical: Floats


def low_order(u: Floats, v: Floats, extent: tuple[float, float]) -> LowOrder:
    """Prepare lean and bows for heights at places (n,), mm.

    The bow along u of z = a + b u + c v + d u^2 + e u v + f v^2 over an extent W is -d (W/2)^2; `extent` is W and the
    same along v.
    """
    half_u, half_v = (max(side / 2, 1e-9) for side in extent)
    x, y = (u - 0.5 * (u.min() + u.max())) / half_u, (v - 0.5 * (v.min() + v.max())) / half_v
    plane = np.stack([np.ones_like(x), x, y], axis=1)
    quadratic = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    flat, curved = np.linalg.pinv(plane), np.linalg.pinv(quadratic)
    return LowOrder(flat[2] / half_v * 1000.0, -curved[3], -curved[5])
