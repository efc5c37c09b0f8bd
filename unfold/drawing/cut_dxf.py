"""DXF documents for cutting: millimetres, few layers, no dates, so that the same job gives the same file.

CUT     the cuts: closed polylines, outlines first
MARK    arrows that point up on the wall; not to be cut
TEXT    labels; not to be cut
SHEET   the sheet's edges
TRIM    the sheet's edges after trimming
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from ezdxf import options  # type: ignore[attr-defined]
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from unfold.arrays import Floats

TEXT_STYLE = "LABEL"
HEAD_SHARE = 0.3  # of an arrow's length, to the barbs of its head
LAYERS = {"CUT": (1, 50), "MARK": (3, 25), "TEXT": (7, 25), "SHEET": (7, 35), "TRIM": (8, 18)}
"""Colour index and line width in 1/100 mm (ISO 128-2)."""


def new_cut_document(layers: Sequence[str]) -> Drawing:
    """Start a document (DXF 2010, 1 unit = 1 mm) with some of the layers."""
    document = new("R2010", units=4)
    document.header["$MEASUREMENT"] = 1
    document.styles.add(TEXT_STYLE, font="DejaVuSans.ttf")
    for name in layers:
        colour, width = LAYERS[name]
        document.layers.add(name, color=colour, lineweight=width)
    return document


def save_cut_document(document: Drawing, path: Path) -> None:
    """Write a document without times and random identity."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document.saveas(path)
    finally:
        options.write_fixed_meta_data_for_testing = before


def add_path(space: Modelspace, path: Floats, layer: str) -> None:
    """Add a closed polyline from rows of x, y, bulge."""
    space.add_lwpolyline(path.tolist(), format="xyb", close=True, dxfattribs={"layer": layer})


def add_label(space: Modelspace, text: str, at: Floats, height: float, turn_deg: float = 0.0) -> None:
    """Add a line of text, centred on a point and turned counter-clockwise."""
    entity = space.add_text(text, height=height, rotation=turn_deg, dxfattribs={"layer": "TEXT", "style": TEXT_STYLE})
    entity.set_placement((float(at[0]), float(at[1])), align=TextEntityAlignment.MIDDLE_CENTER)


def add_arrow(space: Modelspace, foot: Floats, tip: Floats) -> None:
    """Mark a direction with an open arrow."""
    stem = HEAD_SHARE * (tip - foot)
    across = 0.5 * np.array([-stem[1], stem[0]])
    space.add_line(foot, tip, dxfattribs={"layer": "MARK"})
    space.add_lwpolyline([tip - stem + across, tip, tip - stem - across], dxfattribs={"layer": "MARK"})
