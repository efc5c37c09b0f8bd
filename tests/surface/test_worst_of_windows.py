"""The loop over maps and windows against one window at a time."""

import numpy as np

from unfold.surface import straightedge_kernels as kernels


def test_worst_of_windows_is_the_worst_of_each_laid_alone() -> None:
    random = np.random.default_rng(3)
    maps, valid = random.normal(0.0, 1.0, (6, 30, 40)), random.random((30, 40)) < 0.9
    windows = np.column_stack(
        [random.uniform(5, 35, 50), random.uniform(5, 25, 50), random.uniform(0, np.pi, 50), random.uniform(4, 25, 50)]
    )
    alone = np.array(
        [
            kernels.gaps_under(maps, valid, np.ascontiguousarray(np.broadcast_to(window, (6, 4))), 1.0)
            for window in windows
        ]
    )
    worst, which = kernels.worst_of_windows(maps, valid, windows, 1.0)
    assert np.array_equal(worst, alone.max(axis=0)) and np.array_equal(which, alone.argmax(axis=0))
