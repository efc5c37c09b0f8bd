"""A wall's picture shows the heights where they are, in the wall's own proportions, and can be read."""

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from tests.drawing.recording_canvas import RecordingCanvas
from tests.drawing.sample_job import HALL, WallPlan, make_elevation, make_surface, sample_job
from unfold.drawing.colour import OPENING_FILL, PAPER, UNSEEN_FILL, UNSEEN_HATCH, height_colours
from unfold.drawing.lengths import quantity
from unfold.drawing.png_canvas import PngCanvas
from unfold.drawing.wall_picture import draw_wall_picture, place_wall, relief_of, straightedge_ends
from unfold.elevation.result import WallElevation
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import WallSurface

JOB = sample_job()
WALLS = list(zip(JOB.elevations.walls, JOB.surfaces.walls, strict=True))
NAMES = [wall.id for wall, _ in WALLS]
Units = Literal["mm", "ft-in"]


def recorded(wall: WallElevation, surface: WallSurface, units: Units = "mm") -> RecordingCanvas:
    settings = DrawingSettings(units=units)
    return draw_wall_picture(RecordingCanvas, wall, surface, relief_of(wall, surface), settings)


@pytest.mark.parametrize("units", ["mm", "ft-in"])
@pytest.mark.parametrize(("wall", "surface"), WALLS, ids=NAMES)
def test_every_text_is_whole_and_free(wall: WallElevation, surface: WallSurface, units: Units) -> None:
    canvas = recorded(wall, surface, units)
    assert canvas.outside() == []
    assert canvas.overlapping() == []


@pytest.mark.parametrize(("wall", "surface"), WALLS, ids=NAMES)
def test_the_picture_says_what_is_there(wall: WallElevation, surface: WallSurface) -> None:
    words = recorded(wall, surface).words()
    assert f"Wall {wall.id}: {surface.verdict}" in words
    for opening in wall.openings:
        assert f"{opening.id.split('-')[1]} {opening.kind}" in words
    for edge in surface.straightedges:
        assert f"limit {edge.tolerance_mm:g} mm" in words
        if edge.worst is not None:
            assert words.count(quantity(edge.worst, DrawingSettings())) >= 2  # where it lies, and in the key


@pytest.mark.parametrize(
    ("wide", "tall"), [(150, 2700), (15000, 3000), (4000, 7000), (300, 300), (40_000, 2500), (1000, 12_000), (60, 9000)]
)
def test_walls_of_any_proportion_keep_theirs(wide: float, tall: float) -> None:
    placing = place_wall(np.array([(0, 0), (wide, 0), (wide, tall), (0, tall)], dtype=float), rules=2)
    left, top, right, bottom = placing.wall
    assert (right - left) / (bottom - top) == pytest.approx(wide / tall)
    assert placing.width < 2000
    assert placing.height < 1500


@pytest.mark.parametrize(("wide", "tall"), [(0.15, 2700), (0.06, 5000), (40.0, 2500), (1.0, 12_000), (0.4, 400)])
def test_extreme_walls_can_be_read(wide: float, tall: float) -> None:
    plan = WallPlan((0, 0), (wide, 0), height=tall, bow=2.0)
    wall = make_elevation(plan, "W1", ["W1"])
    canvas = recorded(wall, make_surface(plan, wall, seed=3))
    assert canvas.outside() == []
    assert canvas.overlapping() == []


def pixel_at(wall: WallElevation, surface: WallSurface, u: float, v: float) -> tuple[int, int, int]:
    picture = draw_wall_picture(PngCanvas, wall, surface, relief_of(wall, surface), DrawingSettings()).finish()
    x, y = place_wall(wall.outline_mm, len(surface.straightedges)).points(np.array([[u, v]]))[0]
    red, green, blue = picture.getpixel((int(x), int(y)))  # type: ignore[misc]
    return (int(red), int(green), int(blue))


def flat_wall_with_a_patch() -> tuple[WallElevation, WallSurface]:
    """A wall at height 0 with a square of +2 mm and one of -4 mm; the scale reaches 4 mm."""
    plan = WallPlan((0, 0), (4, 0), noise=0.0, bow=0.0, straightedges=False, unseen=((500, 500, 400, 400),))
    wall = make_elevation(plan, "W1", ["W1"])
    surface = make_surface(plan, wall, seed=1)
    u, v = -50.0 + 10.0 * np.arange(410), (-50.0 + 10.0 * np.arange(330))[:, None]
    heights = np.where((abs(u - 2000) < 200) & (abs(v - 1500) < 200), 2.0, surface.height_mm)
    heights = np.where((abs(u - 3000) < 200) & (abs(v - 2500) < 200), -4.0, heights)
    return wall, replace(surface, height_mm=heights)


@pytest.mark.parametrize(
    ("u", "v", "share"), [(1200.0, 2500.0, 0.0), (1950.0, 1550.0, 0.5), (2950.0, 2550.0, -1.0), (3800.0, 300.0, 0.0)]
)
def test_a_pixel_has_the_colour_of_the_height_there(u: float, v: float, share: float) -> None:
    table = height_colours()
    middle = len(table) // 2
    assert pixel_at(*flat_wall_with_a_patch(), u, v) == tuple(table[round(middle * (1.0 + share))])


def test_unseen_is_hatched_and_openings_are_blank() -> None:
    wall, surface = WALLS[1]
    canvas = recorded(wall, surface)
    assert len(canvas.hatched) == len(wall.unseen_mm) + 1  # and once in the key
    picture = draw_wall_picture(PngCanvas, wall, surface, relief_of(wall, surface), DrawingSettings()).finish()
    placing = place_wall(wall.outline_mm, 2)
    (left, top), (right, bottom) = placing.points(np.array([(9400.0, 2000.0), (10_000.0, 100.0)]))
    colours = {
        colour for _, colour in picture.crop((int(left), int(top), int(right), int(bottom))).getcolors(10_000) or []
    }
    assert {UNSEEN_FILL, UNSEEN_HATCH} <= colours
    assert pixel_at(wall, surface, 1700.0, 1000.0) == OPENING_FILL


def test_nothing_is_coloured_outside_the_outline() -> None:
    wall, surface = WALLS[2]  # its ceiling slopes; the heights run on above it
    assert pixel_at(wall, surface, 3300.0, 3000.0) == PAPER


def test_the_straightedge_lies_where_it_was_found() -> None:
    wall, surface = WALLS[0]
    edge = surface.straightedges[0]
    ends = straightedge_ends(edge)
    assert ends is not None
    assert edge.u_mm is not None and edge.v_mm is not None and edge.angle_deg is not None
    np.testing.assert_allclose(ends.mean(axis=0), [edge.u_mm, edge.v_mm])
    assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(edge.used_length_mm)
    assert np.degrees(np.arctan2(*(ends[1] - ends[0])[::-1])) == pytest.approx(edge.angle_deg)
    drawn = place_wall(wall.outline_mm, 2).points(ends)
    assert any(line.shape == (2, 2) and np.allclose(line, drawn) for line, _ in recorded(wall, surface).lines)


def test_a_flat_wall_looks_flat() -> None:
    plan = replace(HALL[0], bow=0.2)
    wall = make_elevation(plan, "W1", ["W1"])
    surface = make_surface(plan, wall, seed=5)
    # the scale's ends are never nearer than the widest tolerance, 3.175 mm
    assert relief_of(wall, surface).limit_mm >= 3.175
