"""A hidden jamb is somewhere behind what hides it; the uncertainty must say so."""

from dataclasses import replace

import numpy as np
import pytest

from unfold.elevation.evidence import BEHIND, BLOCKED, EMPTY, WALL, Evidence
from unfold.elevation.hidden_sides import cut_off, hidden_beyond_mm, with_hidden_sides
from unfold.elevation.outline import Outline
from unfold.elevation.result import Edge, EdgeKind, Opening
from unfold.surface.result import Grid

RING = np.array([[500.0, 800.0], [1100.0, 800.0], [1100.0, 1300.0], [500.0, 1300.0]])
WALL_RING = np.array([[0.0, 0.0], [3000.0, 0.0], [3000.0, 2500.0], [0.0, 2500.0]])


def evidence(hidden_to_mm: float, kind: int) -> Evidence:
    """A wall with the opening RING, hidden to the right of it up to `hidden_to_mm` and over its whole height."""
    cells = np.full((265, 315), WALL, np.int8)  # from -75 mm on: cell k has its middle at -70 + 10 k
    cells[:, _cell(1100.0) : _cell(hidden_to_mm)] = kind
    cells[_cell(800.0) : _cell(1300.0), _cell(500.0) : _cell(1100.0)] = BEHIND
    grid = Grid(-70.0, -70.0, 10.0, *cells.shape)
    return Evidence(grid, cells, cells, np.full(cells.shape, 6.0), np.zeros(cells.shape, bool))


def _cell(mm: float) -> int:
    return round((mm + 75.0) / 10.0)


def opening() -> Opening:
    return Opening("W1-O1", "opening", RING, "rectangle", (600.0, 500.0), None, "through", 0.5, None)


@pytest.mark.parametrize("kind", [EMPTY, BLOCKED])
def test_a_hidden_side_is_as_uncertain_as_its_hidden_stretch_is_long(kind: int) -> None:
    # the side lies anywhere on 700 mm alike: root mean square distance from their near end is 700 / sqrt 3 (GUM, 4.3.7)
    assert hidden_beyond_mm(RING, evidence(1800.0, kind), (0.0, 0.0, 3000.0, 2500.0)) == pytest.approx(
        (0.0, 0.0, 700.0, 0.0), abs=10.0
    )
    found = with_hidden_sides(opening(), evidence(1800.0, kind), WALL_RING)
    assert found.standard_uncertainty_mm == pytest.approx(700.0 / np.sqrt(3.0), abs=6.0)


def test_cells_that_are_not_the_wall_s_own_surface_prove_no_side() -> None:
    seen = evidence(1800.0, WALL)
    doubtful = np.zeros(seen.kind.shape, bool)
    doubtful[: _cell(800.0), _cell(500.0) : _cell(1100.0)] = True  # below: a board, or a leaf taken for wall
    seen = replace(seen, doubtful=doubtful)
    assert hidden_beyond_mm(RING, seen, (0.0, 0.0, 3000.0, 2500.0)) == pytest.approx((0.0, 800.0, 0.0, 0.0), abs=10.0)


def test_what_is_hidden_up_to_the_wall_s_end_is_counted_to_there() -> None:
    found = hidden_beyond_mm(RING, evidence(3075.0, EMPTY), (0.0, 0.0, 3000.0, 2500.0))
    assert found[2] == pytest.approx(1900.0, abs=10.0)


@pytest.mark.parametrize("to_mm", [1100.0, 1150.0])
def test_sides_beside_seen_wall_stay_as_certain_as_they_were(to_mm: float) -> None:
    assert with_hidden_sides(opening(), evidence(to_mm, EMPTY), WALL_RING).standard_uncertainty_mm == 0.5


@pytest.mark.parametrize(("kind", "hidden_to", "expected"), [("end", 3075.0, True), ("inside_corner", 3075.0, False)])
def test_an_opening_where_the_wall_just_ends_has_no_known_side(
    kind: EdgeKind, hidden_to: float, expected: bool
) -> None:
    corners = ["floor", kind, "ceiling", "inside_corner"]
    edges = tuple(Edge(each, None, i, (i + 1) % 4, 0.0, 1.0) for i, each in enumerate(corners))  # type: ignore[arg-type]
    assert cut_off(opening(), evidence(hidden_to, EMPTY), Outline(WALL_RING, edges)) == expected
    assert not cut_off(opening(), evidence(1800.0, EMPTY), Outline(WALL_RING, edges))  # a wardrobe, and wall beyond it
