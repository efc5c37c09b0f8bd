"""Everything that is drawn of a layout: cut files, panel elevations, the drawing set and the customer's sheet."""

from pathlib import Path

from unfold.drawing.cut import write_cut_files
from unfold.elevation.result import Elevations
from unfold.layout.result import Layout
from unfold.settings import JobSettings
from unfold.surface.result import Surfaces


def draw_layout(
    layout: Layout, elevations: Elevations, surfaces: Surfaces, folder: Path, settings: JobSettings
) -> None:
    """Write the layout's files into the job folder.

    Raises UnfoldError when a cut file read back differs from the layout.
    """
    write_cut_files(layout, elevations, folder, settings)
