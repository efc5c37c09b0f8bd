"""A job folder appears whole or not at all: files are written to a draft beside it, then put in its place."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from unfold.errors import SettingsError, UnfoldError

OUTPUTS = (
    "elevations.json", "flatness.json", "layout.json", "job.toml", "surfaces", "heatmaps", "drawings", "panels",
    "cut", "report.html", "report.pdf",
)  # fmt: skip
MARK = "elevations.json"


@contextmanager
def publish(folder: Path, keep_rest: bool = False) -> Iterator[Path]:
    """Give a draft folder to write to, and put what it then holds in place of `folder`.

    When the body raises, the draft is removed and `folder` stays as it was. Files in `folder` that are no output of
    unfold are carried over; with `keep_rest` so are the outputs that the draft does not hold.

    Raises
    ------
    SettingsError
        `folder` exists and is no job folder.
    UnfoldError
        The folder cannot be written.
    """
    target = Path(os.path.abspath(folder))
    _check_target(target)
    made = _make_parents(target.parent)
    draft: Path | None = None
    try:
        draft = Path(tempfile.mkdtemp(prefix=f".{target.name}-draft-", dir=target.parent))
        yield draft
        _put_in_place(draft, target, keep_rest)
    except OSError as error:
        name = error.filename or folder
        raise UnfoldError(f"{name} cannot be written: {error.strerror or error}", "choose another --out") from error
    finally:
        if draft is not None and draft.exists():
            shutil.rmtree(draft)
        _remove_empty(made)


def _check_target(target: Path) -> None:
    if target.is_dir():
        names = os.listdir(target)
        if names and MARK not in names:
            raise SettingsError(f"{target} exists and is no job folder", "choose another --out, or empty it first")
    elif target.exists():
        raise SettingsError(f"{target} is a file", "give a folder for --out")


def _make_parents(parent: Path) -> list[Path]:
    missing = [folder for folder in (parent, *parent.parents) if not folder.exists()]
    try:
        parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UnfoldError(f"{parent} cannot be made: {error.strerror}", "choose another --out") from error
    return missing


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return


def _put_in_place(draft: Path, target: Path, keep_rest: bool) -> None:
    os.chmod(draft, 0o777 & ~_umask())
    if not target.exists():
        draft.rename(target)
        return
    previous = Path(tempfile.mkdtemp(prefix=f".{target.name}-previous-", dir=target.parent))
    target.rename(previous)
    try:
        for entry in list(previous.iterdir()):
            if keep_rest or entry.name not in OUTPUTS:
                _carry_over(entry, draft / entry.name)
        draft.rename(target)
    except BaseException:
        if not target.exists():
            previous.rename(target)
        raise
    shutil.rmtree(previous)


def _carry_over(entry: Path, place: Path) -> None:
    """Copy what the draft lacks; the earlier job stays whole until the draft stands in its place."""
    if place.exists():
        return
    if entry.is_dir() and not entry.is_symlink():
        shutil.copytree(entry, place, symlinks=True)
    else:
        shutil.copy2(entry, place, follow_symlinks=False)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
