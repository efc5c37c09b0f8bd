"""What each floor, ceiling and wall says of up, and what they say together.

A surface is one opinion, however many cells lie on it: what limits the estimate is how level and plumb it was built,
not how often it was measured. Floors that were laid to fall, and ceilings that slope, are outvoted.
"""

import math

import numpy as np

from unfold.arrays import Bools, Floats

BUILT_DEG = 0.06  # 1/4 in in 10 ft, a handbook of tolerances' limit for plumb, taken for two standard deviations
ROBUST_DEG = 5.0 * BUILT_DEG  # Cauchy's scale: an opinion this far off counts half
BUILT_WORTH = 4.0  # opinions that BUILT_DEG is worth beside the scatter found
PATCH_CELLS = 25.0  # neighbouring cells' planes share points
LEAST_DEG = 0.02  # what all surfaces of a building have in common cannot be seen
STEPS = 30
WALL_GAP_M = 0.1


def agree_on_up(up: Floats, normals: Floats, positions_m: Floats) -> tuple[Floats, float, list[Floats]]:
    """Correct `up` (3,) by the opinions of all surfaces.

    Parameters
    ----------
    up : (3,)
        A first estimate, a degree off at most.
    normals, positions_m : (n, 3)
        Unit normals, any sign, and places of cells.

    Returns
    -------
    (up, standard uncertainty, tilts)
        The uncertainty is that of up's lean toward any one side, degrees; the tilts (2,) are those of the lowest and
        the highest level surface against the first estimate, degrees, as far as there are any.
    """
    a, b = square_to(up)
    cosine = normals @ up
    level = _level_opinions(normals, cosine, positions_m @ up, a, b)
    rows, values, variances = _wall_opinions(normals, cosine, positions_m, a, b)
    for tilt, variance in level:
        rows += [np.array([1.0, 0.0]), np.array([0.0, 1.0])]
        values += [float(tilt[0]), float(tilt[1])]
        variances += [variance, variance]
    tilts = [tilt for tilt, _ in level]
    if len(rows) < 2:
        return up, 5.0, tilts
    turn, spread = _solve(np.array(rows), np.array(values), np.array(variances))
    turned = up + math.radians(turn[0]) * a + math.radians(turn[1]) * b
    return np.asarray(turned / np.linalg.norm(turned), dtype=float), spread, tilts


def square_to(axis: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to `axis` and to each other."""
    first = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    first /= np.linalg.norm(first)
    return first, np.cross(axis, first)


def _solve(rows: Floats, values: Floats, variances: Floats) -> tuple[Floats, float]:
    """Turn (2,) and its standard uncertainty toward the side least well known, degrees, with Cauchy's weights."""
    turn: Floats = np.zeros(2)
    for _ in range(STEPS):
        residual = values - rows @ turn
        robust = 1.0 / (1.0 + np.square(residual / ROBUST_DEG))
        weight = robust / variances
        information = (rows * weight[:, None]).T @ rows + 1e-3 * np.eye(2)
        turn = np.asarray(np.linalg.solve(information, (rows * weight[:, None]).T @ values), dtype=float)
    misfit = float(np.sum(weight * np.square(values - rows @ turn)))
    scale = (BUILT_WORTH + misfit) / max(BUILT_WORTH + float(robust.sum()) - 2.0, 1.0)
    worst = float(np.linalg.eigvalsh(np.linalg.inv(information)).max())
    return turn, max(LEAST_DEG, math.sqrt(worst * max(scale, 1.0)))


def _variance(normals_off_deg: Floats, all_cells: int) -> float:
    """Variance of one surface's opinion, degrees squared: how it was built, over what extent, and the noise."""
    number = len(normals_off_deg)
    noise = float(np.var(normals_off_deg)) * PATCH_CELLS / number
    return BUILT_DEG**2 * (1.0 + 0.02 * all_cells / number) + noise


def _level_opinions(
    normals: Floats, cosine: Floats, height: Floats, a: Floats, b: Floats
) -> list[tuple[Floats, float]]:
    """Tilts (2,) of the lowest and the highest level surface, and their variances; each holds a hundredth of all."""
    level = np.abs(cosine) > math.cos(math.radians(15.0))
    if level.sum() < 50:
        return []
    low, high = np.percentile(height[level], [2, 98])
    quarter = 0.25 * (high - low)
    found = []
    for group in (level & (height < low + quarter), level & (height > high - quarter)):
        if group.sum() > max(50, 0.01 * len(cosine)):
            signed = normals[group] * np.sign(cosine[group])[:, None]
            tilt = np.degrees(np.array([signed @ a, signed @ b]))
            found.append((np.asarray(np.median(tilt, axis=1)), _variance(tilt[0], len(cosine))))
    return found


def _wall_opinions(
    normals: Floats, cosine: Floats, positions_m: Floats, a: Floats, b: Floats
) -> tuple[list[Floats], list[float], list[float]]:
    """Every wall's direction in plan, the turn of up along it that makes the wall plumb, and the variance."""
    plumb = np.flatnonzero(np.abs(cosine) < math.sin(math.radians(6.0)))
    azimuth = np.arctan2(normals[plumb] @ b, normals[plumb] @ a)
    turn = np.mod(azimuth + np.pi / 24, 2 * np.pi)  # the sectors' middles lie on the axes, where most walls do
    sign = np.where(turn < np.pi, 1.0, -1.0)
    sector = np.floor(np.mod(turn, np.pi) / (np.pi / 12)).astype(np.int64)
    rows: list[Floats] = []
    values: list[float] = []
    variances: list[float] = []
    for one in np.unique(sector):
        mine = plumb[sector == one]
        signed = normals[mine] * sign[sector == one][:, None]
        mean = signed.mean(axis=0)
        direction = np.array([mean @ a, mean @ b])
        direction /= np.hypot(*direction)
        lean = np.degrees(cosine[mine] * sign[sector == one])
        for wall in _apart(positions_m[mine] @ (direction[0] * a + direction[1] * b)):
            if wall.sum() > max(60, 0.01 * len(cosine)):
                rows.append(direction)
                values.append(-float(np.median(lean[wall])))
                variances.append(_variance(lean[wall], len(cosine)))
    return rows, values, variances


def _apart(offset_m: Floats) -> list[Bools]:
    """Split surfaces that face one way by where they stand: where 100 mm hold next to nothing, another one begins."""
    place = np.floor((offset_m - offset_m.min()) / WALL_GAP_M).astype(np.int64)
    count = np.bincount(place)
    filled = count > 0.02 * count.max()
    group = np.cumsum(filled & ~np.r_[False, filled[:-1]])
    return [filled[place] & (group[place] == k) for k in range(1, int(group[-1]) + 1)]
