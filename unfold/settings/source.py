"""Where a setting stands in job.toml, so that a fault can name the line."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")


@dataclass(frozen=True, slots=True)
class SettingsSource:
    """The text of a job.toml and its path; an empty text when the settings came from nowhere."""

    path: Path | None
    text: str

    def line_of(self, *keys: str | int) -> int | None:
        """Find the line (from 1) where the longest leading part of `keys` that the file states stands.

        `keys` is the way to a value, as ("layout", "stock", 1, "width"): a number counts the [[tables]] of one name, or
        the items of an array, from 0.
        """
        best: tuple[int, int | None] = 0, None
        for path, number in self._statements():
            leads = path == keys[: len(path)]
            if leads and len(path) > best[0]:
                best = len(path), number
            elif best[1] is None and path[: len(keys)] == keys:  # only a part of it is stated: a table within
                best = 0, number
        return best[1]

    def place(self, *keys: str | int) -> str:
        """Say where in words that an editor understands: `job.toml:12`, or the dotted name when there is no file."""
        dotted = dotted_name(keys)
        if self.path is None:
            return dotted
        line = self.line_of(*keys)
        return f"{self.path}:{line}: {dotted}" if line else f"{self.path}: {dotted}"

    def _statements(self) -> Iterator[tuple[tuple[str | int, ...], int]]:
        """Give the full path of every header and key, with its line."""
        counts: dict[tuple[str, ...], int] = {}
        table: tuple[str | int, ...] = ()
        for number, line in enumerate(self.text.splitlines(), start=1):
            header = _HEADER.match(line)
            if header:
                table = _table_path(_split(header[2]), header[1] == "[[", counts)
                yield table, number
            elif "=" in line and not line.lstrip().startswith("#"):
                yield (*table, *_split(line.split("=", 1)[0])), number


def dotted_name(keys: tuple[str | int, ...]) -> str:
    """Write the way to a value with dots, counting [[tables]] from 1: `layout.stock[2].width`."""
    text = ""
    for key in keys:
        text += f"[{key + 1}]" if isinstance(key, int) else f".{key}" if text else key
    return text


def _split(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _table_path(names: tuple[str, ...], is_array: bool, counts: dict[tuple[str, ...], int]) -> tuple[str | int, ...]:
    """Put the running number of each [[array of tables]] into the path of a header."""
    if is_array:
        counts[names] = counts.get(names, -1) + 1
    path: list[str | int] = []
    for end in range(1, len(names) + 1):
        path.append(names[end - 1])
        if names[:end] in counts:
            path.append(counts[names[:end]])
    return tuple(path)
