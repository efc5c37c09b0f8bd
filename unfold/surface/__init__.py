"""Each wall's height map, its uncertainty, flatness figures and verdicts."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from unfold.surface.measure import measure_surfaces

__all__ = ["measure_surfaces"]


def __getattr__(name: str) -> object:
    """Load the stage when it is first called for: who needs its results alone does not wait for its machinery."""
    if name not in __all__:
        raise AttributeError(f"unfold.surface has no {name}")
    from importlib import import_module

    return getattr(import_module("unfold.surface.measure"), name)
