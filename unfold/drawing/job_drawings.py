"""Everything that is drawn of a job as it was measured: pictures, elevations, the plan of the room, the report."""

from collections.abc import Callable, Sequence
from pathlib import Path

from unfold.drawing.pdf_canvas import PdfCanvas, register_fonts
from unfold.drawing.plan_picture import draw_plan_picture
from unfold.drawing.png_canvas import PngCanvas
from unfold.drawing.report_content import build_report
from unfold.drawing.report_html import report_html
from unfold.drawing.report_pdf import write_report_pdf
from unfold.drawing.room_plan import plan_room
from unfold.drawing.wall_picture import draw_wall_picture, relief_of
from unfold.elevation.result import Elevations
from unfold.findings import Finding
from unfold.room.result import Room
from unfold.scan.result import Source, Station
from unfold.settings.drawing import DrawingSettings
from unfold.side_by_side import Work, side_by_side
from unfold.surface.result import Surfaces

Rest = Callable[[], tuple[tuple[Finding, ...], Sequence[Work]]]
"""Gives the job's findings, and what is to be done beside the report."""


def draw_job(
    sources: tuple[Source, ...],
    stations: tuple[Station, ...],
    room: Room | None,
    surfaces: Surfaces,
    elevations: Elevations,
    rest: Rest,
    folder: Path,
    settings: DrawingSettings,
) -> None:
    """Write heatmaps/, drawings/, report.html and report.pdf of a job into its folder.

    `rest` is called once the pictures are drawn: the panels may still be laid meanwhile.
    """
    side_by_side(
        [
            lambda: _draw_elevations(stations, surfaces, elevations, folder, settings),
            lambda: _draw_report(sources, stations, room, surfaces, elevations, rest, folder, settings),
        ]
    )


def prepare_drawing() -> None:
    """Load what `draw_job` needs: libraries, and fonts."""
    import unfold.drawing.room_dxf
    import unfold.drawing.wall_dxf  # noqa: F401

    register_fonts()


def _draw_elevations(
    stations: tuple[Station, ...],
    surfaces: Surfaces,
    elevations: Elevations,
    folder: Path,
    settings: DrawingSettings,
) -> None:
    """Write drawings/: the elevations of a job and the plan of its room, as DXF."""
    from unfold.drawing.room_dxf import write_room_dxf  # loads ezdxf, for which the report need not wait
    from unfold.drawing.wall_dxf import write_wall_dxf

    drawings = folder / "drawings"
    drawings.mkdir(parents=True, exist_ok=True)
    verdicts = {surface.wall: surface.verdict for surface in surfaces.walls}
    for wall in elevations.walls:
        write_wall_dxf(wall, verdicts.get(wall.id), drawings / f"{wall.id}.dxf", settings)
    write_room_dxf(plan_room(elevations, surfaces, stations), drawings / "room.dxf", settings)


def _draw_report(
    sources: tuple[Source, ...],
    stations: tuple[Station, ...],
    room: Room | None,
    surfaces: Surfaces,
    elevations: Elevations,
    rest: Rest,
    folder: Path,
    settings: DrawingSettings,
) -> None:
    """Write heatmaps/, drawings/plan.png, report.html and report.pdf of a job into its folder."""
    plan = plan_room(elevations, surfaces, stations)
    floor = room.plan_m if room is not None else ()
    (folder / "heatmaps").mkdir(parents=True, exist_ok=True)
    (folder / "drawings").mkdir(parents=True, exist_ok=True)
    register_fonts()
    vectors = {"plan": draw_plan_picture(PdfCanvas, plan, floor, settings)}
    pixels = {"plan": folder / "drawings" / "plan.png"}
    draw_plan_picture(PngCanvas, plan, floor, settings).save(pixels["plan"])
    by_id = {surface.wall: surface for surface in surfaces.walls}
    for wall in (wall for wall in elevations.walls if wall.id in by_id):
        pixels[wall.id] = folder / "heatmaps" / f"{wall.id}.png"
        relief = relief_of(wall, by_id[wall.id])
        vectors[wall.id] = draw_wall_picture(PdfCanvas, wall, by_id[wall.id], relief, settings)
        draw_wall_picture(PngCanvas, wall, by_id[wall.id], relief, settings).save(pixels[wall.id])
    findings, works = rest()

    def write_report() -> None:
        report = build_report(sources, stations, surfaces, elevations, findings, settings)
        page = report_html(report, {name: path.read_bytes() for name, path in pixels.items()})
        (folder / "report.html").write_text(page, encoding="utf-8")
        write_report_pdf(report, vectors, folder / "report.pdf")

    side_by_side([*works, write_report])
