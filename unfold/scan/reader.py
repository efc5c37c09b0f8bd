"""The contract between a format's reader and the stream: parts (set-ups), and batches of raw coordinates."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np

from unfold.arrays import AnyArray, Floats
from unfold.settings.scan import LengthUnit

IDENTITY: Floats = np.hstack((np.eye(3), np.zeros((3, 1))))
BATCH_POINTS = 1 << 18  # small enough to stay in cache between decoding and transforming, large enough for few calls


@dataclass(slots=True)
class Part:
    """One set-up, or one block, of a file. Lengths are in the file's own unit and coordinates."""

    name: str
    position: Floats | None = None  # (3,) where the scanner stood; None when the file does not say
    axis: Floats | None = None  # (3,) unit, the scanner's standing axis
    stated: bool = False  # the file says so in so many words; False: to be judged from the points
    other_position: Floats | None = None  # (3,) what else the file may mean, to be judged from the points
    measured: bool = True  # False: the points were made on a surface, no scanner saw them


@dataclass(slots=True)
class Batch:
    """Raw coordinates of one part, good until the next batch is asked for: file = matrix[:, :3] @ raw + matrix[:, 3]"""

    part: int
    x: AnyArray  # (n,) of any number type, any stride
    y: AnyArray
    z: AnyArray
    drop: AnyArray | None = None  # (n,) nonzero: not a point, already counted by the reader
    matrix: Floats = field(default_factory=lambda: IDENTITY)  # (3, 4)
    zero_is_miss: bool = True  # raw 0 0 0 stands for a ray without a return
    escaped: Floats | None = None  # (m, 3) directions of rays that met nothing, in the file's axes; any length but 0


class Reader(Protocol):
    """One file being read. `batches` may be called again: it starts afresh."""

    path: Path
    unit: LengthUnit | None  # what the format states; None when it states nothing
    metres_per_unit: float  # set once the unit is known, before `batches` is run
    parts: list[Part]  # complete after `batches` has run to its end
    dropped: Counter[str]  # what was left out, by reason, in the last run of `batches`

    def batches(self) -> Iterator[Batch]:
        """Yield the file's points in order. Raises ScanError when a part cannot be decoded."""
        ...

    def sample(self, points: int) -> Iterator[Batch]:
        """Yield about `points` points in a few runs spread over the file, as far as the format lets one jump."""
        ...


def first_batches(reader: Reader, points: int) -> Iterator[Batch]:
    """Yield the first batches up to about `points`: the sample of a format in which one cannot jump."""
    seen = 0
    for batch in reader.batches():
        count = min(len(batch.x), points - seen)
        drop = None if batch.drop is None else batch.drop[:count]
        xyz = batch.x[:count], batch.y[:count], batch.z[:count]
        yield Batch(batch.part, *xyz, drop, batch.matrix, batch.zero_is_miss)
        seen += count
        if seen >= points:
            return
