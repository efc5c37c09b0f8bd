"""`unfold settings` writes a job.toml that reads back to the very same settings."""

import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from unfold.settings import JobSettings, load_settings
from unfold.settings.document import settings_toml


def tables(model: type[BaseModel]) -> list[type[BaseModel]]:
    """A model and all tables within it, also those of arrays."""
    found = [model]
    for field in model.model_fields.values():
        for part in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(part, type) and issubclass(part, BaseModel):
                found += tables(part)
    return found


def test_the_defaults_read_back(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(settings_toml(), encoding="utf-8")
    assert load_settings(path).model_dump() == JobSettings().model_dump()


def test_settings_in_force_read_back() -> None:
    asked: dict[str, Any] = {
        "layout": {
            "walls": ["W1", "W3"],
            "gaps": {"ceiling": "1/2 in"},
            "stock": [{"id": "A", "directional": True}, {"id": "B", "count": 3}],
            "face": [{"wall": "W2", "condition": "painted"}],
            "wall": [{"wall": "W1", "joints_u": ["1 m", 2500.5]}, {"wall": "W3", "bond": "staggered"}],
            "corner": [{"walls": ["W1", "W2"], "runs_through": "W2"}],
        },
        "title_block": {"project": 'Ticket hall "North"'},
    }
    settings = JobSettings.model_validate(asked)
    again = JobSettings.model_validate(tomllib.loads(settings_toml(settings)))
    assert again.model_dump() == settings.model_dump()


def test_every_layout_setting_is_shown_and_says_what_it_is() -> None:
    text = settings_toml()
    for model in tables(JobSettings.model_fields["layout"].annotation):  # type: ignore[arg-type]
        for name, field in model.model_fields.items():
            assert f"{name} = " in text or f".{name}]" in text
            assert field.description or f".{name}]" in text


def test_a_commented_setting_works_when_its_mark_is_taken_away() -> None:
    lines = settings_toml().splitlines()
    index = next(number for number, line in enumerate(lines) if line.startswith("# spacing = "))
    lines[index] = lines[index].removeprefix("# ")
    assert JobSettings.model_validate(tomllib.loads("\n".join(lines))).layout.movement.spacing == 1000.0
