"""The ten classes of random two-dimensional bin packing instances, generated anew by their published recipes.

Classes 1 to 6: Berkey and Wang (1987), Two-dimensional finite bin-packing algorithms, J. Oper. Res. Soc. 38, 423-429.
Classes 7 to 10: Martello and Vigo (1998), Exact solution of the two-dimensional finite bin packing problem, Manag. Sci.
44, 388-399. The recipes are from memory; the published instance files themselves were not at hand, so these are other
draws from the same distributions: averages compare with published ones, single instances do not.
"""

import numpy as np

from unfold.arrays import Ints

BIN_SIDE = {1: 10, 2: 30, 3: 40, 4: 100, 5: 100, 6: 300, 7: 100, 8: 100, 9: 100, 10: 100}
LARGEST = {1: 10, 2: 10, 3: 35, 4: 35, 5: 100, 6: 100}
SHARE_OF_MAIN_TYPE = 0.7


def instance(number: int, items: int, seed: int) -> Ints:
    """Sizes (items, 2) of one instance of class 1 to 10."""
    generator = np.random.default_rng((number, items, seed))
    if number <= 6:
        return generator.integers(1, LARGEST[number] + 1, (items, 2))
    side = BIN_SIDE[number]
    half, third = side // 2, -(-2 * side // 3)
    long, middle, short = (third, side), (half, side), (1, half)
    ranges = [(long, short), (short, long), (middle, middle), (short, short)]
    main = number - 7
    others = [kind for kind in range(4) if kind != main]
    kinds = np.where(generator.random(items) < SHARE_OF_MAIN_TYPE, main, generator.choice(others, items))
    return np.array([[generator.integers(low, high + 1) for low, high in ranges[kind]] for kind in kinds])
