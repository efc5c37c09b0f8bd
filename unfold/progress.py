"""Long work says what it is doing: on a terminal one line that changes, on a pipe nothing."""

import sys
from collections.abc import Callable
from typing import TextIO, TypeAlias

Progress: TypeAlias = Callable[[str], None]
"""Called with a few words on what is being done now."""


def silent(_: str) -> None:
    """Report nothing."""


def terminal_progress(stream: TextIO = sys.stderr) -> Progress:
    """Return a reporter that rewrites one line of a terminal, or says nothing when `stream` is not a terminal."""
    if not stream.isatty():
        return silent

    def report(doing: str) -> None:
        stream.write(f"\r\x1b[2K{doing}")
        stream.flush()

    return report


def end_progress(stream: TextIO = sys.stderr) -> None:
    """Clear the progress line, so that what is printed next starts on a clean one."""
    if stream.isatty():
        stream.write("\r\x1b[2K")
        stream.flush()
