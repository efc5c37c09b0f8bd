"""Rays beside one straight edge of a front piece, and how deep what lies behind it is."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats

SQUARE = -0.02  # rays that drift toward the edge less than this can hardly meet its side face


@dataclass(frozen=True, slots=True)
class EdgeRays:
    """Rays beside one edge; arrays (n,), millimetres."""

    x: Floats  # across, positive away from the front piece, where the ray crosses the front's surface
    t: Floats  # along
    drift: Floats  # dx per mm of depth: below 0 the ray runs toward the edge and can meet its side face
    depth: Floats  # where the ray ended behind the front's surface; far for rays that met nothing
    passed: Bools | None = None  # it met another side face of the opening, which proves that it passed this edge

    def select(self, keep: Bools) -> "EdgeRays":
        """Those rays alone."""
        passed = None if self.passed is None else self.passed[keep]
        return EdgeRays(self.x[keep], self.t[keep], self.drift[keep], self.depth[keep], passed)


def back_depth(rays: EdgeRays, start_mm: float, tolerance_mm: float) -> Floats:
    """Depth of what lies behind the edge beside each ray: the median of the deep rays in its tenth of the edge.

    Rays that may have met the side face do not count; where only such were seen, the back lies deeper than they did.
    """
    beyond = (rays.depth > 2 * tolerance_mm) & (rays.x > start_mm)
    if not beyond.any():
        return np.full(rays.x.size, 2 * tolerance_mm)
    ended = rays.x + rays.drift * np.minimum(rays.depth, 1e4)
    deep = beyond & ~((rays.drift < SQUARE) & (ended < start_mm + 15.0))
    least = float(np.quantile(rays.depth[beyond], 0.98)) + 2 * tolerance_mm
    typical = float(np.median(rays.depth[deep])) if deep.sum() >= 3 else least
    edges = np.linspace(rays.t.min(), rays.t.max() + 1e-9, 11)
    tenth = np.clip(np.digitize(rays.t, edges) - 1, 0, 9)
    own = [deep & (tenth == i) for i in range(10)]
    medians = [np.median(rays.depth[mine]) if mine.sum() >= 3 else typical for mine in own]
    return np.asarray(medians, dtype=float)[tenth]
