"""Work done side by side in processes of their own: drawing is Python code, at which threads would take turns."""

import os
import pickle
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NoReturn

from unfold.errors import UnfoldError

Work = Callable[[], None]


def side_by_side(works: Sequence[Work]) -> None:
    """Do every work: the last in this process, each other in a fork of it, which leaves files and nothing else.

    Raises what the first work that fails raised, once all have ended. Where a fork is not safe (other systems than
    Linux, or other threads at work) they are done one after the other.
    """
    if sys.platform != "linux" or threading.active_count() > 1:
        for work in works:
            work()
        return
    forks = [_fork(work) for work in works[:-1]]
    try:
        works[-1]()
    finally:
        errors = [fork.error() for fork in forks]
    for error in errors:
        if error is not None:
            raise error


@dataclass(frozen=True, slots=True)
class _Fork:
    process: int
    pipe: int  # brings the error, or nothing

    def error(self) -> BaseException | None:
        with os.fdopen(self.pipe, "rb") as said:
            pickled = said.read()
        _, status = os.waitpid(self.process, 0)
        if pickled:
            error: BaseException = pickle.loads(pickled)
            return error
        code = os.waitstatus_to_exitcode(status)
        return None if code == 0 else UnfoldError(f"a process that drew ended with {code}", "run again")


def _fork(work: Work) -> _Fork:
    ours, theirs = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(ours)
        _do(work, theirs)
    os.close(theirs)
    return _Fork(process, ours)


def _do(work: Work, pipe: int) -> NoReturn:
    """Do the work and end the fork there and then: what this process has open is its parent's to close."""
    try:
        work()
    except BaseException as error:
        with os.fdopen(pipe, "wb") as said:
            said.write(_pickled(error))
        os._exit(1)
    os._exit(0)


def _pickled(error: BaseException) -> bytes:
    try:
        pickle.loads(pickled := pickle.dumps(error))
        return pickled
    except Exception:  # an error that cannot be sent is told of in words
        return pickle.dumps(RuntimeError(f"{type(error).__name__}: {error}"))
