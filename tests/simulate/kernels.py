"""Ray casting on smooth sheets: the range is exact on the bowed surface, not on facets of a mesh."""

import math

import numpy as np
from numba import njit

from tests.simulate.heights import height_at
from tests.simulate.sheets import GLASS, MASK_CELL_M, MIRROR, Packed
from unfold.arrays import Floats, Ints

NEAR_M = 1e-4


@njit(cache=True, nogil=True)
def _inside(scene: Packed, s: int, u: float, v: float) -> bool:
    if u < scene.bounds[s, 0] or u > scene.bounds[s, 1] or v < scene.bounds[s, 2] or v > scene.bounds[s, 3]:
        return False
    column = int((u - scene.bounds[s, 0]) / MASK_CELL_M)
    row = int((v - scene.bounds[s, 2]) / MASK_CELL_M)
    state = scene.mask[scene.first_cell[s] + row * scene.columns[s] + column]
    if state < 2:
        return bool(state == 1)
    crossed = False
    for i in range(scene.first_segment[s], scene.first_segment[s + 1]):
        a, b, c, d = scene.segments[i, 0], scene.segments[i, 1], scene.segments[i, 2], scene.segments[i, 3]
        if (b > v) != (d > v) and u < a + (v - b) / (d - b) * (c - a):
            crossed = not crossed
    return crossed


@njit(cache=True, nogil=True)
def _gap(scene: Packed, s: int, o: Floats, d: Floats, t: float) -> tuple[float, float, float]:
    """How far the ray's point at t stands in front of sheet s, and its u and v there."""
    x, v, z = o[0] + t * d[0], o[1] + t * d[1], o[2] + t * d[2]
    radius = scene.radius[s]
    if radius == 0.0:
        u, h = x, z
    else:
        sign = 1.0 if radius > 0 else -1.0
        u = radius * math.atan2(sign * x, sign * (radius - z))
        h = radius - sign * math.hypot(x, radius - z)
        if u < scene.bounds[s, 0] - 0.1:
            u += 2.0 * math.pi * abs(radius)
    return h - height_at(scene.terms, scene.first_term[s], scene.first_term[s + 1], u, v), u, v


@njit(cache=True, nogil=True)
def _refine(scene: Packed, s: int, o: Floats, d: Floats, t: float) -> tuple[float, float, float]:
    """Secant steps from the base surface to the sheet; t is negative when they do not arrive."""
    t0 = t
    f0, u, v = _gap(scene, s, o, d, t0)
    if abs(f0) < 1e-10:
        return t0, u, v
    t1 = t0 - f0 if d[2] > 0 else t0 + f0
    for _ in range(12):
        f1, u, v = _gap(scene, s, o, d, t1)
        if abs(f1) < 1e-10:
            return t1, u, v
        if f1 == f0:
            break
        t0, t1, f0 = t1, t1 - f1 * (t1 - t0) / (f1 - f0), f1
    return -1.0, u, v


@njit(cache=True, nogil=True)
def nearest(
    scene: Packed, station: int, origin: Floats, ray: Floats, far: float, skip_glass: bool
) -> tuple[float, int]:
    """Distance to the first sheet that a ray meets and its index; index -1 when it meets none within `far`."""
    best, found = far, -1
    o, d, roots = np.empty(3), np.empty(3), np.empty(2)
    for s in range(len(scene.radius)):
        if not (scene.stations[s] >> min(station, 62)) & 1 or (skip_glass and scene.material[s] == GLASS):
            continue
        for k in range(3):
            d[k] = scene.axes[s, k, 0] * ray[0] + scene.axes[s, k, 1] * ray[1] + scene.axes[s, k, 2] * ray[2]
            o[k] = (
                scene.axes[s, k, 0] * (origin[0] - scene.origin[s, 0])
                + scene.axes[s, k, 1] * (origin[1] - scene.origin[s, 1])
                + scene.axes[s, k, 2] * (origin[2] - scene.origin[s, 2])
            )
        count = 0
        radius = scene.radius[s]
        if radius == 0.0:
            if d[2] != 0.0:
                roots[0] = -o[2] / d[2]
                count = 1
        else:
            a = d[0] * d[0] + d[2] * d[2]
            b = o[0] * d[0] + (o[2] - radius) * d[2]
            c = o[0] * o[0] + (o[2] - radius) ** 2 - radius * radius
            disc = b * b - a * c
            if a > 0 and disc > 0:
                root = math.sqrt(disc)
                roots[0], roots[1] = (-b - root) / a, (-b + root) / a
                count = 2
        for k in range(count):
            t = roots[k]
            if t < -0.2 or t > best + 0.5:
                continue
            t, u, v = _refine(scene, s, o, d, t)
            if NEAR_M < t < best and _inside(scene, s, u, v):
                best, found = t, s
                break
    return best, found


@njit(cache=True, nogil=True)
def trace(scene: Packed, station: int, origin: Floats, ray: Floats, far: float, luck: float) -> tuple[float, int]:
    """Path length to what answers a ray, through glass and by mirrors; `luck` in 0..1 decides if glass answers."""
    o, d = origin.copy(), ray.copy()
    travelled = 0.0
    for _ in range(4):
        t, s = nearest(scene, station, o, d, far - travelled, False)
        if s < 0:
            return far, -1
        if scene.material[s] == GLASS:
            if luck < scene.returns[s]:
                return travelled + t, s
            step, s = nearest(scene, station, o, d, far - travelled, True)
            return (travelled + step, s) if s >= 0 else (far, -1)
        if scene.material[s] != MIRROR:
            return travelled + t, s
        normal = scene.axes[s, 2]
        along = d[0] * normal[0] + d[1] * normal[1] + d[2] * normal[2]
        for k in range(3):
            o[k] += t * d[k]
            d[k] -= 2.0 * along * normal[k]
        travelled += t
    return far, -1


@njit(cache=True, nogil=True)
def trace_all(
    scene: Packed, station: int, origin: Floats, rays: Floats, far: float, luck: Floats
) -> tuple[Floats, Ints]:
    """Path lengths and sheet indices of rays (n, 3) from one place."""
    count = len(rays)
    ranges, sheets = np.empty(count), np.empty(count, np.int64)
    for i in range(count):
        ranges[i], sheets[i] = trace(scene, station, origin, rays[i], far, luck[i])
    return ranges, sheets


@njit(cache=True, nogil=True)
def visible(scene: Packed, station: int, origin: Floats, targets: Floats, slack: float) -> Floats:
    """1.0 where nothing opaque stands between the origin and targets (n, 3), up to `slack` metres before them."""
    out = np.zeros(len(targets))
    ray = np.empty(3)
    for i in range(len(targets)):
        distance = 0.0
        for k in range(3):
            ray[k] = targets[i, k] - origin[k]
            distance += ray[k] * ray[k]
        distance = math.sqrt(distance)
        for k in range(3):
            ray[k] /= distance
        _t, s = nearest(scene, station, origin, ray, distance - slack, True)
        out[i] = 1.0 if s < 0 else 0.0
    return out
