"""What coordinates are rounded to: decimals of a text, steps of scaled integers, single precision far from zero."""

import numpy as np

from unfold.arrays import Floats

LEAST_VALUES = 1000
MOST_VALUES = 20_000  # more show no finer step
UNEVEN = 0.02  # of a step: as far may differences be from whole numbers of it


def rounding_step(points: Floats) -> Floats:
    """The step (3,) that the coordinates of points (n, 3) are whole numbers of, axis by axis; 0 where there is none.

    A sample of many points shows neighbouring values; of what is not rounded, differences are no whole numbers of the
    least one.
    """
    some = points[:: max(len(points) // MOST_VALUES, 1)]
    if len(some) < LEAST_VALUES:
        return np.zeros(3)
    return np.array([_step(np.unique(axis)) for axis in some.T])


def _step(values: Floats) -> float:
    """The step of sorted, distinct values."""
    apart = np.diff(values)
    if len(apart) == 0:
        return 0.0
    step = float(apart.min())
    number = apart / step
    return step if float(np.abs(number - np.round(number)).max()) < UNEVEN else 0.0
