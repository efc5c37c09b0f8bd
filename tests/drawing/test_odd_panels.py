"""Panels of every odd shape go through all drawings: slivers, notches, doubled points, cutouts that nearly touch."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry.polygon import orient

from tests.drawing.sample_job import SampleJob, WallPlan, sample_job
from unfold.drawing.layout_drawings import draw_layout
from unfold.layout.result import Balance, Cutout, Layout, Panel, Placement, Stock, Totals, WallLayout
from unfold.settings import JobSettings

ZERO = Balance(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@pytest.fixture(scope="module")
def job() -> SampleJob:
    return sample_job((WallPlan((0, 0), (0, 3.0), height=2600),))


def ring_of(shape: shapely.Polygon) -> np.ndarray:  # type: ignore[type-arg]
    return np.array(orient(shape).exterior.coords[:-1])


def layout_of(shapes: list[shapely.Polygon]) -> Layout:
    panels = []
    for number, shape in enumerate(shapes, 1):
        cutouts = tuple(
            Cutout(f"W1-O{index}", np.array(orient(shape).interiors[index].coords[:-1]))
            for index in range(len(shape.interiors))
        )
        placed = Placement("S1", number, (20.0, 20.0), number % 2 == 0) if number % 3 else None
        panels.append(
            Panel(f"W1-P{number}", ring_of(shape), cutouts, 1, number, shape.area, 1.0, placed, None, ("a note",))
        )
    stock = Stock("S1", (5000.0, 5000.0), 6.0, 2400.0, len(shapes), False)
    wall = WallLayout("W1", "clad", "flat", (), 9.0, None, (), (), (), tuple(panels), ZERO)
    return Layout((stock,), (wall,), Totals(0.0, len(panels), 1, 0.5, 0.0, 0.0, 0.0), (), ())


ODD = {
    "sliver": shapely.box(0, 0, 2000, 0.8),
    "tiny": shapely.box(0, 0, 2, 2),
    "needle": shapely.Polygon([(0, 0), (2500, 0), (2500, 1)]),
    "notched": shapely.box(0, 0, 1200, 2500).difference(shapely.box(400, -1, 800, 2400)),
    "comb": shapely.box(0, 0, 1200, 2500).difference(shapely.union_all([shapely.box(x, 50, x + 40, 3000)
                                                                          for x in range(50, 1150, 80)])),
    "disc": shapely.Point(0, 0).buffer(700, quad_segs=180),
    "many cutouts": shapely.box(0, 0, 1200, 2500).difference(
        shapely.union_all([shapely.Point(x, y).buffer(30, quad_segs=32) for x in range(60, 1200, 90)
                           for y in range(60, 2500, 300)])),
    "cutout at the edge": shapely.box(0, 0, 1200, 2500).difference(shapely.box(0.01, 1000, 100, 1100)),
    "lying far off": shapely.box(-5e6, 3e6, -5e6 + 900, 3e6 + 1200),
}  # fmt: skip


def test_odd_shapes_are_drawn_and_checked(job: SampleJob, tmp_path: Path) -> None:
    layout = layout_of(list(ODD.values()))
    draw_layout(layout, job.elevations, job.surfaces, tmp_path, JobSettings())
    assert len(list((tmp_path / "cut").glob("W1-P*.dxf"))) == len(ODD)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 10_000))
def test_random_shapes_are_drawn_and_checked(job: SampleJob, tmp_path: Path, seed: int) -> None:
    generator = np.random.default_rng(seed)
    shape = shapely.box(0, 0, *generator.uniform(100, 3000, 2))
    for _ in range(int(generator.integers(0, 6))):
        x, y = generator.uniform(-200, 3000, 2)
        w, h = generator.uniform(1, 900, 2)
        hole = shapely.box(x, y, x + w, y + h) if generator.random() < 0.5 else shapely.Point(x, y).buffer(w / 2)
        parts = [part for part in shapely.get_parts(shape.difference(hole)) if part.area > 1.0]
        shape = max(parts, key=lambda part: part.area) if parts else shape
    wavy, spread = shapely.segmentize(shape, 10.0), generator.choice([0.0, 0.02, 0.3])
    rings = [np.array(ring.coords[:-1]) for ring in (wavy.exterior, *wavy.interiors)]
    rings = [ring + generator.normal(0.0, spread, ring.shape) for ring in rings]
    noisy = shapely.Polygon(rings[0], rings[1:])
    final = noisy if noisy.is_valid else shape
    draw_layout(layout_of([final, final]), job.elevations, job.surfaces, tmp_path, JobSettings())
