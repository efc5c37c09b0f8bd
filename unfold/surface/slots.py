"""What is set against what: the stations of a scan that states them, else stretches of it in order of its points."""

from collections.abc import Iterator, Sequence

from unfold.arrays import Floats, Floats32
from unfold.scan.result import Chunk, Station

STRETCHES = 8


class Slots:
    """Sends each point to a slot: its station, or, where no station says where it stood, a stretch of the scan.

    A scan taken on the move is written in the order in which it was taken, as a rule; where a wall was passed more
    than once the stretches then show how the scan drifted. Where the order is another one they agree, and show
    nothing.
    """

    def __init__(self, stations: Sequence[Station]) -> None:
        self.stated = any(station.position_m is not None for station in stations)
        self.stretches = not self.stated and len(stations) == 1
        self._each = max(1, -(-sum(station.points for station in stations) // STRETCHES))
        self._seen = 0
        self.places_m: list[Floats | None] = [station.position_m for station in stations]
        if self.stretches:
            self.places_m = [None] * STRETCHES

    def parts(self, chunk: Chunk) -> Iterator[tuple[int, Floats32]]:
        """Slot and points of each part of a chunk, in order."""
        if not self.stretches:
            yield chunk.station, chunk.points_m
            return
        start = 0
        while start < len(chunk.points_m):
            slot = min(self._seen // self._each, STRETCHES - 1)
            room = self._each * (slot + 1) - self._seen if slot < STRETCHES - 1 else len(chunk.points_m)
            part = chunk.points_m[start : start + room]
            yield slot, part
            start += len(part)
            self._seen += len(part)
