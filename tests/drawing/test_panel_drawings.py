"""Panel elevations, the drawing set and the customer's sheet: figures against the layout, scale against the paper."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pypdf
import pytest
from ezdxf.entities.lwpolyline import LWPolyline
from hypothesis import given
from hypothesis import strategies as st

from tests.drawing.sample_job import SampleJob, sample_job
from tests.drawing.sample_layout import sample_layout
from unfold.drawing.customer import joint_samples, write_customer_sheet
from unfold.drawing.layout_drawings import draw_layout
from unfold.drawing.panel_elevation import PanelElevation, panel_elevation, spread
from unfold.drawing.panel_sheet import choose_scale, draw_panels
from unfold.drawing.paper import Paper
from unfold.drawing.title_block import SIZES_MM, drawing_space
from unfold.layout.result import Layout
from unfold.settings import JobSettings

FEET = JobSettings.model_validate({"drawing": {"units": "ft-in"}, "title_block": {"project": "Ferry terminal"}})
POINTS_PER_MM = 72.0 / 25.4


@pytest.fixture(scope="module")
def job() -> SampleJob:
    return sample_job()


@pytest.fixture(scope="module")
def layout(job: SampleJob) -> Layout:
    return sample_layout(job.elevations)


@pytest.fixture(scope="module")
def folder(job: SampleJob, layout: Layout, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    settings = JobSettings.model_validate({"title_block": {"project": "Ferry terminal", "customer": "Harbour board"}})
    draw_layout(layout, job.elevations, job.surfaces, folder, settings)
    return folder


@pytest.fixture(scope="module")
def first_wall(job: SampleJob, layout: Layout) -> PanelElevation:
    return panel_elevation(job.elevations.walls[0], layout.walls[0], JobSettings().drawing)


def test_ordinates_are_distances_from_the_datum(first_wall: PanelElevation, layout: Layout) -> None:
    # W1 is 7500 wide with the plumb datum in its middle at 3750 and the level datum at 1000; its door runs from
    # u = 900 to 1910 and up to 2110; the joint between its two rows lies half-way up, at about 1600.
    texts = {axis: [one.text for one in first_wall.ordinates if one.axis == axis] for axis in ("u", "v")}
    assert {"-2850.0", "-1840.0"} <= set(texts["u"])  # 900 - 3750, 1910 - 3750
    assert "1110.0" in texts["v"]  # 2110 - 1000
    for joint in layout.walls[0].joints:
        axis = 0 if joint.line_mm[0, 0] == joint.line_mm[1, 0] else 1
        datum = (3750.0, 1000.0)[axis]
        assert f"{joint.line_mm[0, axis] - datum:.1f}" in texts["uv"[axis]]


def test_ordinates_stand_once_and_in_order(first_wall: PanelElevation) -> None:
    for axis in ("u", "v"):
        places = [one.at_mm for one in first_wall.ordinates if one.axis == axis]
        assert np.all(np.diff(places) >= 0.5)


def test_tables_follow_the_scribed_edges(first_wall: PanelElevation) -> None:
    floor = next(table for table in first_wall.tables if table.title.startswith("floor"))
    assert floor.header == ("at u", "wall v", "panel v")
    places = [float(row[0]) for row in floor.rows]
    assert np.all(np.diff(places) == pytest.approx(100.0))
    assert 0.0 in places
    for at, wall, panel in floor.rows:
        u = float(at) + 3750.0
        # The sample floor is bowed upward by 2 mm as a half sine over 7500 mm; the datum is 1000 mm over its ends.
        assert float(wall) == pytest.approx(2.0 * np.sin(np.pi * u / 7500.0) - 1000.0, abs=0.06)
        in_door = 890.0 < u < 1920.0
        if panel != "-":
            assert not in_door
            assert float(panel) - float(wall) == pytest.approx(3.175, abs=0.11)
        elif not in_door:
            assert any(abs(u - joint.line_mm[0, 0]) < 10.0 for joint in first_wall.joints) or u < 5.0 or u > 7495.0


@given(st.lists(st.floats(-1000.0, 1000.0), min_size=1, max_size=30), st.floats(0.1, 100.0))
def test_texts_move_apart_and_no_farther_than_needed(places: list[float], distance: float) -> None:
    places = sorted(places)
    moved = spread(places, distance)
    assert np.all(np.diff(moved) >= distance - 1e-6)
    assert np.mean(moved) == pytest.approx(np.mean(places), abs=1e-6)
    if np.all(np.diff(places) >= distance):
        assert moved == pytest.approx(places)


def test_two_texts_at_one_place_share_the_move() -> None:
    assert spread([0.0, 0.0], 4.0) == [-2.0, 2.0]


def test_the_dxf_measures_what_it_says(folder: Path, first_wall: PanelElevation) -> None:
    document = ezdxf.readfile(folder / "panels" / "W1-panels.dxf")  # type: ignore[attr-defined]
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    dimensions: list[Any] = list(document.modelspace().query("DIMENSION"))
    assert len(dimensions) == len(first_wall.ordinates)
    for dimension in dimensions:
        measured = dimension.get_measurement()
        axis = 0 if dimension.dxf.dimtype & 64 else 1
        assert measured[axis] == pytest.approx(float(dimension.dxf.text), abs=0.06)
    panels = document.modelspace().query("LWPOLYLINE[layer=='PANEL']")
    assert len(panels) == len(first_wall.panels)
    assert all(isinstance(panel, LWPolyline) and panel.closed for panel in panels)
    assert {"PANEL", "CUTOUT", "OUTLINE", "OPENING", "DATUM", "DIMENSION", "TABLE"} <= {
        entity.dxf.layer for entity in document.modelspace()
    }


def test_walls_without_panels_have_no_panel_dxf(folder: Path) -> None:
    names = {path.name for path in (folder / "panels").glob("*.dxf")}
    assert "W1-panels.dxf" in names
    assert not {"W4-panels.dxf", "W8-panels.dxf"} & names


@pytest.mark.parametrize(
    ("width", "height", "size", "scale"),
    [
        # A3 leaves 384 x 241 mm inside; ordinates take 50 x 40, so 334 x 201 for the wall.
        (1600.0, 900.0, "A3", 5),
        (1700.0, 900.0, "A3", 10),
        (4000.0, 2700.0, "A3", 20),
        (7500.0, 3200.0, "A3", 25),
        (15000.0, 3200.0, "A3", 50),
        (3000.0, 12000.0, "A2", 50),
        (60000.0, 3000.0, "A0", 100),
    ],
)
def test_the_scale_fits_the_sheet(width: float, height: float, size: str, scale: int) -> None:
    assert choose_scale(width, height, "mm") == (size, scale)


def strokes(path: Path) -> list[np.ndarray]:  # type: ignore[type-arg]
    """The closed rings drawn on a PDF's only page, in millimetres."""
    page = pypdf.PdfReader(path).pages[0]
    rings, current = [], []
    for operands, operator in pypdf.generic.ContentStream(page.get_contents(), None).operations:
        if operator in (b"m", b"l"):
            current.append([float(value) / POINTS_PER_MM for value in operands])
        elif operator == b"h":
            rings.append(np.array(current))
        elif operator in (b"S", b"B", b"f", b"n", b"B*", b"f*"):
            current = []
    return rings


