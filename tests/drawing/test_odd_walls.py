"""Whatever the stages before hand over, the drawings come out: odd walls are drawn oddly, never a traceback."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from tests.drawing.sample_job import HALL, SampleJob, WallPlan, rectangle, sample_job
from unfold.drawing.job_drawings import draw_job
from unfold.elevation.result import WallElevation
from unfold.settings.drawing import DrawingSettings
from unfold.surface.result import WallSurface


def change(
    job: SampleJob,
    wall: Callable[[WallElevation], WallElevation] = lambda wall: wall,
    surface: Callable[[WallSurface], WallSurface] = lambda surface: surface,
) -> SampleJob:
    """Change every wall and every surface of a job."""
    return replace(
        job,
        elevations=replace(job.elevations, walls=tuple(wall(one) for one in job.elevations.walls)),
        surfaces=replace(job.surfaces, walls=tuple(surface(one) for one in job.surfaces.walls)),
    )


def nothing_measured(surface: WallSurface) -> WallSurface:
    return replace(
        surface,
        height_mm=np.full_like(surface.height_mm, np.nan),
        standard_error_mm=np.full_like(surface.height_mm, np.nan),
        lean_mm_per_m=None,
        bow_horizontal_mm=None,
        bow_vertical_mm=None,
        flatness_least_squares_mm=None,
        flatness_minimum_zone_mm=None,
        uncertainty_parts={},
    )


def speckled(wall: WallElevation) -> WallElevation:
    """Two hundred small unseen areas."""
    places = np.random.default_rng(4).uniform((100, 100), (5000, 2500), (200, 2))
    return replace(wall, unseen_mm=tuple(rectangle(u, v, 40.0, 30.0) for u, v in places))


def crowded(wall: WallElevation) -> WallElevation:
    """Sixty boxes in a grid of 100 mm."""
    box = wall.openings[1]
    grid = [(300.0 + 100.0 * column, 500.0 + 100.0 * row) for column in range(10) for row in range(6)]
    boxes = tuple(
        replace(box, id=f"{wall.id}-O{number}", ring_mm=rectangle(u, v, 60.0, 60.0), size_mm=(60.0, 60.0))
        for number, (u, v) in enumerate(grid, 1)
    )
    return replace(wall, openings=boxes)


def slivers(wall: WallElevation) -> WallElevation:
    """Rings with next to no extent."""
    thin = np.array([(500.0, 500.0), (500.0, 900.0), (500.0, 700.0)])
    dot = np.full((4, 2), 800.0)
    return replace(wall, unseen_mm=(thin, dot), openings=(replace(wall.openings[1], ring_mm=dot, size_mm=(0.0, 0.0)),))


def off_the_datum(wall: WallElevation) -> WallElevation:
    return replace(wall, level_v_mm=-9000.0, plumb_u_mm=50_000.0, edges=())


CASES: dict[str, SampleJob] = {
    "nothing measured": change(sample_job(HALL[:2]), surface=nothing_measured),
    "no rules": change(sample_job(HALL[:2]), surface=lambda surface: replace(surface, straightedges=())),
    "many rules": change(
        sample_job(HALL[:2]), surface=lambda surface: replace(surface, straightedges=surface.straightedges * 5)
    ),
    "speckled": change(sample_job(HALL[:1]), wall=speckled),
    "crowded": change(sample_job(HALL[:1]), wall=crowded),
    "slivers": change(sample_job(HALL[:2]), wall=slivers),
    "off the datum": change(sample_job(HALL[:2]), wall=off_the_datum),
    "no stations": replace(sample_job(HALL[:2]), stations=(), findings=()),
    "no surface": replace(sample_job(HALL[:2]), surfaces=replace(sample_job(HALL[:2]).surfaces, walls=())),
    "scraps": sample_job((WallPlan((0, 0), (0.02, 0), height=15.0, bow=0.0), WallPlan((0, 0), (60, 0), height=12_000))),
    "steep relief": change(
        sample_job(HALL[:1]), surface=lambda surface: replace(surface, height_mm=3000.0 * surface.height_mm)
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_odd_walls_are_drawn(name: str, tmp_path: Path) -> None:
    job = CASES[name]
    draw_job(
        *(job.sources, job.stations, None, job.surfaces, job.elevations),
        *(lambda: (job.findings, []), tmp_path, DrawingSettings()),
    )
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    for wall in job.elevations.walls:
        assert f'id="{wall.id}"' in page
        assert (tmp_path / "drawings" / f"{wall.id}.dxf").stat().st_size > 1000
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_names_may_hold_anything(tmp_path: Path) -> None:
    job = sample_job(HALL[:1])
    nasty = "line\nbreak\ttab \x00 nul \udcff byte \u202e turned </b> & % {} \\P ^J"
    source = replace(job.sources[0], name=f"{nasty}.e57")
    station = replace(job.stations[0], name=nasty)
    finding = replace(job.findings[0], text=nasty)
    draw_job(
        *((source,), (station,), None, job.surfaces, job.elevations),
        *(lambda: ((finding,), []), tmp_path, DrawingSettings()),
    )
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "line break tab � nul � byte � turned &lt;/b&gt; &amp; %" in page
    document = ezdxf.readfile(tmp_path / "drawings" / "room.dxf")  # type: ignore[attr-defined]
    assert document.audit().errors == []
    assert any(text.dxf.text.startswith("line break tab") for text in document.modelspace().query("TEXT"))
