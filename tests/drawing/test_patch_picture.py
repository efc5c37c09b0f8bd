"""A wall to patch is drawn with every spot, numbered by volume, and with the sums."""

import numpy as np
import pytest

from tests.drawing.recording_canvas import RecordingCanvas
from tests.drawing.sample_job import sample_job
from unfold.arrays import Floats
from unfold.drawing.patch_picture import MOST_LISTED, draw_patch_picture
from unfold.drawing.wall_picture import relief_of
from unfold.layout.result import PatchSpot

JOB = sample_job()


def square(u: float, v: float, side: float) -> Floats:
    return np.array([(u, v), (u + side, v), (u + side, v + side), (u, v + side)])


def spot(kind: str, number: int, litres: float) -> PatchSpot:
    ring = square(300.0 + 90.0 * number, 400.0 + 60.0 * number, 80.0)
    return PatchSpot(kind, ring, 6400.0, litres, 3.2)  # type: ignore[arg-type]


@pytest.mark.parametrize("spots", [1, 3, 20])
def test_every_spot_is_numbered_by_volume_and_summed(spots: int) -> None:
    wall, surface = JOB.elevations.walls[0], JOB.surfaces.walls[0]
    patches = [spot("fill" if number % 2 else "take_down", number, 0.1 * (number + 1)) for number in range(spots)]
    canvas = draw_patch_picture(RecordingCanvas, wall, surface, relief_of(wall, surface), patches)
    words = canvas.words()
    assert canvas.outside() == []
    for number, patch in enumerate(sorted(patches, key=lambda one: -one.volume_litres)[:MOST_LISTED], 1):
        kind = "fill" if patch.kind == "fill" else "take down"
        assert f"{number}   {kind}: 64 cm², {patch.volume_litres:.2f} litres, at most 3.2 mm" in words
    assert (f"and {spots - MOST_LISTED} smaller ones" in words) == (spots > MOST_LISTED)
    taken = [patch.volume_litres for patch in patches if patch.kind == "take_down"]
    assert f"take down {64 * len(taken)} cm², {sum(taken):.2f} litres" in words
