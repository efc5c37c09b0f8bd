"""DXF documents for cutting: millimetres, few layers, no dates, so that the same job gives the same file.

CUT     the cuts: closed polylines, outlines first
MARK    arrows that point up on the wall; not to be cut
TEXT    labels; not to be cut
SHEET   the sheet's edges
TRIM    the sheet's edges after trimming
SAW     middle lines of the saw's cuts, numbered in order

A job has hundreds of these files and each holds a few entities, so the library writes the frame of header, tables and
blocks once, and only the entities are written file by file.
"""

import io
from functools import cache
from pathlib import Path

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.dxf_document import add_classes

TEXT_STYLE = "LABEL"
HEAD_SHARE = 0.3  # of an arrow's length, to the barbs of its head
LAYERS = {"CUT": (1, 50), "MARK": (3, 25), "TEXT": (7, 25), "SHEET": (7, 35), "TRIM": (8, 18), "SAW": (5, 18)}
"""Colour index and line width in 1/100 mm (ISO 128-2)."""
FIRST_HANDLE, NEXT_HANDLE = 0x10000, "FFFFFF"
"""Entities are numbered from well above the frame's own objects; what is added later is numbered from above those."""
MIDDLE = 4  # of a text's alignments: centred on its point both ways

Tags = list[tuple[int, object]]


class CutDocument:
    """The entities of one cut file (DXF 2010, 1 unit = 1 mm)."""

    def __init__(self) -> None:
        self._entities: list[Tags] = []

    def add_path(self, path: Floats, layer: str, closed: bool = True) -> None:
        """Add a polyline from rows of x, y, bulge."""
        tags: Tags = [(100, "AcDbPolyline"), (90, len(path)), (70, int(closed)), (43, 0.0)]
        for x, y, bulge in path.tolist():
            tags += [(10, x), (20, y)]
            if bulge != 0.0:
                tags.append((42, bulge))
        self._add("LWPOLYLINE", layer, tags)

    def add_label(self, text: str, at: Floats, height: float, turn_deg: float = 0.0) -> None:
        """Add a line of text, centred on a point and turned counter-clockwise."""
        x, y = (float(value) for value in at)
        self._add("TEXT", "TEXT", [
            (100, "AcDbText"), (10, x), (20, y), (30, 0.0), (40, height), (1, text), (50, turn_deg), (7, TEXT_STYLE),
            (72, MIDDLE), (11, x), (21, y), (31, 0.0), (100, "AcDbText"),
        ])  # fmt: skip

    def add_arrow(self, foot: Floats, tip: Floats) -> None:
        """Mark a direction with an open arrow."""
        stem = HEAD_SHARE * (tip - foot)
        across = 0.5 * np.array([-stem[1], stem[0]])
        for points in ((foot, tip), (tip - stem + across, tip, tip - stem - across)):
            self.add_path(np.column_stack([np.array(points), np.zeros(len(points))]), "MARK", closed=False)

    def _add(self, kind: str, layer: str, tags: Tags) -> None:
        handle = f"{FIRST_HANDLE + len(self._entities):X}"
        head: Tags = [(0, kind), (5, handle), (330, _frame()[2]), (100, "AcDbEntity"), (8, layer)]
        self._entities.append(head + tags)

    def save(self, path: Path) -> None:
        """Write the file."""
        before, after, _ = _frame()
        lines = [f"{code:3d}\n{value}\n" for tags in self._entities for code, value in tags]
        path.write_text(before + "".join(lines) + after, encoding="utf-8")


@cache
def _frame() -> tuple[str, str, str]:
    """Let the library write a document without entities: the text before and after them, the space's handle."""
    from ezdxf import options  # type: ignore[attr-defined]
    from ezdxf.filemanagement import new

    earlier = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # else the date of writing goes into every file
    try:
        document = new("R2010", units=4)
        document.header["$MEASUREMENT"] = 1
        document.styles.add(TEXT_STYLE, font="DejaVuSans.ttf")
        for name, (colour, width) in LAYERS.items():
            document.layers.add(name, color=colour, lineweight=width)
        add_classes(document)
        stream = io.StringIO()
        document.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = earlier
    text = stream.getvalue()
    seed = text.index("$HANDSEED")
    number = text.index("\n", text.index("  5\n", seed)) + 1
    text = text[:number] + NEXT_HANDLE + text[text.index("\n", number) :]
    start = text.index("ENTITIES\n") + len("ENTITIES\n")
    return text[:start], text[start:], document.modelspace().layout_key
