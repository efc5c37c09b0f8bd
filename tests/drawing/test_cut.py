"""Cut files: read back with the library, compared with the layout, and refused when they differ."""

import csv
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.path import make_path

from tests.drawing.sample_job import sample_job
from tests.drawing.sample_layout import sample_layout
from unfold.arrays import Floats
from unfold.drawing.cut import write_cut_files
from unfold.drawing.cut_check import check_cut_file, check_sheet, closed_paths
from unfold.drawing.cut_outline import cut_outline, mirrored_outline
from unfold.drawing.cut_sheet import cut_sheets
from unfold.elevation.result import Elevations
from unfold.errors import UnfoldError
from unfold.layout.result import Layout, Panel
from unfold.settings import JobSettings


@pytest.fixture(scope="module")
def elevations() -> Elevations:
    return sample_job().elevations


@pytest.fixture(scope="module")
def layout(elevations: Elevations) -> Layout:
    return sample_layout(elevations)


@pytest.fixture(scope="module")
def folder(layout: Layout, elevations: Elevations, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    write_cut_files(layout, elevations, folder, JobSettings())
    return folder / "cut"


def panels_of(layout: Layout) -> list[Panel]:
    return [panel for wall in layout.walls for panel in wall.panels]


def outlines(path: Path) -> list[shapely.Polygon]:
    """The closed outlines on the cut layer, flattened by the library."""
    space = ezdxf.readfile(path).modelspace()  # type: ignore[attr-defined]
    found = []
    for entity in space.query("LWPOLYLINE[layer=='CUT']"):
        assert isinstance(entity, LWPolyline)
        assert entity.closed
        found.append(shapely.Polygon([(p.x, p.y) for p in make_path(entity).flattening(0.001)]))
    return found


def test_every_file_is_clean_and_in_millimetres(folder: Path) -> None:
    files = sorted(folder.glob("*.dxf"))
    assert len(files) > 100
    for path in files[:: len(files) // 12]:
        document = ezdxf.readfile(path)  # type: ignore[attr-defined]
        audit = document.audit()
        assert not audit.errors and not audit.fixes
        assert document.header["$INSUNITS"] == 4
        assert {entity.dxf.layer for entity in document.modelspace()} <= {"CUT", "MARK", "TEXT", "SHEET", "TRIM", "SAW"}


def test_panels_come_back_as_they_were_laid(layout: Layout, folder: Path) -> None:
    for panel in panels_of(layout):
        found = outlines(folder / f"{panel.id}.dxf")
        assert len(found) == 1 + len(panel.cutouts)
        rings = [panel.ring_mm, *(cutout.ring_mm for cutout in panel.cutouts)]
        for outline, ring in zip(found, rings, strict=True):
            wanted = shapely.Polygon(ring - panel.ring_mm.min(axis=0))
            assert abs(outline.area - wanted.area) <= 0.05 * wanted.length
            assert outline.hausdorff_distance(wanted) <= 0.052
            assert len(outline.exterior.coords) >= 4


def test_round_cutouts_are_true_arcs(layout: Layout, folder: Path) -> None:
    panel = next(panel for panel in panels_of(layout) if panel.cutouts)
    outline, cutout = closed_paths(folder / f"{panel.id}.dxf", "CUT")[:2]
    assert np.count_nonzero(cutout[:, 2]) == 4
    assert len(cutout) == 8
    assert len(outline) < len(panel.ring_mm)


def test_sheets_hold_their_panels_without_overlap(layout: Layout, folder: Path) -> None:
    for plan in cut_sheets(layout, JobSettings().layout.cutting):
        kind = plan.kind
        found = outlines(folder / f"sheet-{kind.id}-{plan.number}.dxf")
        assert len(found) == sum(1 + len(panel.cutouts) for panel in plan.panels)
        usable = shapely.box(20.0, 20.0, kind.size_mm[0] - 20.0, kind.size_mm[1] - 20.0).buffer(0.051)
        assert all(usable.contains(outline) for outline in found)
        whole = [one for one in found if not any(other.contains(one) for other in found if other is not one)]
        for number, one in enumerate(whole):
            assert all(one.distance(other) >= 3.0 - 0.1 for other in whole[:number])


def test_face_down_is_the_mirror_image(layout: Layout, elevations: Elevations, folder: Path, tmp_path: Path) -> None:
    few = replace(layout, walls=layout.walls[:1])
    write_cut_files(few, elevations, tmp_path, JobSettings.model_validate({"cut": {"face_down": True}}))
    for panel in few.walls[0].panels:
        plain, mirrored = outlines(folder / f"{panel.id}.dxf"), outlines(tmp_path / "cut" / f"{panel.id}.dxf")
        width = np.ptp(panel.ring_mm[:, 0])
        for one, other in zip(plain, mirrored, strict=True):
            back = shapely.transform(other, lambda xy, width=width: np.column_stack([width - xy[:, 0], xy[:, 1]]))
            assert one.hausdorff_distance(back) < 0.002
    text = (tmp_path / "cut" / f"{few.walls[0].panels[0].id}.dxf").read_text()
    assert "mirrored: face down" in text


def test_straight_segments_only_on_request(layout: Layout, elevations: Elevations, tmp_path: Path) -> None:
    few = replace(layout, walls=layout.walls[:1])
    write_cut_files(few, elevations, tmp_path, JobSettings.model_validate({"cut": {"arcs": False}}))
    for panel in few.walls[0].panels:
        for path in closed_paths(tmp_path / "cut" / f"{panel.id}.dxf", "CUT"):
            assert np.all(path[:, 2] == 0.0)


@pytest.mark.parametrize("change", ["area", "bounds", "missing", "open", "dent"])
def test_a_file_that_differs_is_refused(layout: Layout, folder: Path, tmp_path: Path, change: str) -> None:
    settings = JobSettings()
    panel = next(panel for panel in panels_of(layout) if panel.cutouts)
    outline = cut_outline(panel, settings.cut)
    path = tmp_path / "panel.dxf"
    text = (folder / f"{panel.id}.dxf").read_text()
    if change == "open":
        text = text.replace(" 70\n1\n 43\n", " 70\n0\n 43\n", 1)
    path.write_text(text)
    ring = outline.rings[0].copy()
    if change == "area":
        ring = ring * 1.001
    if change == "bounds":
        ring = ring + np.array([0.2, 0.0])
    if change == "dent":
        ring = np.insert(ring, 1, (ring[0] + ring[1]) / 2.0 + np.array([0.0, 0.3]), axis=0)
    rings = (ring,) if change == "missing" else (ring, *outline.rings[1:])
    with pytest.raises(UnfoldError):
        check_cut_file(path, [replace(outline, rings=rings)], settings.cut.tolerance_mm)
    check_cut_file(folder / f"{panel.id}.dxf", [outline], settings.cut.tolerance_mm)


def test_panels_that_overlap_or_leave_the_sheet_are_refused() -> None:
    one = np.array([[20.0, 20.0], [1020.0, 20.0], [1020.0, 820.0], [20.0, 820.0]])
    def check(other: Floats, kerf: float = 0.0, *cutouts: Floats) -> None:
        check_sheet("sheet", [[one, *cutouts], [other]], (3200.0, 1600.0), kerf, 0.05)

    check(one + np.array([1000.0, 0.0]))
    check(one + np.array([1003.0, 0.0]), 3.0)
    with pytest.raises(UnfoldError, match="overlap"):
        check(one + np.array([999.0, 0.0]))
    with pytest.raises(UnfoldError, match="leaves"):
        check(one + np.array([2300.0, 0.0]))
    with pytest.raises(UnfoldError, match="no kerf"):
        check(one + np.array([1002.8, 0.0]), 3.0)
    small, cutout = 0.2 * one + np.array([400.0, 300.0]), 0.3 * one + np.array([350.0, 250.0])
    check(small, 3.0, cutout[::-1])
    with pytest.raises(UnfoldError, match="overlap"):
        check(small, 3.0)


def test_the_cut_list_carries_both_units(layout: Layout, folder: Path) -> None:
    with (folder / "cutlist.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["panel"] for row in rows] == [panel.id for panel in panels_of(layout)]
    row, panel = rows[0], panels_of(layout)[0]
    width, height = np.ptp(panel.ring_mm, axis=0)
    assert float(row["width_mm"]) == pytest.approx(width, abs=0.005)
    assert float(row["height_mm"]) == pytest.approx(height, abs=0.005)
    assert row["width_ft_in"] == "2' 11 3/16\""  # 893.65 mm = 35.183 in = 35 3/16 in to the nearest sixteenth
    assert row["file"] == "W1-P1.dxf"


def test_panels_without_a_sheet_are_cut_too(layout: Layout, elevations: Elevations, tmp_path: Path) -> None:
    wall = layout.walls[0]
    bare = replace(wall, panels=tuple(replace(panel, placed=None) for panel in wall.panels))
    write_cut_files(replace(layout, walls=(bare,)), elevations, tmp_path, JobSettings())
    with (tmp_path / "cut" / "cutlist.csv").open(encoding="utf-8") as file:
        assert {row["stock"] for row in csv.DictReader(file)} == {"none"}
    assert not list((tmp_path / "cut").glob("sheet-*.dxf"))


def test_the_same_layout_gives_the_same_bytes(
    layout: Layout, elevations: Elevations, folder: Path, tmp_path: Path
) -> None:
    write_cut_files(replace(layout, walls=layout.walls[:1]), elevations, tmp_path, JobSettings())
    assert (tmp_path / "cut" / "W1-P1.dxf").read_bytes() == (folder / "W1-P1.dxf").read_bytes()


def test_no_date_stands_in_a_cut_file(folder: Path) -> None:
    text = (folder / "W1-P1.dxf").read_text()
    assert str(datetime.now(UTC).year) not in text.replace("AC1024", "")


def test_mirroring_twice_is_nothing(layout: Layout) -> None:
    outline = cut_outline(panels_of(layout)[1], JobSettings().cut)
    twice = mirrored_outline(mirrored_outline(outline, 100.0), 100.0)
    for one, other in zip(outline.paths, twice.paths, strict=True):
        np.testing.assert_allclose(one, other, atol=1e-9)


def test_another_run_writes_the_same_file() -> None:
    """The library keeps some of what it writes in sets, whose order changes with the seed of Python's hashes."""
    code = "from unfold.drawing.cut_dxf import CutDocument, _frame; print(*_frame())"
    texts = {
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(texts) == 1
    assert b"LWPOLYLINE" not in texts.pop()
