"""How memory is taken from the system: what is freed is given back, so that the peak is what is in use and no more."""

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8  # names of glibc's malloc.h, mallopt(3)
LARGE = 4 << 20
"""Bytes from which an array is mapped on its own and unmapped when freed; chunks of points are smaller and stay."""
KEPT = 16 << 20
"""Bytes at the heap's end that are kept for what comes next."""


def give_back_freed() -> None:
    """Let glibc return freed arrays at once, and use one heap for all threads; elsewhere this does nothing.

    Left alone it learns from the first large array to keep larger ones, in a heap of its own for each thread: the holes
    between them then make the peak depend on how threads happen to meet, and on how many chunks went by.
    """
    if sys.platform != "linux":
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        for name, value in ((_MMAP_THRESHOLD, LARGE), (_TRIM_THRESHOLD, KEPT), (_ARENA_MAX, 1)):
            mallopt(name, value)
