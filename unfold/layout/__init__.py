"""Elevations become treatments, joints, panels and sheets."""

from unfold.layout.lay_panels import lay_panels
from unfold.layout.to_json import layout_json

__all__ = ["lay_panels", "layout_json"]
