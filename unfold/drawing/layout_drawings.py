"""Everything that is drawn of a layout: cut files, panel elevations, the drawing set and the customer's sheet."""

from pathlib import Path

from unfold.drawing.panel_elevation import PanelElevation, panel_elevation
from unfold.elevation.result import Elevations
from unfold.layout.result import Layout
from unfold.settings import JobSettings
from unfold.side_by_side import side_by_side
from unfold.surface.result import Surfaces


def draw_layout(
    layout: Layout, elevations: Elevations, surfaces: Surfaces, folder: Path, settings: JobSettings
) -> None:
    """Write the layout's files into the job folder.

    Raises UnfoldError when a cut file read back differs from the layout.
    """
    side_by_side(
        [
            lambda: draw_sheets(layout, elevations, surfaces, folder, settings),
            lambda: draw_dxfs(layout, elevations, folder, settings),
        ]
    )


def draw_sheets(
    layout: Layout, elevations: Elevations, surfaces: Surfaces, folder: Path, settings: JobSettings
) -> None:
    """Write what is read on paper: the pictures of patches, the drawing set and the customer's sheet."""
    from unfold.drawing.customer import write_customer_sheet
    from unfold.drawing.drawing_set import write_drawing_set

    panels, drawn = _panels_folder(folder), _drawn(layout, elevations, settings)
    _draw_patches(layout, elevations, surfaces, panels)
    write_drawing_set(layout, drawn, panels / "set.pdf", settings)
    write_customer_sheet(layout, drawn, panels / "customer.pdf", settings)


def prepare_dxfs() -> None:
    """Load what `draw_dxfs` needs: a library, and compiled loops, which load at their first call."""
    import numpy as np

    import unfold.drawing.cut
    import unfold.drawing.panel_dxf  # noqa: F401
    from unfold.drawing.curve import fit_path
    from unfold.drawing.dxf_document import new_document

    fit_path(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), 0.1)
    new_document(1.0)


def draw_dxfs(layout: Layout, elevations: Elevations, folder: Path, settings: JobSettings) -> None:
    """Write the cut files, which are read back, and the elevations of the panels.

    Raises UnfoldError when a cut file read back differs from the layout.
    """
    from unfold.drawing.cut import write_cut_files  # loads ezdxf, for which the sheets need not wait
    from unfold.drawing.panel_dxf import write_panel_dxf

    write_cut_files(layout, elevations, folder, settings)
    panels = _panels_folder(folder)
    for elevation in _drawn(layout, elevations, settings):
        if elevation.panels:
            write_panel_dxf(elevation, panels / f"{elevation.wall}-panels.dxf", settings.drawing)


def _drawn(layout: Layout, elevations: Elevations, settings: JobSettings) -> list[PanelElevation]:
    laid = {wall.id: wall for wall in layout.walls}
    return [panel_elevation(wall, laid[wall.id], settings.drawing) for wall in elevations.walls if wall.id in laid]


def _panels_folder(folder: Path) -> Path:
    panels = folder / "panels"
    panels.mkdir(parents=True, exist_ok=True)
    return panels


def _draw_patches(layout: Layout, elevations: Elevations, surfaces: Surfaces, folder: Path) -> None:
    from unfold.drawing.patch_picture import draw_patch_picture
    from unfold.drawing.png_canvas import PngCanvas
    from unfold.drawing.wall_picture import relief_of

    walls = {wall.id: wall for wall in elevations.walls}
    measured = {surface.wall: surface for surface in surfaces.walls}
    for laid in layout.walls:
        if laid.patches:
            wall, surface = walls[laid.id], measured[laid.id]
            picture = draw_patch_picture(PngCanvas, wall, surface, relief_of(wall, surface), laid.patches)
            picture.save(folder / f"{laid.id}-patches.png")
