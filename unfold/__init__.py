"""unfold: from a scan of a room to measured, unfolded walls that a fabricator can cut panels for."""

__version__ = "0.1.0"
