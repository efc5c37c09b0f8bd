"""The layout alone, on a job that was measured before: no scan is read, and none of its machinery is loaded."""

from pathlib import Path

from threadpoolctl import threadpool_limits

from unfold.drawing.layout_drawings import draw_layout
from unfold.job_folder.publishing import publish
from unfold.job_folder.reading import read_job
from unfold.job_folder.writing import write_layout, write_settings
from unfold.layout import lay_panels
from unfold.layout.result import Layout
from unfold.progress import Progress, silent
from unfold.settings import load_settings


def lay_again(folder: Path, settings_path: Path | None = None, progress: Progress = silent) -> Layout:
    """Repeat the layout alone on an existing job, with new settings or its own.

    Raises UnfoldError when `folder` is no complete job, SettingsError when the settings are not allowed.
    """
    settings = load_settings(settings_path if settings_path is not None else folder / "job.toml")
    elevations, surfaces = read_job(folder)
    with threadpool_limits(1, "blas"), publish(folder, keep_rest=True) as draft:
        progress("laying panels")
        layout = lay_panels(elevations, surfaces, settings.layout, progress)
        write_layout(layout, draft)
        write_settings(settings, draft)
        draw_layout(layout, elevations, surfaces, draft, settings)
    return layout
