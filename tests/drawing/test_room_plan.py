"""The plan lies where the scan does, and can be read."""

from typing import Literal

import numpy as np
import pytest

from tests.drawing.recording_canvas import RecordingCanvas
from tests.drawing.sample_job import HALL, WallPlan, sample_job
from unfold.drawing.plan_picture import draw_plan_picture, place_plan
from unfold.drawing.room_plan import RoomPlan, plan_room
from unfold.settings.drawing import DrawingSettings


def plan_of(plans: tuple[WallPlan, ...] = HALL, stations: bool = True) -> RoomPlan:
    job = sample_job(plans)
    return plan_room(job.elevations, job.surfaces, job.stations if stations else ())


def test_walls_and_stations_come_back_to_level_coordinates() -> None:
    # the sample's walls were turned by 24 degrees and shifted to map coordinates of millions of metres
    plan = plan_of()
    for made, wall in zip(HALL, plan.walls, strict=True):
        np.testing.assert_allclose(wall.face_mm[0] / 1000.0, made.start, atol=0.003)
        np.testing.assert_allclose(wall.face_mm[-1] / 1000.0, made.stop, atol=0.003)
    np.testing.assert_allclose(plan.stations[1].position_mm, [10_500.0, 5200.0], atol=1e-6)
    assert plan.unplaced_stations == 1


def test_inward_points_into_the_room() -> None:
    middle = np.array([7500.0, 2000.0])
    walls = plan_of().walls
    for wall in (*walls[:3], *walls[4:7]):  # all but the stub beside the recess
        toward = middle - wall.face_mm.mean(axis=0)
        assert (toward @ wall.inward.mean(axis=0)) > 0, wall.id


def test_a_round_wall_bulges_away_from_the_room_and_keeps_its_radius() -> None:
    wall = plan_of().walls[5]
    centre = np.array([13_650.0, 1200.0])
    np.testing.assert_allclose(np.hypot(*(wall.face_mm - centre).T), 1200.0, atol=1.5)
    assert wall.length_mm == pytest.approx(0.5 * np.pi * 1200.0, abs=3.0)


def test_the_scans_axes_are_turned_back() -> None:
    axes = plan_of().scan_axes
    np.testing.assert_allclose(np.degrees(np.arctan2(axes[:, 1], axes[:, 0])), [-24.0, 66.0])


@pytest.mark.parametrize("units", ["mm", "ft-in"])
@pytest.mark.parametrize(
    "plans", [HALL, HALL[:1], HALL[4:6], HALL[7:]], ids=["hall", "one wall", "two walls", "column"]
)
@pytest.mark.parametrize("stations", [True, False], ids=["stations", "none"])
def test_the_picture_names_every_wall_and_can_be_read(
    plans: tuple[WallPlan, ...], stations: bool, units: Literal["mm", "ft-in"]
) -> None:
    plan = plan_of(plans, stations)
    canvas = draw_plan_picture(RecordingCanvas, plan, (), DrawingSettings(units=units))
    written = [text.text for text in canvas.texts]
    for wall in plan.walls:
        assert wall.id in written
    assert sum(text in ("conforms", "does not conform", "cannot be decided") for text in written) == len(plan.walls)
    assert canvas.outside() == []
    assert canvas.overlapping() == []


def test_the_longest_wall_lies_level_in_the_picture() -> None:
    turned = tuple(
        WallPlan(*(tuple(np.round([[0.8, -0.6], [0.6, 0.8]] @ np.array(end), 6)) for end in (made.start, made.stop)))  # type: ignore[arg-type]
        for made in HALL[:3]
    )
    plan = plan_of(turned)
    start, stop = place_plan(plan).points(plan.walls[1].face_mm)
    assert abs(stop[1] - start[1]) < 0.5
    assert abs(stop[0] - start[0]) == pytest.approx(place_plan(plan).scale * plan.walls[1].length_mm, abs=0.1)