@pytest.mark.parametrize("scale", [20, 25, 50])
def test_panels_are_drawn_at_true_scale(first_wall: PanelElevation, tmp_path: Path, scale: int) -> None:
    paper = Paper(tmp_path / "page.pdf", "test")
    paper.new_page(*SIZES_MM["A1"])
    draw_panels(paper, first_wall, drawing_space("A1"), scale, JobSettings().drawing)
    paper.save()
    drawn = sorted(tuple(np.round(np.ptp(ring, axis=0), 2)) for ring in strokes(tmp_path / "page.pdf"))
    for panel in first_wall.panels:
        wanted = np.ptp(panel.ring_mm, axis=0) / scale
        assert any(np.allclose(size, wanted, atol=0.03) for size in drawn)


def words_of(path: Path) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(path).pages]


def test_the_set_holds_every_wall_panel_and_sheet(folder: Path, layout: Layout) -> None:
    pages = words_of(folder / "panels" / "set.pdf")
    text = "\n".join(pages)
    for wall in layout.walls:
        assert f"wall {wall.id}" in text
        for panel in wall.panels:
            assert panel.id in text
    assert f"S1 sheet {layout.totals.sheets}" in text
    assert f"sheet\n{len(pages)} of {len(pages)}" in pages[-1] or f"{len(pages)} of {len(pages)}" in pages[-1]
    assert all("Ferry terminal" in page and "Harbour board" in page for page in pages)
    for page in pypdf.PdfReader(folder / "panels" / "set.pdf").pages:
        size = (float(page.mediabox.width) / POINTS_PER_MM, float(page.mediabox.height) / POINTS_PER_MM)
        assert any(np.allclose(size, wanted, atol=0.05) for wanted in SIZES_MM.values())
    for scale in re.findall(r"1:(\d+)", text):
        assert int(scale) in (5, 10, 20, 25, 50, 100, 200)


