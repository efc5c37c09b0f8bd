"""What all DXF drawings of the room share: units, layers, text and dimension styles; and text at sizes that print.

One drawing unit is one millimetre ($INSUNITS 4, $MEASUREMENT 1). Layers are named by the trade's words:

OUTLINE         the wall's scribed edge, one closed polyline
OPENING         edges of openings on the wall's face
CLEAR-OPENING   the opening inside a casing
UNSEEN          what no measurement reached: hatch and boundary
DATUM           level and plumb datum lines
DIMENSION       dimensions
NOTE            text
WALL            a wall's face in plan
STATION         where the scanner stood
SCAN-AXES       directions of the scan's own axes
"""

from pathlib import Path

from ezdxf import options  # type: ignore[attr-defined]
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace
from ezdxf.sections.classes import REQ_R2004

from unfold.arrays import Floats
from unfold.drawing.plain_text import plain_text

# name, colour index, line type, line weight in 1/100 mm (ISO 128-2: a wide line is twice a narrow one)
LAYERS = (
    ("OUTLINE", 7, "CONTINUOUS", 50),
    ("OPENING", 7, "CONTINUOUS", 35),
    ("CLEAR-OPENING", 8, "CONTINUOUS", 25),
    ("UNSEEN", 8, "CONTINUOUS", 18),
    ("DATUM", 5, "DATUM-CHAIN", 25),
    ("DIMENSION", 7, "CONTINUOUS", 25),
    ("NOTE", 7, "CONTINUOUS", 25),
    ("WALL", 7, "CONTINUOUS", 50),
    ("STATION", 5, "CONTINUOUS", 25),
    ("SCAN-AXES", 8, "CONTINUOUS", 25),
)
TEXT_STYLE, DIMENSION_STYLE = "NOTE", "WALL-DIMENSION"
PAPER_TEXT_MM = 2.5  # ISO 3098-1 nominal height
SHEET_MM = (380.0, 250.0)  # what an A3 sheet holds inside its border
SCALES = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)  # ISO 5455


def drawing_scale(wide_mm: float, tall_mm: float) -> float:
    """The ISO 5455 reduction 1:n at which a drawing of this size fits an A3 sheet."""
    needed = max(wide_mm / SHEET_MM[0], tall_mm / SHEET_MM[1])
    return next((scale for scale in SCALES if scale >= needed), SCALES[-1])


def new_document(scale: float) -> Drawing:
    """An empty millimetre drawing whose text and dimensions are sized for printing at 1:scale."""
    document = new("R2010", units=4)
    document.header["$MEASUREMENT"] = 1
    document.ezdxf_metadata()["CREATED_BY_EZDXF"] = "unfold"  # in place of the time, which differs from run to run
    document.linetypes.add("DATUM-CHAIN", pattern=[scale * part for part in (12.0, 8.0, -1.5, 1.0, -1.5)])
    document.styles.add(TEXT_STYLE, font="DejaVuSans.ttf")
    for name, colour, linetype, weight in LAYERS:
        document.layers.add(name, color=colour, linetype=linetype, lineweight=weight)
    _add_dimension_style(document, PAPER_TEXT_MM * scale)
    return document


def _add_dimension_style(document: Drawing, text_mm: float) -> None:
    style = document.dimstyles.add(DIMENSION_STYLE)
    settings = {
        "dimtxt": text_mm,
        "dimtxsty": TEXT_STYLE,
        "dimasz": text_mm,
        "dimexe": 0.5 * text_mm,
        "dimexo": 0.5 * text_mm,
        "dimgap": 0.4 * text_mm,
        "dimtad": 1,
        "dimdec": 0,
        "dimzin": 8,
        "dimtsz": 0.0,
        "dimlfac": 1.0,
        "dimscale": 1.0,
        "dimtih": 0,
        "dimtoh": 0,
        "dimclrd": 256,
        "dimclre": 256,
        "dimclrt": 256,
    }
    for name, value in settings.items():
        style.dxf.set(name, value)


def add_ring(space: Modelspace, ring_mm: Floats, layer: str) -> None:
    """Add a ring (n, 2) as one closed polyline."""
    space.add_lwpolyline(ring_mm.tolist(), close=True, dxfattribs={"layer": layer})


def add_text(
    space: Modelspace,
    at: tuple[float, float],
    text: str,
    height: float,
    layer: str = "NOTE",
    align: TextEntityAlignment = TextEntityAlignment.LEFT,
    rotation: float = 0.0,
) -> None:
    """Add one line of text."""
    entity = space.add_text(
        plain_text(text), height=height, rotation=rotation, dxfattribs={"layer": layer, "style": TEXT_STYLE}
    )
    entity.set_placement(at, align=align)


def add_classes(document: Drawing) -> None:
    """List the classes of a drawing by name: the library would list them in an order that varies by run."""
    for name in (*sorted(REQ_R2004), *sorted(document.entitydb.dxf_types_in_use())):
        document.classes.add_class(name)


def save(document: Drawing, path: Path, shown_mm: tuple[Floats, Floats] | None = None) -> None:
    """Write the drawing, opened with a view on the region between two corners (2,) and what surrounds it.

    Times and identifiers that would differ from run to run are fixed, so that the same job gives the same file.
    """
    if shown_mm is not None:
        wide, tall = 1.5 * (shown_mm[1] - shown_mm[0])
        x, y = 0.5 * (shown_mm[0] + shown_mm[1])
        document.set_modelspace_vport(height=float(max(tall, 0.6 * wide)), center=(float(x), float(y)))
    add_classes(document)
    as_before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document.saveas(path)
    finally:
        options.write_fixed_meta_data_for_testing = as_before
