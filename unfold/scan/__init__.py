"""Files of any open format become a stream of points in metres, with the stations they were seen from."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from unfold.scan.stream import Scan, open_scan

__all__ = ["Scan", "open_scan"]


def __getattr__(name: str) -> object:
    """Load the stage when it is first called for: who needs its results alone does not wait for its machinery."""
    if name not in __all__:
        raise AttributeError(f"unfold.scan has no {name}")
    from importlib import import_module

    return getattr(import_module("unfold.scan.stream"), name)
