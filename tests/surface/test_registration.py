"""Stations and stretches set against each other: what was put in is found; what cannot be found is said."""

import numpy as np
import pytest

from tests.surface.made_room import station_at
from unfold.arrays import Floats
from unfold.scan.result import Chunk, Station
from unfold.settings.surface import SurfaceSettings
from unfold.surface.registration import register, station_error_mm
from unfold.surface.shared_error import model_error_mm, seen_drift, shared_errors
from unfold.surface.slots import STRETCHES, Slots


def tiles_of(planes: Floats, noise_mm: float, seen: Floats | None = None, count: int = 200) -> Floats:
    """Tiles (stations, 25, 36, 3) of stations off by planes (stations, 3): offset in mm, tilts in mm per m."""
    random = np.random.default_rng(2)
    rows, columns = 25, 36
    y, x = (axis * 0.1 for axis in np.mgrid[:rows, :columns] - np.array([12, 17.5])[:, None, None])
    tiles = np.zeros((len(planes), rows, columns, 3))
    for s, (a, b, c) in enumerate(planes):
        mean = 3.0 * np.sin(x) + a + b * x + c * y + random.normal(0, noise_mm / np.sqrt(count), x.shape)
        tiles[s] = np.stack([np.full(x.shape, count), count * mean, count * mean**2], axis=-1)
    if seen is not None:
        tiles[~seen.astype(bool)] = 0.0
    return tiles


def test_offsets_and_tilts_are_found() -> None:
    planes = np.array([[0.4, 0.1, 0.0], [-0.3, 0.0, -0.1], [-0.1, -0.1, 0.1]])
    found = register(tiles_of(planes, 1.0), 100.0, 1.0)
    np.testing.assert_allclose(found.corrections_mm, planes, atol=0.05)
    np.testing.assert_allclose(found.offsets_mm, planes[:, 0], atol=0.05)
    assert found.connected and found.seen_by == 3.0
    assert found.correlated_mm is not None and found.correlated_mm < 0.05


def test_noise_that_does_not_average_out_is_seen() -> None:
    tiles = tiles_of(np.zeros((2, 3)), 1.0)
    wave = np.random.default_rng(1).normal(0, 0.3, tiles.shape[1:3])
    tiles[0, ..., 1] += tiles[0, ..., 0] * wave
    found = register(tiles, 100.0, 1.0)
    # one of two stations carries it, so each tile's mean is off by half
    assert found.correlated_mm == pytest.approx(0.3 / np.sqrt(2), rel=0.2)


def test_stations_that_share_nothing_are_not_connected() -> None:
    seen = np.zeros((2, 25, 36))
    seen[0, :, :18], seen[1, :, 18:] = 1, 1
    found = register(tiles_of(np.zeros((2, 3)), 1.0, seen), 100.0, 1.0)
    assert not found.connected and len(found.offsets_mm) == 0 and not found.corrections_mm.any()
    error, findings = shared_errors([found], SurfaceSettings(), 0.005, stated=True).of_wall("W1", found, 1.0, 0.03)
    assert error.shape_mm > 0.2 and findings[0].code == "registration-assumed"


def test_one_station_leaves_flatness_alone() -> None:
    found = register(tiles_of(np.zeros((1, 3)), 1.0), 100.0, 1.0)
    error, findings = shared_errors([found], SurfaceSettings(), 0.005, stated=True).of_wall("W1", found, 1.0, 0.03)
    assert error.shape_mm == 0.0 and error.height_mm == pytest.approx(0.3) and len(findings) == 1


def test_the_error_of_a_station_is_pooled_over_walls() -> None:
    random = np.random.default_rng(5)
    walls = [register(tiles_of(np.c_[random.normal(0, 0.2, 3), np.zeros((3, 2))], 1.0), 100.0, 1.0) for _ in range(12)]
    assert station_error_mm(walls, 0.3) == pytest.approx(0.2, rel=0.25)
    assert station_error_mm([], 0.3) == pytest.approx(0.3)


def test_drift_is_seen_where_passes_differ_and_assumed_where_they_do_not() -> None:
    slow = 2.0 * np.sin(np.arange(STRETCHES) * 0.9)
    drifted = register(tiles_of(np.c_[slow, np.zeros((STRETCHES, 2))], 5.0, count=30), 100.0, 5.0)
    drift = seen_drift([drifted])
    assert drift is not None and drift.place_mm == pytest.approx(np.std(slow), rel=0.1)
    errors = shared_errors([drifted], SurfaceSettings(), 0.1, stated=False)
    error, findings = errors.of_wall("W1", drifted, 5.0, 0.03)
    assert findings[0].code == "drift-seen" and error.shape_mm < 1.0
    # points in random order: every stretch shows the same mean, which proves nothing
    shuffled = register(tiles_of(np.zeros((STRETCHES, 3)), 5.0, count=30), 100.0, 5.0)
    errors = shared_errors([shuffled], SurfaceSettings(), 0.1, stated=False)
    error, findings = errors.of_wall("W1", shuffled, 5.0, 0.03)
    assert findings[0].code == "drift-assumed" and error.shape_mm == 5.0


@pytest.mark.parametrize("pieces", [1, 3, 17])
def test_stretches_do_not_depend_on_the_cut_of_the_chunks(pieces: int) -> None:
    points = np.random.default_rng(0).random((1003, 3)).astype(np.float32)
    slots = Slots((Station("one", 0, None, None, 1003),))
    nothing = np.zeros((0, 3), np.float32)
    parts = [part for piece in np.array_split(points, pieces) for part in slots.parts(Chunk(0, piece, nothing))]
    np.testing.assert_array_equal(np.concatenate([part for _, part in parts]), points)
    sizes = [sum(len(part) for slot, part in parts if slot == wanted) for wanted in range(STRETCHES)]
    assert sizes == [126] * 7 + [1003 - 7 * 126]


def test_stated_stations_keep_their_slots() -> None:
    slots = Slots((station_at((0.0, 0.0, 0.0)), station_at(None)))
    assert slots.stated and [
        slot for slot, _ in slots.parts(Chunk(1, np.zeros((5, 3), np.float32), np.zeros((0, 3), np.float32)))
    ] == [1]


def test_a_sparser_scan_hides_more() -> None:
    # matched filter: a lump of mean square 0.3 under n points stands out by sqrt(0.3 n) / sigma times its height
    assert model_error_mm(1.0, 1 / 36.0) == pytest.approx(np.hypot(0.03, 0.5 / np.sqrt(0.3 * np.pi * 2500 / 36)))
    assert model_error_mm(1.0, 1 / 900.0) > 4 * model_error_mm(1.0, 1 / 36.0)
