"""The layout alone, on a job that was measured before: no scan is read, and none of its machinery is loaded."""

from pathlib import Path

from threadpoolctl import threadpool_limits

from unfold.job_folder.publishing import publish
from unfold.layout.result import Layout
from unfold.progress import Progress, silent
from unfold.settings import JobSettings, load_settings
from unfold.side_by_side import Line, partner, side_by_side


def lay_again(folder: Path, settings_path: Path | None = None, progress: Progress = silent) -> Layout:
    """Repeat the layout alone on an existing job, with new settings or its own.

    A second process reads the job while this one loads what lays panels, and draws the layout.

    Raises UnfoldError when `folder` is no complete job, SettingsError when the settings are not allowed.
    """
    settings = load_settings(settings_path if settings_path is not None else folder / "job.toml")
    with publish(folder, keep_rest=True) as draft, partner(lambda end: _assist(end, folder, draft, settings)) as other:
        from unfold.job_folder.writing import write_layout, write_settings
        from unfold.layout import lay_panels

        elevations, surfaces = other.receive()
        progress("laying panels")
        with threadpool_limits(1, "blas"):
            layout = lay_panels(elevations, surfaces, settings.layout, progress, other.send)
            other.send(layout)
            write_layout(layout, draft)
            write_settings(settings, draft)
    return layout


def _assist(line: Line, folder: Path, draft: Path, settings: JobSettings) -> None:
    """Read the job and send it; make ready to draw, and draw the layout that comes back."""
    from unfold.job_folder.reading import read_job

    elevations, surfaces = read_job(folder)
    line.send((elevations, surfaces))
    from unfold.drawing.layout_drawings import draw_patches, layout_works, prepare_layout_drawing

    with threadpool_limits(1, "blas"):
        prepare_layout_drawing()
        draw_patches(line.receive(), elevations, surfaces, draft)  # known before the panels are laid
        side_by_side(layout_works(line.receive(), elevations, draft, settings))
