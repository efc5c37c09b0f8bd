"""The whole of job.toml: one table a stage."""

import tomllib
from pathlib import Path
from typing import get_args

from pydantic import Field, ValidationError

from unfold.errors import SettingsError
from unfold.settings.cut import CutSettings
from unfold.settings.drawing import DrawingSettings
from unfold.settings.elevation import ElevationSettings
from unfold.settings.layout import LayoutSettings
from unfold.settings.room import RoomSettings
from unfold.settings.scan import ScanSettings
from unfold.settings.source import SettingsSource
from unfold.settings.surface import SurfaceSettings
from unfold.settings.table import Table
from unfold.settings.title_block import TitleBlockSettings


class JobSettings(Table):
    """Every setting of a job."""

    scan: ScanSettings = Field(default_factory=lambda: ScanSettings())
    room: RoomSettings = Field(default_factory=lambda: RoomSettings())
    surface: SurfaceSettings = Field(default_factory=lambda: SurfaceSettings())
    elevation: ElevationSettings = Field(default_factory=lambda: ElevationSettings())
    layout: LayoutSettings = Field(default_factory=lambda: LayoutSettings())
    drawing: DrawingSettings = Field(default_factory=lambda: DrawingSettings())
    cut: CutSettings = Field(default_factory=lambda: CutSettings())
    title_block: TitleBlockSettings = Field(default_factory=lambda: TitleBlockSettings())


def load_settings(path: Path | None) -> JobSettings:
    """Read job.toml, or give the defaults when there is none.

    Raises SettingsError naming the table and key, the line where it stands, and what is allowed.
    """
    if path is None:
        return JobSettings()
    try:
        text = path.read_text(encoding="utf-8")
        settings = JobSettings.model_validate(tomllib.loads(text))
    except OSError as error:
        raise SettingsError(f"{path}: {error.strerror}", "give the path of a readable job.toml") from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path} is not UTF-8 text", "save job.toml as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: {error}", "correct the TOML there") from error
    except ValidationError as error:
        raise SettingsError(*_explain(SettingsSource(path, text), error)) from error
    settings.layout.remember(SettingsSource(path, text))
    return settings


def _explain(source: SettingsSource, error: ValidationError) -> tuple[str, str]:
    first = error.errors(include_url=False)[0]
    what = first["msg"].removeprefix("Value error, ")
    if first["type"] == "extra_forbidden":
        what = f"there is no such setting; here stand {', '.join(_keys_of(first['loc'][:-1]))}"
    found = "" if isinstance(first["input"], dict) else f" (found {first['input']!r})"
    return f"{source.place(*first['loc'])}: {what}{found}", "correct that line; `unfold settings` lists what is allowed"


def _keys_of(place: tuple[str | int, ...]) -> list[str]:
    """The keys that a table of job.toml may hold."""
    model: type[Table] = JobSettings
    for key in place:
        if isinstance(key, str) and key in model.model_fields:
            annotation = model.model_fields[key].annotation
            within = [part for part in (annotation, *get_args(annotation)) if isinstance(part, type)]
            model = next((part for part in within if issubclass(part, Table)), model)
    return list(model.model_fields)
