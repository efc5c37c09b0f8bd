"""Walls unfolded to 2D: scribed outlines, openings and what was not seen."""
