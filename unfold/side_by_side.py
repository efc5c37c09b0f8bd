"""Work done side by side in processes of their own: drawing is Python code, at which threads would take turns."""

import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, BinaryIO, NoReturn, TypeVar

from unfold.errors import UnfoldError

Work = Callable[[], None]
_Out = TypeVar("_Out")


def side_by_side(works: Sequence[Work]) -> None:
    """Do every work: the last in this process, each other in a fork of it, which leaves files and nothing else.

    Raises what the first work that fails raised, once all have ended. Where a fork is not safe (other systems than
    Linux, or other threads at work) they are done one after the other.
    """
    if not _may_fork():
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
class Line:
    """One end of a line between two works that run side by side."""

    incoming: BinaryIO
    outgoing: BinaryIO

    def send(self, what: object) -> None:
        """Send a value, which is pickled; the other end's process gets a copy."""
        pickle.dump(what, self.outgoing, pickle.HIGHEST_PROTOCOL)
        self.outgoing.flush()

    def receive(self) -> Any:
        """Wait for the next value. Raises EOFError when the other end has been closed."""
        return pickle.load(self.incoming)

    def close(self) -> None:
        """Close this end; what the other end never fetched is lost."""
        for end in (self.incoming, self.outgoing):
            with suppress(BrokenPipeError):
                end.close()


@contextmanager
def partner(work: Callable[[Line], None]) -> Iterator[Line]:
    """Let a work run beside the body, in a fork where that is safe and else in a thread; a line joins the two.

    The body's end waits for the work's end, and raises what the work raised; so does the body where it waits for
    something that the work cannot send any more.
    """
    (there, out), (back, home) = _pipe(), _pipe()
    ours = Line(os.fdopen(back, "rb"), os.fdopen(out, "wb"))
    theirs = Line(os.fdopen(there, "rb"), os.fdopen(home, "wb"))
    if _may_fork():
        other: _Fork | _Thread = _fork(lambda: _work_at(theirs, work, ours))
        theirs.close()
    else:
        other = _Thread(lambda: _work_at(theirs, work))
    broken: BaseException | None = None
    try:
        yield ours
    except (EOFError, BrokenPipeError) as error:
        broken = error  # the work ended too soon, and says why
    finally:
        ours.close()
        cause = other.error() or broken
    if cause is not None:
        raise cause


def _pipe() -> tuple[int, int]:
    """A pipe that holds a MiB where the system allows it: else rasters go through in steps of 64 KiB."""
    ends = os.pipe()
    if sys.platform == "linux":
        import fcntl

        with suppress(OSError):
            fcntl.fcntl(ends[1], fcntl.F_SETPIPE_SZ, 1 << 20)
    return ends


def in_threads(work: Callable[..., _Out], *columns: Sequence[Any]) -> list[_Out]:
    """Give [work(*row) for row in zip(*columns)], two rows at a time, each in a thread: for work in compiled code."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(lambda row: work(*row), zip(*columns, strict=True)))


def shared_out(work: Callable[..., _Out], *columns: Sequence[Any]) -> list[_Out]:
    """Give [work(*row) for row in zip(*columns)], every other row worked on in a fork, which sends what it found.

    Raises what the work raised. Where a fork is not safe, or there is one row, all are worked on here.
    """
    rows = list(zip(*columns, strict=True))
    if len(rows) < 2 or not _may_fork():
        return [work(*row) for row in rows]
    found: list[Any] = [None] * len(rows)
    with partner(lambda line: line.send([work(*row) for row in rows[1::2]])) as other:
        found[::2] = [work(*row) for row in rows[::2]]
        found[1::2] = other.receive()
    return found


def _work_at(end: Line, work: Callable[[Line], None], other_end: Line | None = None) -> None:
    if other_end is not None:
        other_end.close()  # the fork's copy: else it would never see that its parent has closed it
    try:
        work(end)
    finally:
        end.close()


def _may_fork() -> bool:
    return sys.platform == "linux" and threading.active_count() == 1


class _Thread:
    """The work in a thread, for systems on which a fork is not safe."""

    def __init__(self, work: Work) -> None:
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._do, args=(work,))
        self._thread.start()

    def _do(self, work: Work) -> None:
        try:
            work()
        except BaseException as error:
            self._error = error

    def error(self) -> BaseException | None:
        self._thread.join()
        return self._error


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
