"""Each wall's height map, its uncertainty, flatness figures and verdicts."""

from unfold.surface.measure import measure_surfaces

__all__ = ["measure_surfaces"]
