"""The job from scan to drawings: the only place that knows the order of the stages."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from threadpoolctl import threadpool_limits

from unfold.elevation import unfold_walls
from unfold.elevation.result import Elevations
from unfold.findings import Finding
from unfold.job_folder.publishing import publish
from unfold.job_folder.writing import write_elevations, write_flatness, write_layout, write_settings
from unfold.layout import lay_panels
from unfold.layout.result import Layout
from unfold.memory import give_back_freed
from unfold.progress import Progress, silent
from unfold.room import find_room
from unfold.room.result import Room
from unfold.scan import open_scan
from unfold.scan.result import Source, Station
from unfold.settings import JobSettings, load_settings
from unfold.side_by_side import Line, Work, partner
from unfold.surface import measure_surfaces
from unfold.surface.result import Surfaces


@dataclass(frozen=True, slots=True)
class Job:
    """What a run found out; every file of the job folder is drawn from it."""

    sources: tuple[Source, ...]
    stations: tuple[Station, ...]
    room: Room
    surfaces: Surfaces
    elevations: Elevations
    layout: Layout
    findings: tuple[Finding, ...]


def run_job(
    scans: Sequence[Path],
    folder: Path,
    settings_path: Path | None = None,
    unit: str | None = None,
    progress: Progress = silent,
) -> Job:
    """Run every stage on some scans and leave the job folder.

    Raises
    ------
    UnfoldError
        The job cannot be done; nothing was written and an earlier job in `folder` is untouched.
    SettingsError
        job.toml or an argument asks for something that is not allowed.
    """
    give_back_freed()
    settings = load_settings(settings_path)
    if unit is not None:
        settings = settings.model_copy(update={"scan": settings.scan.model_copy(update={"unit": unit})})
    with threadpool_limits(1, "blas"), publish(folder) as draft:
        return _run_stages(scans, draft, settings, progress)


def _run_stages(scans: Sequence[Path], folder: Path, settings: JobSettings, progress: Progress) -> Job:
    """Take scans through every stage: each takes the results before it and returns one of its own.

    All is drawn in a second process, while this one still works on the stages after.
    """
    with open_scan(scans, settings.scan, progress) as scan:
        room = find_room(scan, settings.room, progress)
        surfaces = measure_surfaces(scan, room, settings.surface, progress)
        scan.settle()
        with partner(lambda line: _draw(line, room, surfaces, folder, settings)) as drawer:
            elevations = unfold_walls(scan, room, surfaces, settings.elevation, progress)
            drawer.send((scan.sources, scan.stations, elevations))
            layout = lay_panels(elevations, surfaces, settings.layout, progress)
            stages = (scan, room, surfaces, elevations, layout)
            findings = tuple(finding for stage in stages for finding in stage.findings)
            drawer.send((layout, findings))
            job = Job(scan.sources, scan.stations, room, surfaces, elevations, layout, findings)
            progress("writing the job folder")
            write_elevations(job.elevations, job.sources, folder)
            write_layout(job.layout, folder)
            write_settings(settings, folder)
    return job


def _draw(line: Line, room: Room, surfaces: Surfaces, folder: Path, settings: JobSettings) -> None:
    """Write and draw what was measured and what was laid, as its parts come."""
    from unfold.drawing.job_drawings import draw_job, prepare_drawing
    from unfold.drawing.layout_drawings import draw_patches, layout_works, prepare_layout_drawing

    write_flatness(surfaces, folder)
    prepare_drawing()
    prepare_layout_drawing()
    sources, stations, elevations = line.receive()

    def rest() -> tuple[tuple[Finding, ...], list[Work]]:
        layout, findings = line.receive()
        patches = {wall.id: wall.patches for wall in layout.walls}
        works = layout_works(layout, elevations, folder, settings)
        return findings, [*works, lambda: draw_patches(patches, elevations, surfaces, folder)]

    draw_job(sources, stations, room, surfaces, elevations, rest, folder, settings.drawing)
