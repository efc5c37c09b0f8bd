"""Seconds spent in some functions of a stage, out of a whole that calls them."""

import time
from importlib import import_module
from typing import Any


class Stopwatch:
    """Adds up wall and processor time of functions, which are watched where a module knows them by name."""

    def __init__(self) -> None:
        self.wall_s = self.processor_s = 0.0

    def watch(self, module: str, name: str) -> None:
        """Time every call of a function that goes through that module's name for it; none may call another."""
        home = import_module(module)
        function = getattr(home, name)

        def timed(*arguments: Any, **named: Any) -> Any:
            wall, processor = time.perf_counter(), time.process_time()
            try:
                return function(*arguments, **named)
            finally:
                self.wall_s += time.perf_counter() - wall
                self.processor_s += time.process_time() - processor

        setattr(home, name, timed)

    def reset(self) -> None:
        """Begin afresh."""
        self.wall_s = self.processor_s = 0.0
