"""Dividing a length into pieces: where joints go along one direction.

Every function takes the two ends, the greatest piece and the joint's width, and returns the joints' centres in rising
order. No end piece is narrower than the least strip where sharing with its neighbour can avoid it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

ROUNDING_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Span:
    """What is divided: from `low` to `high`, into pieces of at most `most`, with joints `joint` wide."""

    low: float
    high: float
    most: float
    joint: float
    least: float = 0.0  # narrowest wanted piece


def equal(span: Span) -> tuple[float, ...]:
    """Equal pieces, as few as can be."""
    count = max(1, math.ceil((span.high - span.low + span.joint) / (span.most + span.joint) - ROUNDING_MM))
    return equal_in(span, count)


def equal_in(span: Span, count: int) -> tuple[float, ...]:
    """A given number of equal pieces."""
    pitch = (span.high - span.low + span.joint) / count
    return tuple(span.low + step * pitch - span.joint / 2.0 for step in range(1, count))


def from_low(span: Span) -> tuple[float, ...]:
    """Whole pieces from the low end; what is left over at the high end."""
    joints: list[float] = []
    start = span.low
    while span.high - start > span.most + ROUNDING_MM:
        rest = span.high - start - span.most - span.joint
        piece = span.most if rest >= span.least or rest <= -span.joint else (span.high - start - span.joint) / 2.0
        joints.append(start + piece + span.joint / 2.0)
        start += piece + span.joint
    return tuple(joints)


def from_high(span: Span) -> tuple[float, ...]:
    """Whole pieces from the high end."""
    mirrored = from_low(Span(-span.high, -span.low, span.most, span.joint, span.least))
    return tuple(-joint for joint in reversed(mirrored))


def joint_at(span: Span, places: Sequence[float]) -> tuple[float, ...]:
    """Joints at some places, and whole pieces from the first and the last of them outward; equal pieces between."""
    inside = sorted(place for place in places if span.low + span.least < place < span.high - span.least)
    if not inside:
        return equal(span)
    half = span.joint / 2.0
    joints = [*from_high(Span(span.low, inside[0] - half, span.most, span.joint, span.least)), inside[0]]
    for before, after in pairwise(inside):
        joints += [*equal(Span(before + half, after - half, span.most, span.joint, span.least)), after]
    joints += from_low(Span(inside[-1] + half, span.high, span.most, span.joint, span.least))
    return tuple(joints)


def piece_at(span: Span, centre: float) -> tuple[float, ...]:
    """One whole piece centred on a place, and whole pieces from it outward."""
    reach = (span.most + span.joint) / 2.0
    return joint_at(span, (centre - reach, centre + reach))


def staggered(span: Span, share: float, row: int) -> tuple[float, ...]:
    """Equal pieces, shifted by a share of a piece in every other row."""
    joints = equal(span)
    if row % 2 == 0:
        return joints
    pitch = (span.high - span.low + span.joint) / (len(joints) + 1)
    return tuple(span.low + pitch * (share + step) - span.joint / 2.0 for step in range(len(joints) + 1))


def staggered_in_bays(span: Span, bay: float, share: float, row: int) -> tuple[float, ...]:
    """Staggered pieces in equal bays no longer than `bay`; the joints between bays run through all rows."""
    between = equal(Span(span.low, span.high, bay, span.joint))
    ends = [span.low - span.joint / 2.0, *between, span.high + span.joint / 2.0]
    joints: list[float] = list(between)
    for before, after in pairwise(ends):
        joints += staggered(
            Span(before + span.joint / 2.0, after - span.joint / 2.0, span.most, span.joint, span.least), share, row
        )
    return tuple(sorted(joints))


def pieces(span: Span, joints: Sequence[float]) -> tuple[float, ...]:
    """The lengths that joints leave."""
    half = span.joint / 2.0
    starts = [span.low, *(joint + half for joint in joints)]
    ends = [*(joint - half for joint in joints), span.high]
    return tuple(end - start for start, end in zip(starts, ends, strict=True))
