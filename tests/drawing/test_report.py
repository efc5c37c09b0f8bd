"""The report tells everything, on screen and on paper alike, and needs nothing from outside."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from tests.drawing.sample_job import HALL, SampleJob, sample_job
from unfold.drawing.job_drawings import draw_job
from unfold.drawing.lengths import percent
from unfold.drawing.report_blocks import Report
from unfold.drawing.report_content import answer, build_report, partly_judged
from unfold.drawing.report_html import report_html
from unfold.drawing.report_tables import unseen_table
from unfold.settings.drawing import DrawingSettings

VOID = {"meta", "img", "br", "hr", "link", "input"}
ONE_PIXEL = b"\x89PNG\r\n\x1a\n"


class StrictPage(HTMLParser):
    """Collects text and attributes, and fails on tags that do not close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []
        self.links: list[str] = []
        self.anchors: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        found = dict(attrs)
        self.links += [value for name, value in attrs if name in ("src", "href") and value]
        anchor = found.get("id")
        self.anchors += [anchor] if anchor else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def report_of(job: SampleJob) -> Report:
    return build_report(job.sources, job.stations, job.surfaces, job.elevations, job.findings, DrawingSettings())


def page_of(job: SampleJob) -> tuple[str, StrictPage]:
    pictures = {"plan": ONE_PIXEL} | {wall.id: ONE_PIXEL for wall in job.elevations.walls}
    text = report_html(report_of(job), pictures)
    page = StrictPage()
    page.feed(text)
    assert page.open == []
    return text, page


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    job, place = sample_job(HALL[:6]), tmp_path_factory.mktemp("job")
    draw_job(
        *(job.sources, job.stations, None, job.surfaces, job.elevations),
        *(lambda: (job.findings, []), place, DrawingSettings()),
    )
    return place


def test_everything_is_said() -> None:
    job = sample_job()
    _, page = page_of(job)
    text = " ".join(page.text)
    for wall, surface in zip(job.elevations.walls, job.surfaces.walls, strict=True):
        assert f"{wall.id}: {surface.verdict}" in text
        for opening in wall.openings:
            assert opening.id in text
    for finding in job.findings:
        assert finding.text in text
    for source in job.sources:
        assert source.name in text and source.sha256 in text
    for station in job.stations:
        assert station.name in text
    assert job.surfaces.tolerance_set in text
    for part in job.surfaces.walls[0].uncertainty_parts:
        assert part in text


def test_nothing_comes_from_outside_and_every_link_arrives() -> None:
    text, page = page_of(sample_job())
    for link in page.links:
        assert link.startswith("data:image/png;base64,") or (link[0] == "#" and link[1:] in page.anchors)
    assert not re.search(r"https?:|@import|url\(", text)
    assert "script" not in page.tags
    assert "default-src 'none'" in text


def test_file_names_cannot_break_the_page() -> None:
    job = sample_job(HALL[:1])
    nasty = '</title><script>alert("x")</script>.e57'
    _, page = page_of(replace(job, sources=(replace(job.sources[0], name=nasty), job.sources[1])))
    assert "script" not in page.tags
    assert nasty in "".join(page.text)


def test_the_answer_counts_walls() -> None:
    job = sample_job()
    text = answer(job.surfaces)
    assert text.startswith("Flatness, 11 walls: ")
    for surface in job.surfaces.walls:
        assert surface.wall in text
    assert answer(replace(job.surfaces, walls=())) == "No wall was measured."


def test_unseen_areas_are_listed_with_their_size() -> None:
    rows = unseen_table(sample_job().elevations).rows
    assert ("W2", "9300 to 10100 mm", "0 to 2100 mm", "1.68 m²") in rows
    assert sum(row[0] == "W5" for row in rows) == 1


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.996, "over 99 %"), (1.0, "100 %")]
)
def test_nearly_all_is_not_called_all(share: float, words: str) -> None:
    assert percent(share) == words


def test_a_wall_that_nothing_measured_is_still_reported() -> None:
    job = sample_job(HALL[:2])
    bare = replace(job, surfaces=replace(job.surfaces, walls=job.surfaces.walls[:1]))
    _, page = page_of(bare)
    assert "W2: not measured" in " ".join(page.text)


def test_the_job_folder_is_complete(folder: Path) -> None:
    files = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    walls = [f"W{number}" for number in range(1, 7)]
    assert files == {
        *(f"heatmaps/{wall}.png" for wall in walls),
        *(f"drawings/{wall}.dxf" for wall in walls),
        *("drawings/plan.png", "drawings/room.dxf", "report.html", "report.pdf"),
    }


def test_paper_and_screen_say_the_same(folder: Path) -> None:
    page = StrictPage()
    page.feed((folder / "report.html").read_text(encoding="utf-8"))
    paper = "".join(page.extract_text() for page in PdfReader(folder / "report.pdf").pages)
    printed = re.sub(r"\s+", "", paper)
    style_and_contents = page.text.index("Is each wall flat enough?")
    for piece in page.text[style_and_contents:]:
        words = re.sub(r"\s+", "", piece).replace("雪", "\0")  # the one letter that the printed font lacks
        assert words in printed, piece


def test_paper_has_a_table_of_contents(folder: Path) -> None:
    def titles(entries: list[Any]) -> list[str]:
        return [title for entry in entries for title in (titles(entry) if isinstance(entry, list) else [entry.title])]

    found = titles(PdfReader(folder / "report.pdf").outline)
    assert [title for title in found if title.startswith("W")][:1] == ["What was not seen"]
    assert sum(re.match(r"W\d+: ", title) is not None for title in found) == 6


def test_a_wall_that_conforms_on_part_of_its_area_is_named_at_the_top() -> None:
    job = sample_job(HALL[:1])
    assert partly_judged(job.surfaces, job.elevations) == ""
    (surface,) = job.surfaces.walls
    heights = surface.height_mm.copy()
    heights[:, : heights.shape[1] // 2] = np.nan
    half = replace(job.surfaces, walls=(replace(surface, height_mm=heights),))
    assert re.fullmatch(
        r"Of these that conform, only part could be judged: W1 5\d %\.", partly_judged(half, job.elevations)
    )


def test_paper_is_a4_and_carries_its_fonts(folder: Path) -> None:
    reader = PdfReader(folder / "report.pdf")
    for page in reader.pages:
        # ISO 216: A4 is 210 x 297 mm, 595.276 x 841.890 points
        assert float(page.mediabox.width) == pytest.approx(595.276, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(841.890, abs=0.01)
    assert len(reader.pages) <= 3 + 6 + 2  # a page a wall


def test_the_same_job_gives_the_same_files(folder: Path, tmp_path: Path) -> None:
    job = sample_job(HALL[:6])
    draw_job(
        *(job.sources, job.stations, None, job.surfaces, job.elevations),
        *(lambda: (job.findings, []), tmp_path, DrawingSettings()),
    )
    for path in folder.rglob("*"):
        if path.is_file():
            assert path.read_bytes() == (tmp_path / path.relative_to(folder)).read_bytes(), path.name
