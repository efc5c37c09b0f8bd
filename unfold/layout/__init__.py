"""Elevations become treatments, joints, panels and sheets."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from unfold.layout.laying import lay_panels

__all__ = ["lay_panels"]


def __getattr__(name: str) -> object:
    """Load the stage when it is first called for: who needs its results alone does not wait for its machinery."""
    if name not in __all__:
        raise AttributeError(f"unfold.layout has no {name}")
    from importlib import import_module

    return getattr(import_module("unfold.layout.laying"), name)
