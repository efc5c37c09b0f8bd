"""job.toml as a document: every setting with its value, what it means, what is allowed, and its source."""

import json
import textwrap
from collections.abc import Iterator
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic.fields import FieldInfo

from unfold.settings.job import JobSettings
from unfold.settings.table import Table

WIDTH = 110
HEAD = """\
# Settings of an unfold job. Every value here is the one in force; a line that starts with "# " and a key shows a
# setting that is not set. A plain number of a length is millimetres; a text carries its unit: "3 mm", "1/8 in",
# "4 ft 6 1/2 in".
"""


def settings_toml(settings: JobSettings | None = None) -> str:
    """Write settings (by default the defaults) as a commented job.toml that reads back to the same settings."""
    settings = settings if settings is not None else JobSettings()
    return "\n".join([HEAD, *_table_lines(settings, "", "")]).rstrip() + "\n"


def _table_lines(table: Table, path: str, description: str) -> Iterator[str]:
    """Lines of one table: its own keys first, then its sub-tables, then its arrays of tables."""
    fields = type(table).model_fields
    plain = [name for name, field in fields.items() if _item_model(field) is None and not _is_table(table, name)]
    if path and plain:
        yield from _comment((description or _first_sentence(type(table))), "# ")
        yield f"[{path}]"
    for name in plain:
        yield from _key_lines(name, fields[name], getattr(table, name))
    if plain:
        yield ""
    for name in fields:
        if _is_table(table, name):
            yield from _table_lines(getattr(table, name), _join(path, name), fields[name].description or "")
    for name, field in fields.items():
        model = _item_model(field)
        if model is not None:
            yield from _array_lines(model, getattr(table, name), _join(path, name), field.description or "")


def _array_lines(model: type[Table], items: tuple[Table, ...], path: str, description: str) -> Iterator[str]:
    yield from _comment(description or _first_sentence(model), "# ")
    if not items:
        yield f"# [[{path}]]"
        for name, field in model.model_fields.items():
            yield from _comment(_meaning(field), "#   ")
            yield f"# {name} = {_example(field)}"
        yield ""
    for number, item in enumerate(items):
        yield f"[[{path}]]"
        for name, field in model.model_fields.items():
            yield from _key_lines(name, field, getattr(item, name), explain=number == 0)
        yield ""


def _key_lines(name: str, field: FieldInfo, value: Any, explain: bool = True) -> Iterator[str]:
    if explain:
        yield from _comment(_meaning(field), "# ")
    if value is None:
        yield f"# {name} = {_example(field)}"
    else:
        yield f"{name} = {_toml(value)}"


def _meaning(field: FieldInfo) -> str:
    allowed = _allowed(field)
    return f"{field.description or ''}{f' [{allowed}]' if allowed else ''}".strip()


def _allowed(field: FieldInfo) -> str:
    """What the field's type and limits allow, in words."""
    choices = [choice for part in (field.annotation, *get_args(field.annotation)) if get_origin(part) is Literal
               for choice in get_args(part)]  # fmt: skip
    if choices:
        return " | ".join(json.dumps(choice) for choice in choices)
    words = []
    for limit in _limits(field):
        if isinstance(limit, annotated_types.Ge):
            words.append(f"at least {limit.ge:g}")  # type: ignore[str-format]
        elif isinstance(limit, annotated_types.Gt):
            words.append(f"above {limit.gt:g}")  # type: ignore[str-format]
        elif isinstance(limit, annotated_types.Le):
            words.append(f"at most {limit.le:g}")  # type: ignore[str-format]
        elif isinstance(limit, annotated_types.Lt):
            words.append(f"below {limit.lt:g}")  # type: ignore[str-format]
    return ", ".join(words)


def _limits(field: FieldInfo) -> list[Any]:
    """Limits of a field, also of what an optional field may hold."""
    nested = [item for part in get_args(field.annotation) for item in getattr(part, "__metadata__", ())]
    inner = [item for entry in nested if isinstance(entry, FieldInfo) for item in entry.metadata]
    return [*field.metadata, *nested, *inner]


def _example(field: FieldInfo) -> str:
    """A value to show for a setting that has none."""
    default = field.get_default(call_default_factory=False)
    if not field.is_required() and default is not None:
        return _toml(default)
    annotation = field.annotation
    if get_origin(annotation) in (Union, UnionType):
        annotation = next(part for part in get_args(annotation) if part is not type(None))
    if get_origin(annotation) is Literal:
        return _toml(get_args(annotation)[0])
    if get_origin(annotation) is tuple:
        parts = [part for part in get_args(annotation) if part is not Ellipsis]
        return "[" + ", ".join('"W1"' if part is str else "1000.0" for part in parts) + "]"
    return {str: '"..."', int: "1", bool: "false"}.get(annotation, "1000.0")  # type: ignore[arg-type]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)


def _item_model(field: FieldInfo) -> type[Table] | None:
    """The table of an array of tables; None for any other field."""
    parts = get_args(field.annotation) if get_origin(field.annotation) is tuple else ()
    return next((part for part in parts if isinstance(part, type) and issubclass(part, Table)), None)


def _is_table(table: Table, name: str) -> bool:
    return isinstance(getattr(table, name), Table)


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _first_sentence(model: type[Table]) -> str:
    return (model.__doc__ or "").strip().split("\n")[0]


def _comment(text: str, mark: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=mark) if text else []
