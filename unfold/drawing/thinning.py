"""Rings with fewer points, for drawings that nothing is cut from."""

import numpy as np
import shapely

from unfold.arrays import Floats


def thinned(ring: Floats, distance: float) -> Floats:
    """Leave out points of a ring (n, 2), which stays within a distance of what it was (Douglas and Peucker 1973)."""
    simple = shapely.LinearRing(ring).simplify(distance, preserve_topology=True)
    return np.asarray(shapely.get_coordinates(simple)[:-1])