def test_the_customers_sheet_is_one_page(folder: Path, layout: Layout) -> None:
    pages = words_of(folder / "panels" / "customer.pdf")
    assert len(pages) == 1
    assert "76 panels on 9 walls" in pages[0]
    for wall in layout.walls:
        if wall.panels:
            assert f"{wall.id}: {len(wall.panels)} panels" in pages[0]
        else:
            assert wall.id in pages[0]
    flat = " ".join(pages[0].split())
    assert "Joint between panels: 3.2 mm wide" in flat
    assert "Sealant at the ceiling: 6.4 mm wide" in flat
    assert "signature" in flat


def test_joints_are_drawn_at_full_size(folder: Path, layout: Layout) -> None:
    rings = strokes(folder / "panels" / "customer.pdf")
    pieces = [ring for ring in rings if np.allclose(np.ptp(ring[:, 1]), 14.0, atol=0.01)]
    pieces.sort(key=lambda ring: float(ring[:, 0].min()))
    gaps = [pieces[i + 1][:, 0].min() - pieces[i][:, 0].max() for i in range(0, len(pieces), 2)]
    assert gaps == pytest.approx([width for _, width in joint_samples(layout, JobSettings())], abs=0.01)
    assert gaps[0] == pytest.approx(3.175, abs=0.01)  # 1/8 in
    assert pytest.approx(gaps[2], abs=0.01) == 6.35  # 1/4 in under the ceiling


def test_many_walls_still_make_one_page(job: SampleJob, layout: Layout, tmp_path: Path) -> None:
    many = replace(layout, walls=tuple(replace(wall, id=f"{wall.id}{n}") for n in range(5) for wall in layout.walls))
    walls = tuple(replace(wall, id=f"{wall.id}{n}") for n in range(5) for wall in job.elevations.walls)
    drawn = [
        panel_elevation(wall, laid, JobSettings().drawing) for wall, laid in zip(walls, many.walls, strict=True)
    ]
    write_customer_sheet(many, drawn, tmp_path / "customer.pdf", JobSettings())
    assert len(pypdf.PdfReader(tmp_path / "customer.pdf").pages) == 1


def test_feet_and_inches_carry_the_millimetres(job: SampleJob, layout: Layout, tmp_path: Path) -> None:
    draw_layout(replace(layout, walls=layout.walls[:1]), job.elevations, job.surfaces, tmp_path, FEET)
    text = " ".join(words_of(tmp_path / "panels" / "set.pdf")[0].split())
    assert "7' 2 3/8\" (2193.7)" in text  # 2193.65 mm = 86.364 in = 7 ft 2 3/8 in to the sixteenth
    assert "1/8\" (3.2 mm)" in text


def test_a_layout_without_panels_is_drawn_too(job: SampleJob, layout: Layout, tmp_path: Path) -> None:
    bare = tuple(replace(wall, panels=(), joints=(), field_mm=()) for wall in layout.walls)
    draw_layout(replace(layout, walls=bare), job.elevations, job.surfaces, tmp_path, JobSettings())
    assert "No wall gets panels" in words_of(tmp_path / "panels" / "customer.pdf")[0]
    assert len(list((tmp_path / "cut").iterdir())) == 1


def test_the_same_layout_gives_the_same_pdf(job: SampleJob, layout: Layout, tmp_path: Path) -> None:
    few = replace(layout, walls=layout.walls[:2])
    for name in ("one", "two"):
        draw_layout(few, job.elevations, job.surfaces, tmp_path / name, JobSettings())
    for path in ("panels/customer.pdf", "panels/set.pdf", "panels/W1-panels.dxf", "cut/W1-P1.dxf"):
        assert (tmp_path / "one" / path).read_bytes() == (tmp_path / "two" / path).read_bytes()
