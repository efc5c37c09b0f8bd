"""Ray casting on smooth sheets: the range is exact on the bowed surface, not on facets of a mesh.

The scene's arrays are borrowed: counted in and out at every sheet of every ray, they cost more than the geometry.
"""

import math

import numpy as np

from tests.simulate.heights import height_at
from tests.simulate.sheets import GLASS, MASK_CELL_M, MIRROR, Packed
from unfold.arrays import Floats, Ints
from unfold.compiled import borrowed, compiled, inlined

NEAR_M = 1e-4
MARGIN_M = 1.0  # by which a sheet's heights move the place where a ray meets it, at most


@compiled
def _borrowed(scene: Packed) -> Packed:
    return Packed(
        borrowed(scene.origin),
        borrowed(scene.axes),
        borrowed(scene.radius),
        borrowed(scene.bounds),
        borrowed(scene.material),
        borrowed(scene.returns),
        borrowed(scene.stations),
        borrowed(scene.terms),
        borrowed(scene.first_term),
        borrowed(scene.segments),
        borrowed(scene.first_segment),
        borrowed(scene.mask),
        borrowed(scene.first_cell),
        borrowed(scene.columns),
    )


@inlined
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


@inlined
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


@inlined
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


@inlined
def _may_meet(axes: Floats, place: Floats, bounds: Floats, s: int, origin: Floats, ray: Floats, best: float) -> bool:
    """Whether a ray meets a flat sheet's base plane before `best`, within a margin about the sheet."""
    down = axes[s, 2, 0] * ray[0] + axes[s, 2, 1] * ray[1] + axes[s, 2, 2] * ray[2]
    if down == 0.0:
        return False
    x, y, z = origin[0] - place[s, 0], origin[1] - place[s, 1], origin[2] - place[s, 2]
    t = -(axes[s, 2, 0] * x + axes[s, 2, 1] * y + axes[s, 2, 2] * z) / down
    if t < -0.2 or t > best + 0.5:
        return False
    x, y, z = x + t * ray[0], y + t * ray[1], z + t * ray[2]
    u = axes[s, 0, 0] * x + axes[s, 0, 1] * y + axes[s, 0, 2] * z
    if u < bounds[s, 0] - MARGIN_M or u > bounds[s, 1] + MARGIN_M:
        return False
    v = axes[s, 1, 0] * x + axes[s, 1, 1] * y + axes[s, 1, 2] * z
    return bool(bounds[s, 2] - MARGIN_M <= v <= bounds[s, 3] + MARGIN_M)


@compiled
def nearest(
    scene: Packed, station: int, origin: Floats, ray: Floats, far: float, skip_glass: bool, work: Floats
) -> tuple[float, int]:
    """Distance to the first sheet that a ray meets and its index; index -1 when it meets none within `far`.

    work: (3, 3), overwritten.
    """
    best, found = far, -1
    o, d, roots = work[0], work[1], work[2]
    axes, place, bounds, radii = scene.axes, scene.origin, scene.bounds, scene.radius
    for s in range(len(radii)):
        if not (scene.stations[s] >> min(station, 62)) & 1 or (skip_glass and scene.material[s] == GLASS):
            continue
        radius = radii[s]
        if radius == 0.0 and not _may_meet(axes, place, bounds, s, origin, ray, best):
            continue
        for k in range(3):
            d[k] = axes[s, k, 0] * ray[0] + axes[s, k, 1] * ray[1] + axes[s, k, 2] * ray[2]
            o[k] = (
                axes[s, k, 0] * (origin[0] - place[s, 0])
                + axes[s, k, 1] * (origin[1] - place[s, 1])
                + axes[s, k, 2] * (origin[2] - place[s, 2])
            )
        count = 0
        if radius == 0.0:
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


@compiled
def trace(
    scene: Packed, station: int, origin: Floats, ray: Floats, far: float, luck: float, work: Floats
) -> tuple[float, int]:
    """Path length to what answers a ray, through glass and by mirrors; `luck` in 0..1 decides if glass answers.

    work: (5, 3), overwritten.
    """
    o, d, rest = work[3], work[4], work[:3]
    for k in range(3):
        o[k], d[k] = origin[k], ray[k]
    travelled = 0.0
    for _ in range(4):
        t, s = nearest(scene, station, o, d, far - travelled, False, rest)
        if s < 0:
            return far, -1
        if scene.material[s] == GLASS:
            if luck < scene.returns[s]:
                return travelled + t, s
            step, s = nearest(scene, station, o, d, far - travelled, True, rest)
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


@compiled
def trace_all(
    scene: Packed, station: int, origin: Floats, rays: Floats, far: float, luck: Floats
) -> tuple[Floats, Ints]:
    """Path lengths and sheet indices of rays (n, 3) from one place."""
    count = len(rays)
    scene, memory = _borrowed(scene), np.empty((5, 3))
    work = borrowed(memory)
    ranges, sheets = np.empty(count), np.empty(count, np.int64)
    for i in range(count):
        ranges[i], sheets[i] = trace(scene, station, origin, rays[i], far, luck[i], work)
    return ranges, sheets


@compiled
def visible(scene: Packed, station: int, origin: Floats, targets: Floats, slack: float) -> Floats:
    """1.0 where nothing opaque stands between the origin and targets (n, 3), up to `slack` metres before them."""
    out = np.zeros(len(targets))
    scene, ray, memory = _borrowed(scene), np.empty(3), np.empty((3, 3))
    work = borrowed(memory)
    for i in range(len(targets)):
        distance = 0.0
        for k in range(3):
            ray[k] = targets[i, k] - origin[k]
            distance += ray[k] * ray[k]
        distance = math.sqrt(distance)
        for k in range(3):
            ray[k] /= distance
        _t, s = nearest(scene, station, origin, ray, distance - slack, True, work)
        out[i] = 1.0 if s < 0 else 0.0
    return out
