"""Round numbers: steps of axes, contours and scale bars, and the ends of colour scales."""

import math

_STEPS = (1.0, 2.0, 5.0, 10.0)
_ENDS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def round_step(at_least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not under `at_least` (which is greater than zero)."""
    return _next_of(_STEPS, at_least)


def round_end(at_least: float) -> float:
    """The smallest round end of a scale that is not under `at_least` (which is greater than zero)."""
    return _next_of(_ENDS, at_least)


def ticks(low: float, high: float, step: float) -> list[float]:
    """Multiples of `step` from `low` to `high`, both ends included where they are multiples."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [step * number for number in range(first, last + 1)]


def _next_of(choices: tuple[float, ...], at_least: float) -> float:
    power = 10.0 ** math.floor(math.log10(at_least))
    return next(choice * power for choice in choices if choice * power >= at_least * (1.0 - 1e-9))
