"""The stream becomes a levelled room: floor, ceiling and a chain of walls with base surfaces."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from unfold.room.find import find_room

__all__ = ["find_room"]


def __getattr__(name: str) -> object:
    """Load the stage when it is first called for: who needs its results alone does not wait for its machinery."""
    if name not in __all__:
        raise AttributeError(f"unfold.room has no {name}")
    from importlib import import_module

    return getattr(import_module("unfold.room.find"), name)
