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
from unfold.progress import Progress, silent
from unfold.room import find_room
from unfold.room.result import Room
from unfold.scan import open_scan
from unfold.scan.result import Source, Station
from unfold.settings import JobSettings, load_settings
from unfold.side_by_side import side_by_side
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
    settings = load_settings(settings_path)
    if unit is not None:
        settings = settings.model_copy(update={"scan": settings.scan.model_copy(update={"unit": unit})})
    with threadpool_limits(1, "blas"), publish(folder) as draft:
        job = measure(scans, settings, progress)
        progress("writing the job folder")
        write_job(job, draft, settings)
    return job


def measure(scans: Sequence[Path], settings: JobSettings, progress: Progress = silent) -> Job:
    """Take scans through every stage but the drawings: each takes the results before it and returns one of its own."""
    with open_scan(scans, settings.scan, progress) as scan:
        room = find_room(scan, settings.room, progress)
        surfaces = measure_surfaces(scan, room, settings.surface, progress)
        elevations = unfold_walls(scan, room, surfaces, settings.elevation, progress)
        layout = lay_panels(elevations, surfaces, settings.layout, progress)
        stages = (scan, room, surfaces, elevations, layout)
        findings = tuple(finding for stage in stages for finding in stage.findings)
        return Job(scan.sources, scan.stations, room, surfaces, elevations, layout, findings)


def write_job(job: Job, folder: Path, settings: JobSettings) -> None:
    """Write everything that a job folder holds; drawing libraries are loaded where they are used, side by side."""

    def job_drawings() -> None:
        from unfold.drawing.job_drawings import draw_job

        draw_job(
            job.sources,
            job.stations,
            job.room,
            job.surfaces,
            job.elevations,
            job.findings,
            folder,
            settings.drawing,
        )

    def layout_drawings() -> None:
        from unfold.drawing.layout_drawings import draw_layout

        draw_layout(job.layout, job.elevations, job.surfaces, folder, settings)

    def figures() -> None:
        write_elevations(job.elevations, job.sources, folder)
        write_flatness(job.surfaces, folder)
        write_layout(job.layout, folder)
        write_settings(settings, folder)

    side_by_side([job_drawings, layout_drawings, figures])
