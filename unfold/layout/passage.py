"""Can a panel be carried through an opening and round a corner? A panel is a box: length, width and thickness.

Carried on edge, what has to pass an opening is the rectangle of the upright side and the thickness, inclined if
need be. What has to turn in a corridor is the plan of the panel on edge: walls are upright, so only it counts, and
inclining the panel lengthens its plan; hence only its two sides come into question as the length.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Passage:
    """One bottleneck of the way in: an opening, or a corridor that turns into the next one by a right angle."""

    name: str
    width_mm: float
    height_mm: float
    next_width_mm: float | None = None  # given: here the way turns into a passage this wide
    depth_behind_mm: float | None = None  # given: how deep the room is behind an opening, straight on

    @property
    def _next_mm(self) -> float:
        given = [width for width in (self.next_width_mm, self.depth_behind_mm) if width is not None]
        return min(given, default=math.inf)

    def __post_init__(self) -> None:
        if min(self.width_mm, self.height_mm, self._next_mm) <= 0.0:
            raise ValueError(f"{self.name}: a passage needs a width and a height above zero")


def rectangle_fits(length: float, width: float, room_length: float, room_width: float) -> bool:
    """Tell whether a rectangle goes into another, inclined if need be (Carver 1957, from memory; any one unit)."""
    long, short = max(length, width), min(length, width)
    room_long, room_short = max(room_length, room_width), min(room_length, room_width)
    if long <= room_long and short <= room_short:
        return True
    if short > room_short or long <= room_long:
        return False
    root = math.sqrt(long * long + short * short - room_long * room_long)
    return room_short >= (2.0 * long * short * room_long + (long * long - short * short) * root) / (long**2 + short**2)


def longest_round_corner_mm(width_mm: float, next_width_mm: float, thickness_mm: float) -> float:
    """Return the longest plan length that turns a right-angled corner between two corridors.

    At the angle a the outer face touches both outer walls, and the inner corner is w1 sin a + w2 cos a - L sin a cos a
    away from it; that has to be at least the thickness at every angle. With no thickness this is the ladder problem,
    (w1^(2/3) + w2^(2/3))^(3/2).
    """
    if thickness_mm >= min(width_mm, next_width_mm):
        return 0.0

    def longest(angle: float) -> float:
        sine, cosine = math.sin(angle), math.cos(angle)
        return (width_mm * sine + next_width_mm * cosine - thickness_mm) / (sine * cosine)

    return _least(longest, 1e-9, math.pi / 2 - 1e-9)


def _least(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the least value of a function that falls, then rises, by golden section."""
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(80):
        left, right = high - golden * (high - low), low + golden * (high - low)
        low, high = (low, right) if function(left) < function(right) else (left, high)
    return function((low + high) / 2.0)


def passes(passage: Passage, sides_mm: tuple[float, float], thickness_mm: float) -> bool | None:
    """Tell whether a panel with these sides, carried on edge, gets past `passage`.

    Behind an opening it goes straight on as far as the room is deep, or turns as round the corner of a corridor as wide
    as the opening: the opening's sides are short, so that a longer panel may turn too. That cannot be told: None.
    """
    answers = [_passes_on_edge(passage, *sides, thickness_mm) for sides in (sides_mm, sides_mm[::-1])]
    if True in answers:
        return True
    return None if None in answers else False


def _passes_on_edge(passage: Passage, upright_mm: float, along_mm: float, thickness_mm: float) -> bool | None:
    if passage.next_width_mm is not None:
        longest = longest_round_corner_mm(passage.width_mm, passage.next_width_mm, thickness_mm)
        return upright_mm <= passage.height_mm and along_mm <= longest
    if not rectangle_fits(upright_mm, thickness_mm, passage.height_mm, passage.width_mm):
        return False
    depth = passage.depth_behind_mm
    if depth is None or along_mm <= depth or along_mm <= longest_round_corner_mm(passage.width_mm, depth, thickness_mm):
        return True
    return None
