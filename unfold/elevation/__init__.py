"""Walls unfolded to 2D: scribed outlines, openings and what was not seen."""

from unfold.elevation.unfold import unfold_walls

__all__ = ["unfold_walls"]
