"""The stage on a small simulated room, from its scan to elevations: against the room's exact truth."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.simulate.generate import room_named, simulate
from tests.simulate.scanner import Instrument
from unfold.elevation import unfold_walls
from unfold.elevation.result import Elevations, WallElevation
from unfold.room import find_room
from unfold.scan import open_scan
from unfold.settings import JobSettings
from unfold.surface import measure_surfaces

SPACING_M = 0.012  # coarse, so that the test is quick


@pytest.fixture(scope="module")
def unfolded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Elevations, dict[str, Any]]:
    folder: Path = tmp_path_factory.mktemp("box")
    truth = simulate(room_named("box"), folder, Instrument(spacing_m=SPACING_M), 3)
    settings = JobSettings()
    with open_scan([folder / "scan.e57"], settings.scan) as scan:
        room = find_room(scan, settings.room)
        surfaces = measure_surfaces(scan, room, settings.surface)
        first = unfold_walls(scan, room, surfaces, settings.elevation)
        again = unfold_walls(scan, room, surfaces, settings.elevation)
    for one, other in zip(first.walls, again.walls, strict=True):
        np.testing.assert_array_equal(one.outline_mm, other.outline_mm)
        assert [opening.size_mm for opening in one.openings] == [opening.size_mm for opening in other.openings]
    return first, json.loads(json.dumps(truth))


def matching(elevations: Elevations, truth: dict[str, Any]) -> list[tuple[WallElevation, dict[str, Any]]]:
    """Each true wall with the found wall that faces the same way and lies nearest."""
    pairs = []
    for one in truth["walls"]:
        inward, origin = np.array(one["frame"]["inward"]), np.array(one["frame"]["origin_scan_m"])
        facing = [found for found in elevations.walls if found.inward @ inward > 0.95]
        pairs.append((min(facing, key=lambda found: abs((found.origin_scan_m - origin) @ inward)), one))
    return pairs


def in_wall(found: WallElevation, one: dict[str, Any], ring: list[list[float]]) -> np.ndarray:
    frame = one["frame"]
    points = np.array(ring) / 1000
    places = np.array(frame["origin_scan_m"]) + points @ np.array([frame["right"], frame["up"]])
    return np.asarray((places - found.origin_scan_m) @ np.stack([found.right, found.up]).T * 1000)


def test_outlines_and_corners(unfolded: tuple[Elevations, dict[str, Any]]) -> None:
    distances, corners = [], []
    for found, one in matching(*unfolded):
        true = in_wall(found, one, one["outline"])
        line = Polygon(true).exterior
        distances += [line.distance(place) for place in map(_point, found.outline_mm)]
        starts = found.outline_mm[[edge.first for edge in found.edges]]
        corners += [np.hypot(*(starts - true[edge["first"]]).T).min() for edge in one["edges"]]
    assert np.sqrt(np.mean(np.square(corners))) < 0.7 and np.quantile(corners, 0.95) < 1.5
    assert np.sqrt(np.mean(np.square(distances))) < 0.7 and np.quantile(distances, 0.95) < 2.0


def _point(place: np.ndarray) -> Any:
    from shapely.geometry import Point

    return Point(place)


def test_every_opening_is_found_and_none_invented(unfolded: tuple[Elevations, dict[str, Any]]) -> None:
    for found, one in matching(*unfolded):
        assert len(found.openings) == len(one["openings"])
        for true in one["openings"]:
            ring = Polygon(in_wall(found, one, true["ring"]))
            overlap = [Polygon(opening.ring_mm).intersection(ring).area / ring.area for opening in found.openings]
            best = found.openings[int(np.argmax(overlap))]
            assert best.kind == true["kind"] and best.shape == true["shape"]
            errors = np.abs(np.array(best.size_mm) - true["size_mm"])
            assert np.all(errors < np.maximum(3 * best.standard_uncertainty_mm, 1.5))


def test_what_the_result_promises(unfolded: tuple[Elevations, dict[str, Any]]) -> None:
    elevations, _ = unfolded
    for found in elevations.walls:
        polygon = Polygon(found.outline_mm)
        assert polygon.is_valid and polygon.exterior.is_ccw
        assert found.edges[0].first == 0 and found.edges[-1].last == 0
        assert {edge.kind for edge in found.edges} == {"floor", "ceiling", "inside_corner"}
        openings = sum(Polygon(opening.ring_mm).area for opening in found.openings)
        assert found.area_mm2 == pytest.approx(polygon.area - openings, rel=1e-3)
        assert all(Polygon(ring).exterior.is_ccw for ring in found.unseen_mm)
        assert found.seen_share > 0.98
        np.testing.assert_allclose(np.cross(found.right, found.up), found.inward, atol=1e-9)
        level = found.origin_scan_m[2] + found.level_v_mm / 1000 * found.up[2]
        assert level == pytest.approx(
            elevations.walls[0].origin_scan_m[2] + elevations.walls[0].level_v_mm / 1000, abs=1e-4
        )
