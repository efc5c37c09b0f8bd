"""The stream becomes a levelled room: floor, ceiling and a chain of walls with base surfaces."""

from unfold.room.find import find_room

__all__ = ["find_room"]
