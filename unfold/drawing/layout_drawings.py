"""Everything that is drawn of a layout: cut files, panel elevations, the drawing set and the customer's sheet."""

from pathlib import Path

from unfold.drawing.panel_elevation import panel_elevation
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
    laid = {wall.id: wall for wall in layout.walls}
    drawn = [panel_elevation(wall, laid[wall.id], settings.drawing) for wall in elevations.walls if wall.id in laid]
    panels = folder / "panels"
    panels.mkdir(parents=True, exist_ok=True)

    def sheets() -> None:
        from unfold.drawing.customer import write_customer_sheet
        from unfold.drawing.drawing_set import write_drawing_set

        _draw_patches(layout, elevations, surfaces, panels)
        write_drawing_set(layout, drawn, panels / "set.pdf", settings)
        write_customer_sheet(layout, drawn, panels / "customer.pdf", settings)

    def dxfs() -> None:
        from unfold.drawing.cut import write_cut_files  # loads ezdxf, for which the sheets need not wait
        from unfold.drawing.panel_dxf import write_panel_dxf

        write_cut_files(layout, elevations, folder, settings)
        for elevation in drawn:
            if elevation.panels:
                write_panel_dxf(elevation, panels / f"{elevation.wall}-panels.dxf", settings.drawing)

    side_by_side([sheets, dxfs])


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
