"""How many sheets the parts need at the least: bounds that no nesting can beat.

A dual feasible function f takes lengths to shares of the sheet such that parts side by side on a sheet keep a sum of at
most 1. Then the sum of f(length) g(width) over all parts bounds the number of sheets, for every pair of such functions:
Fekete and Schepers (2001), New classes of fast lower bounds for bin packing problems, Math. Program. 91, 11-31; and
Carlier, Clautiaux and Moukrim (2007), New reduction procedures and lower bounds for the two-dimensional bin packing
problem with fixed orientation, Comput. Oper. Res. 34, 2223-2250. The area bound is the pair of identities.
"""

import math

import numpy as np

from unfold.arrays import Floats, Ints
from unfold.layout.packing import Job

MOST_THRESHOLDS = 40
ROUNDING = 1e-9


def fewest_sheets(job: Job) -> int:
    """Bound the number of sheets from below; several kinds count as one as long and as wide as any of them."""
    if not job.sheets or len(job.sizes) == 0:
        return 0
    fitting = np.any([job.fits(kind) for kind in range(len(job.sheets))], axis=0)
    if not fitting.any():
        return 0
    sizes, may_turn = job.pieces(fitting)  # of a notched part its pieces, as if they lay wherever they like
    limit = np.max([sheet.size for sheet in job.sheets], axis=0)
    largest = max(int(sheet.size.prod()) for sheet in job.sheets)
    by_area = math.ceil(sum(int(size.prod()) for size in sizes) / largest)
    straight = _sums_of(sizes, limit)
    turned = _sums_of(sizes[:, ::-1], limit)
    straight[..., ~(sizes <= limit).all(axis=1)] = np.inf
    turned[..., ~((sizes[:, ::-1] <= limit).all(axis=1) & may_turn)] = np.inf
    by_functions = math.ceil(float(np.minimum(straight, turned).sum(axis=-1).max()) - ROUNDING)
    return max(1, by_area, by_functions)


def _sums_of(sizes: Ints, limit: Ints) -> Floats:
    """Products f(length) g(width) of every pair of functions and every part; shape (functions, functions, parts)."""
    thresholds = [_thresholds(np.append(sizes, sizes[:, ::-1], axis=0)[:, axis], int(limit[axis])) for axis in (0, 1)]
    along, across = (shares_of(sizes[:, axis], int(limit[axis]), thresholds[axis]) for axis in (0, 1))
    return np.asarray(along[:, None, :] * across[None, :, :])


def _thresholds(lengths: Ints, limit: int) -> Ints:
    """Choose lengths up to half the sheet's at which the functions step, spread evenly over those that matter.

    They are those of short parts, and, one longer than the rest beside a long part, those that make it count as whole.
    """
    half = np.unique(np.append(lengths, limit - lengths + 1))
    half = half[(half > 0) & (2 * half <= limit)]
    if len(half) > MOST_THRESHOLDS:
        half = half[np.linspace(0, len(half) - 1, MOST_THRESHOLDS).round().astype(int)]
    return half


def shares_of(lengths: Ints, limit: int, thresholds: Ints) -> Floats:
    """Evaluate the dual feasible functions on some lengths; shape (functions, lengths), shares of the sheet.

    The identity; for each threshold e: lengths over limit - e count as 1, those under e as 0; and, with k = e, twice
    the whole number of k in a short length, and for a long one the rest of all (the function f2 of Carlier and others).
    """
    shares = lengths / limit
    step = thresholds[:, None]
    threshold_shares = np.where(lengths > limit - step, 1.0, np.where(lengths < step, 0.0, shares))
    whole = limit // step
    short, long = 2 * (lengths // step), 2 * (whole - (limit - lengths) // step)
    counted = np.where(2 * lengths < limit, short, np.where(2 * lengths == limit, whole, long))
    return np.vstack([shares[None, :], threshold_shares, counted / (2.0 * whole)])
