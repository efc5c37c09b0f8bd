"""Walls unfolded to 2D: scribed outlines, openings and what was not seen."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from unfold.elevation.unfold import unfold_walls

__all__ = ["unfold_walls"]


def __getattr__(name: str) -> object:
    """Load the stage when it is first called for: who needs its results alone does not wait for its machinery."""
    if name not in __all__:
        raise AttributeError(f"unfold.elevation has no {name}")
    from importlib import import_module

    return getattr(import_module("unfold.elevation.unfold"), name)
