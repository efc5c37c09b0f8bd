"""A quick look at accuracy in every test run: one small room, points 15 mm apart, and limits that hold today.

The full table is made by `python -m tests.accuracy`; these limits are only there to notice when something breaks.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.accuracy.jobs import run_case
from tests.accuracy.results import LIMITS, CaseResult, judge
from tests.accuracy.table import rows
from tests.simulate.scanner import TRIPOD

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> CaseResult:
    folder: Path = tmp_path_factory.mktemp("accuracy")
    return judge(run_case("box", 0, replace(TRIPOD, spacing_m=0.015), folder), LIMITS["tripod"])


def test_every_wall_is_found_and_none_invented(box: CaseResult) -> None:
    assert box.failure is None
    assert [wall.wall for wall in box.walls if not wall.found] == []
    assert box.invented == ()


def test_corners_and_outline_keep_within_millimetres(box: CaseResult) -> None:
    shapes = [wall.shape for wall in box.walls if wall.shape is not None]
    corners = np.concatenate([shape.corners for shape in shapes])
    outline = np.concatenate([shape.outline for shape in shapes])
    assert len(corners) == 16
    assert np.sqrt(np.mean(corners**2)) < 1.0
    assert np.percentile(outline, 95) < 2.0


def test_every_opening_is_found_and_none_invented(box: CaseResult) -> None:
    shapes = [wall.shape for wall in box.walls if wall.shape is not None]
    assert sum(len(shape.openings) for shape in shapes) == 6
    assert [name for shape in shapes for name in (*shape.missed, *shape.invented)] == []


def test_heights_are_right_and_no_wall_conforms_wrongly(box: CaseResult) -> None:
    surfaces = [wall.surface for wall in box.walls if wall.surface is not None]
    cells = np.concatenate([surface.cells for surface in surfaces])
    assert np.mean(np.abs(cells) <= 0.5) > 0.95
    assert not any(verdict.wrong_conforms for surface in surfaces for verdict in surface.verdicts)


def test_plumb_of_a_levelled_scanner(box: CaseResult) -> None:
    assert box.plumb_source == "scanner"
    assert box.plumb_deg is not None and box.plumb_deg < 0.01


def test_every_row_of_the_table_is_made(box: CaseResult) -> None:
    table = rows([box], "tripod")
    assert len(table) >= 18
    assert all(row.measured for row in table)
