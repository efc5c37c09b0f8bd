"""Work done ahead in another thread: decoding goes on while the stages fold the chunk before."""

from collections.abc import Generator, Iterator
from queue import Empty, Full, Queue
from threading import Event, Thread
from typing import TypeVar

Item = TypeVar("Item")
_END = object()


def read_ahead(items: Iterator[Item], depth: int = 2) -> Generator[Item, None, None]:
    """Yield `items` in their order while a thread is up to `depth` items ahead; their exceptions come through."""
    queue: Queue[object] = Queue(depth)
    stop = Event()
    worker = Thread(target=_fill, args=(items, queue, stop), name="decode", daemon=True)
    worker.start()
    try:
        while (item := queue.get()) is not _END:
            if isinstance(item, _Raised):
                raise item.error
            yield item  # type: ignore[misc]
    finally:
        stop.set()
        _drain(queue)
        worker.join()


class _Raised:
    def __init__(self, error: BaseException) -> None:
        self.error = error


def _fill(items: Iterator[Item], queue: "Queue[object]", stop: Event) -> None:
    try:
        for item in items:
            if not _put(queue, item, stop):
                return
        _put(queue, _END, stop)
    except BaseException as error:  # whatever it is, it belongs to the thread that reads
        _put(queue, _Raised(error), stop)
    finally:
        close = getattr(items, "close", None)
        if close is not None:
            close()


def _put(queue: "Queue[object]", item: object, stop: Event) -> bool:
    while not stop.is_set():
        try:
            queue.put(item, timeout=0.1)
            return True
        except Full:
            continue
    return False


def _drain(queue: "Queue[object]") -> None:
    try:
        while True:
            queue.get_nowait()
    except Empty:
        return
