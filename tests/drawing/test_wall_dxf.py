"""The elevations' DXF files hold what the elevations say, in millimetres, and other programs can read them."""

from pathlib import Path
from typing import Any, Literal

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from tests.drawing.sample_job import ring_area, sample_job
from unfold.drawing.dxf_document import LAYERS, drawing_scale
from unfold.drawing.room_dxf import write_room_dxf
from unfold.drawing.room_plan import plan_room
from unfold.drawing.wall_dxf import clear_middle_u, opening_sides, spread, write_wall_dxf
from unfold.elevation.result import WallElevation
from unfold.settings.drawing import DrawingSettings

JOB = sample_job()
WALLS = JOB.elevations.walls
NAMES = [wall.id for wall in WALLS]


def written(wall: WallElevation, folder: Path, units: Literal["mm", "ft-in"] = "mm") -> Any:
    write_wall_dxf(wall, "conforms", folder / "wall.dxf", DrawingSettings(units=units))
    return ezdxf.readfile(folder / "wall.dxf")  # type: ignore[attr-defined]


def on_layer(document: Any, layer: str, kind: str = "*") -> list[Any]:
    return list(document.modelspace().query(f'{kind}[layer=="{layer}"]'))


def ring_of(polyline: Any) -> Any:
    assert polyline.closed
    return np.array(polyline.get_points("xy"))


@pytest.mark.parametrize("wall", WALLS, ids=NAMES)
def test_the_file_is_sound_and_in_millimetres(wall: WallElevation, tmp_path: Path) -> None:
    document = written(wall, tmp_path)
    audit = document.audit()
    assert audit.errors == [] and audit.fixes == []
    assert document.header["$INSUNITS"] == 4
    assert document.dxfversion >= "AC1024"
    known = {name for name, *_ in LAYERS}
    assert {entity.dxf.layer for entity in document.modelspace()} <= known


@pytest.mark.parametrize("wall", WALLS, ids=NAMES)
def test_the_outline_is_the_outline(wall: WallElevation, tmp_path: Path) -> None:
    document = written(wall, tmp_path)
    (outline,) = on_layer(document, "OUTLINE")
    ring = ring_of(outline)
    np.testing.assert_allclose(ring, wall.outline_mm, atol=1e-6)
    assert ring_area(ring) == pytest.approx(ring_area(wall.outline_mm), abs=1.0)
    np.testing.assert_allclose(box_of(outline), [*wall.outline_mm.min(axis=0), *wall.outline_mm.max(axis=0)], atol=1e-6)


@pytest.mark.parametrize("wall", WALLS, ids=NAMES)
def test_openings_and_unseen_areas_are_all_there(wall: WallElevation, tmp_path: Path) -> None:
    document = written(wall, tmp_path)
    drawn = sorted(box_of(entity) for entity in on_layer(document, "OPENING"))
    meant = sorted([*opening.ring_mm.min(axis=0), *opening.ring_mm.max(axis=0)] for opening in wall.openings)
    np.testing.assert_allclose(np.array(drawn), np.array(meant), atol=0.01)
    clear = [opening for opening in wall.openings if opening.clear_ring_mm is not None]
    assert len(on_layer(document, "CLEAR-OPENING")) == len(clear)
    assert len(on_layer(document, "UNSEEN", "HATCH")) == len(wall.unseen_mm)
    assert len(on_layer(document, "UNSEEN", "LWPOLYLINE")) == len(wall.unseen_mm)


def box_of(entity: Any) -> list[float]:
    box = bbox.extents([entity])
    return [box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y]


def test_a_round_opening_is_a_true_circle(tmp_path: Path) -> None:
    (circle,) = on_layer(written(WALLS[4], tmp_path), "OPENING", "CIRCLE")
    assert circle.dxf.radius == pytest.approx(60.0)


@pytest.mark.parametrize("units", ["mm", "ft-in"])
@pytest.mark.parametrize("wall", WALLS, ids=NAMES)
def test_dimensions_measure_what_they_stand_on(
    wall: WallElevation, units: Literal["mm", "ft-in"], tmp_path: Path
) -> None:
    dimensions = on_layer(written(wall, tmp_path, units), "DIMENSION", "DIMENSION")
    linear = [dimension for dimension in dimensions if dimension.dimtype == 0]
    wide = np.ptp(wall.outline_mm[:, 0])
    measured = [dimension.get_measurement() for dimension in linear]
    assert sum(abs(value - wide) < 10.0 for value in measured) >= 2
    assert len(linear) in (4, 5)
    if units == "ft-in":
        assert all("mm" not in dimension.dxf.text and "(" in dimension.dxf.text for dimension in dimensions)


def test_positions_count_from_the_datum(tmp_path: Path) -> None:
    wall = WALLS[0]  # plumb datum at 3750, level datum at 1000; the door is 900 to 1910 wide and 2110 high
    words = [d.dxf.text for d in on_layer(written(wall, tmp_path), "DIMENSION", "DIMENSION") if d.dimtype == 6]
    assert {"-2850  O1", "-1840  O1", "+1110  O1", "-1000  O1", "-1520  O2", "+60  O2"} <= set(words)
    assert len(words) == len(opening_sides(wall, 0)) + len(opening_sides(wall, 1))


def test_openings_that_share_a_height_share_an_ordinate() -> None:
    sides = {tags: at for at, tags in opening_sides(WALLS[1], 1)}
    assert sides["O5 O6"] == pytest.approx(1146.0)
    assert "O1 O2" in sides


def test_the_middle_height_keeps_clear_of_openings() -> None:
    for wall in WALLS:
        u = clear_middle_u(wall, 100.0)
        if u is not None:
            for opening in wall.openings:
                assert not opening.ring_mm[:, 0].min() < u < opening.ring_mm[:, 0].max()


def test_the_room_file_is_sound_and_holds_every_wall(tmp_path: Path) -> None:
    plan = plan_room(JOB.elevations, JOB.surfaces, JOB.stations)
    write_room_dxf(plan, tmp_path / "room.dxf", DrawingSettings())
    document: Any = ezdxf.readfile(tmp_path / "room.dxf")  # type: ignore[attr-defined]
    audit = document.audit()
    assert audit.errors == [] and audit.fixes == []
    assert document.header["$INSUNITS"] == 4
    faces = on_layer(document, "WALL", "LWPOLYLINE")
    assert len(faces) == len(plan.walls)
    for face, wall in zip(faces, plan.walls, strict=True):
        np.testing.assert_allclose(np.array(face.get_points("xy")), wall.face_mm, atol=1e-6)
    texts = " ".join(text.dxf.text for text in document.modelspace().query("TEXT"))
    assert all(wall.id in texts for wall in plan.walls)
    assert len(on_layer(document, "STATION", "CIRCLE")) == len(plan.stations)


@given(st.lists(st.floats(0.0, 1000.0), min_size=1, max_size=8))
def test_spreading_moves_least(positions: list[float]) -> None:
    wanted, pitch = sorted(positions), 50.0
    found = np.array(spread(wanted, pitch))
    assert (np.diff(found) >= pitch - 1e-6).all()
    numbers = pitch * np.arange(len(wanted))
    np.testing.assert_allclose(found, isotonic_regression(np.array(wanted) - numbers).x + numbers, atol=1e-6)


def test_scales_are_those_of_iso_5455() -> None:
    assert drawing_scale(3800.0, 2000.0) == 10.0
    assert drawing_scale(3801.0, 2000.0) == 20.0
    assert drawing_scale(100.0, 2600.0) == 20.0
