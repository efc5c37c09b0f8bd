"""Directions of rays that met nothing, from their place in a scanner's grid of columns and rows."""

import numpy as np

from unfold.arrays import Bools, Floats, Ints

LEAST_HITS = 3  # points in a column or a row before its angle counts as known
TOLERANCE = 0.3  # of a grid step: as much may the points' own angles scatter about their column's and row's


def directions_of_misses(xyz: Floats, missed: Bools, index: int, rows: int) -> Floats:
    """Return unit directions (m, 3) in the scanner's axes of those misses whose column and row are known.

    `xyz` (n, 3) are consecutive cells from cell `index` on, column by column, in the scanner's coordinates. In a
    scanner's grid all points of a column share an azimuth and all of a row an elevation. Where the points do not bear
    that out (a tilt-compensated or resampled grid, a scan over the top) no direction is given.
    """
    empty = np.empty((0, 3))
    hit = ~missed & np.isfinite(xyz).all(axis=1)
    if rows < LEAST_HITS or hit.sum() < LEAST_HITS**2:
        return empty
    cell = index + np.arange(len(xyz))
    column, row = cell // rows - index // rows, cell % rows
    azimuth, elevation = _angles(xyz[hit])
    columns = _circular_means(azimuth, column[hit], int(column[-1]) + 1)
    lines = _means(elevation, row[hit], rows)
    if not _grid_bears_out(azimuth, elevation, columns[column[hit]], lines[row[hit]], columns, lines):
        return empty
    lines = _fill_along_line(lines)
    a, e = columns[column[missed]], lines[row[missed]]
    known = np.isfinite(a) & np.isfinite(e)
    a, e = a[known], e[known]
    return np.column_stack((np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)))


def _angles(xyz: Floats) -> tuple[Floats, Floats]:
    return np.arctan2(xyz[:, 1], xyz[:, 0]), np.arctan2(xyz[:, 2], np.hypot(xyz[:, 0], xyz[:, 1]))


def _means(values: Floats, group: Ints, groups: int) -> Floats:
    """Return the mean of each group, NaN for one with too few values."""
    count = np.bincount(group, minlength=groups)
    total = np.bincount(group, values, minlength=groups)
    return np.where(count >= LEAST_HITS, total / np.maximum(count, 1), np.nan)


def _circular_means(angles: Floats, group: Ints, groups: int) -> Floats:
    return np.arctan2(_means(np.sin(angles), group, groups), _means(np.cos(angles), group, groups))


def _grid_bears_out(
    azimuth: Floats, elevation: Floats, column_mean: Floats, row_mean: Floats, columns: Floats, rows: Floats
) -> bool:
    """Compare the points' scatter about their column and row with the step between columns and between rows."""
    with np.errstate(invalid="ignore"):
        aside = np.abs(np.angle(np.exp(1j * (azimuth - column_mean))))
        steps = np.abs(np.angle(np.exp(1j * np.diff(columns)))), np.abs(np.diff(rows))
    scatter = np.nanpercentile(aside, 90), np.nanpercentile(np.abs(elevation - row_mean), 90)
    return all(
        np.isfinite(step).any() and spread < TOLERANCE * np.nanmedian(step)
        for spread, step in zip(scatter, steps, strict=True)
    )


def _fill_along_line(rows: Floats) -> Floats:
    """Give rows without points the elevation of the straight line through the others, where those lie on one."""
    known = np.flatnonzero(np.isfinite(rows))
    if len(known) < LEAST_HITS or len(known) == len(rows):
        return rows
    slope, start = np.polyfit(known, rows[known], 1)
    line = start + slope * np.arange(len(rows))
    if np.max(np.abs(line[known] - rows[known])) > TOLERANCE * abs(slope):
        return rows
    return np.where(np.isfinite(rows), rows, line)
