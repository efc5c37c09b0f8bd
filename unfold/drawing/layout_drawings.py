"""Everything that is drawn of a layout: cut files, panel elevations, the drawing set and the customer's sheet."""

from pathlib import Path

from unfold.drawing.panel_elevation import panel_elevation
from unfold.elevation.result import Elevations
from unfold.layout.result import Layout, Patches
from unfold.settings import JobSettings
from unfold.side_by_side import Work, side_by_side
from unfold.surface.result import Surfaces


def draw_layout(
    layout: Layout, elevations: Elevations, surfaces: Surfaces, folder: Path, settings: JobSettings
) -> None:
    """Write the layout's files into the job folder.

    Raises UnfoldError when a cut file read back differs from the layout.
    """
    prepare_layout_drawing()
    patches = {wall.id: wall.patches for wall in layout.walls}
    works = layout_works(layout, elevations, folder, settings)
    side_by_side([*works, lambda: draw_patches(patches, elevations, surfaces, folder)])


def prepare_layout_drawing() -> None:
    """Load what draws a layout: libraries, fonts, and compiled loops, which load at their first call."""
    import contourpy  # noqa: F401
    import numpy as np
    from PIL import Image

    import unfold.drawing.customer
    import unfold.drawing.cut
    import unfold.drawing.drawing_set
    import unfold.drawing.panel_dxf
    import unfold.drawing.patch_picture
    import unfold.drawing.png_canvas  # noqa: F401
    from unfold.drawing.curve import fit_path
    from unfold.drawing.dxf_document import new_document
    from unfold.drawing.paper import register_lettering
    from unfold.elevation.rings import cells_inside
    from unfold.surface.result import Grid

    corner = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    fit_path(corner, 0.1)
    cells_inside(corner, Grid(0.0, 0.0, 1.0, 2, 2))
    new_document(1.0)
    register_lettering()
    Image.preinit()


def layout_works(layout: Layout, elevations: Elevations, folder: Path, settings: JobSettings) -> list[Work]:
    """The works that write a layout's files, but for the pictures of patches; they may be done side by side.

    The first raises UnfoldError when a cut file read back differs from the layout.
    """
    from unfold.drawing.customer import write_customer_sheet
    from unfold.drawing.cut import write_cut_files  # loads ezdxf, for which who only lays need not wait
    from unfold.drawing.drawing_set import write_drawing_set
    from unfold.drawing.panel_dxf import write_panel_dxf

    panels = _panels_folder(folder)
    laid = {wall.id: wall for wall in layout.walls}
    drawn = [panel_elevation(wall, laid[wall.id], settings.drawing) for wall in elevations.walls if wall.id in laid]

    def elevations_of_panels() -> None:
        for elevation in drawn:
            if elevation.panels:
                write_panel_dxf(elevation, panels / f"{elevation.wall}-panels.dxf", settings.drawing)

    def sheets() -> None:
        write_drawing_set(layout, drawn, panels / "set.pdf", settings)
        write_customer_sheet(layout, drawn, panels / "customer.pdf", settings)

    return [lambda: write_cut_files(layout, elevations, folder, settings), elevations_of_panels, sheets]


def draw_patches(patches: Patches, elevations: Elevations, surfaces: Surfaces, folder: Path) -> None:
    """Write a picture of every wall's patches, by wall id, into the job folder."""
    from unfold.drawing.patch_picture import draw_patch_picture
    from unfold.drawing.png_canvas import PngCanvas
    from unfold.drawing.wall_picture import relief_of

    panels = _panels_folder(folder)
    walls = {wall.id: wall for wall in elevations.walls}
    measured = {surface.wall: surface for surface in surfaces.walls}
    for name, spots in patches.items():
        if spots:
            wall, surface = walls[name], measured[name]
            picture = draw_patch_picture(PngCanvas, wall, surface, relief_of(wall, surface), spots)
            picture.save(panels / f"{name}-patches.png")


def _panels_folder(folder: Path) -> Path:
    panels = folder / "panels"
    panels.mkdir(parents=True, exist_ok=True)
    return panels
