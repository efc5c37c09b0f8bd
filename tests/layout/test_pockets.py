"""Notched and holed panels on sheets: smaller ones lie in their notches, none touches another, by exact polygons."""

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform
from shapely.geometry import Polygon

from tests.layout.test_nesting import rectangle
from unfold.arrays import Floats
from unfold.layout.nesting import CuttingRules, Nesting, Part, StockSheet, nest_panels
from unfold.layout.pockets import pockets_of, solid_boxes

JET = CuttingRules(1.0, 0.0, False)


def notched(width: float, height: float, notch: tuple[float, float], at: float = 0.0) -> Floats:
    """A panel with a notch from below: its left side at `at` from the panel's left."""
    whole = shapely.box(0.0, 0.0, width, height)
    cut = shapely.difference(whole, shapely.box(at, -1.0, at + notch[0], notch[1]))
    ring: Floats = np.asarray(cut.exterior.coords)[:-1] + np.array([210.0, -35.0])
    return ring


def on_sheets(parts: list[Part], nesting: Nesting) -> dict[tuple[str, int], list[Polygon]]:
    found: dict[tuple[str, int], list[Polygon]] = {}
    for part in parts:
        if part.id not in nesting.placements:
            continue
        place = nesting.placements[part.id]
        low, height = part.ring_mm.min(axis=0), float(np.ptp(part.ring_mm[:, 1]))
        shape = Polygon(part.ring_mm - low, [hole - low for hole in part.holes_mm])
        x, y = place.origin_mm
        turn = (0, -1, 1, 0, x + height, y) if place.turned else (1, 0, 0, 1, x, y)
        found.setdefault((place.stock, place.sheet), []).append(affine_transform(shape, turn))
    return found


def check(parts: list[Part], nesting: Nesting, sheet: StockSheet, cutting: CuttingRules) -> None:
    edge = cutting.trim_mm - 1e-6
    usable = shapely.box(edge, edge, sheet.length_mm - edge, sheet.width_mm - edge)
    for shapes in on_sheets(parts, nesting).values():
        assert all(usable.contains(shape) for shape in shapes)
        for one, other in combinations(shapes, 2):
            assert one.distance(other) >= cutting.kerf_mm - 1e-6
            assert one.intersection(other).area <= 1e-6 * one.length


@pytest.mark.parametrize("may_turn", [True, False])
def test_a_part_lies_in_the_notch_of_another(may_turn: bool) -> None:
    # The L fills the sheet but for its notch of 1000 x 800; a kerf of 1 on two sides leaves 999 x 799 of that.
    sheet = StockSheet("S1", 2000.0, 1500.0, None)
    large = Part("P1", notched(2000.0, 1500.0, (1000.0, 800.0)), False)
    for size, sheets in (((998.9, 798.9), 1), ((998.9, 799.2), 2), ((999.2, 798.9), 2)):
        parts = [large, Part("P2", rectangle(*size), may_turn)]
        nesting = nest_panels(parts, [sheet], JET)
        check(parts, nesting, sheet, JET)
        assert nesting.sheets_used == {"S1": sheets}


def test_a_part_is_cut_from_another_ones_cutout() -> None:
    sheet = StockSheet("S1", 1000.0, 1000.0, None)
    ring, hole = rectangle(1000.0, 1000.0), rectangle(600.0, 500.0) + np.array([200.0, 300.0])
    for width, sheets in ((597.9, 1), (598.2, 2)):
        parts = [Part("P1", ring, True, holes_mm=(hole,)), Part("P2", rectangle(width, 497.9), True)]
        nesting = nest_panels(parts, [sheet], JET)
        check(parts, nesting, sheet, JET)
        assert nesting.sheets_used == {"S1": sheets}


def test_the_saw_leaves_notches_alone() -> None:
    sheet = StockSheet("S1", 2000.0, 1500.0, None)
    parts = [Part("P1", notched(2000.0, 1500.0, (1000.0, 800.0)), True), Part("P2", rectangle(500.0, 500.0), True)]
    assert nest_panels(parts, [sheet], CuttingRules(1.0, 0.0, True)).sheets_used == {"S1": 2}


def test_a_part_reaches_out_of_a_notch() -> None:
    # Notch 1000 x 800, sheet 400 higher than the panel: 990 x 1190 stands in the notch and reaches out of it.
    sheet = StockSheet("S1", 2000.0, 1900.0, None)
    parts = [Part("P1", notched(2000.0, 1500.0, (1000.0, 800.0)), False), Part("P2", rectangle(990.0, 1190.0), False)]
    nesting = nest_panels(parts, [sheet], JET)
    check(parts, nesting, sheet, JET)
    # Panels are put to the lower left: a notch below opens onto the sheet's edge, and nothing reaches out of it.
    assert nesting.sheets_used == {"S1": 2}
    turned = [Part("P1", notched(2000.0, 1500.0, (1000.0, 800.0)) * [1.0, -1.0], False), parts[1]]
    nesting = nest_panels(turned, [sheet], JET)
    check(turned, nesting, sheet, JET)
    assert nesting.sheets_used == {"S1": 1}


sizes = st.tuples(st.floats(200.0, 3000.0), st.floats(200.0, 1500.0))
kinds = st.sampled_from(["whole", "notched", "holed", "bowed"])
shares = st.tuples(st.floats(0.1, 0.9), st.floats(0.1, 0.9), st.floats(0.0, 1.0))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(sizes, shares, kinds), min_size=1, max_size=12),
    st.booleans(), st.booleans(), st.floats(0.0, 5.0), st.floats(0.0, 30.0),
)  # fmt: skip
def test_no_two_panels_touch_and_none_leaves_the_sheet(
    drawn: list[tuple[tuple[float, float], tuple[float, float, float], str]], may_turn: bool, turned: bool,
    kerf: float, trim: float,
) -> None:  # fmt: skip
    parts = []
    for number, ((width, height), (a, b, c), kind) in enumerate(drawn):
        ring = rectangle(width, height)
        holes: tuple[Floats, ...] = ()
        notch = a * width, b * height
        if kind in ("notched", "bowed"):
            ring = notched(width, height, notch, round(c) * (width - notch[0]) if c < 0.2 else c * (width - notch[0]))
        if kind == "bowed":  # a ring of many points, its sides bowed by 3 mm, as scribed ones are
            dense = np.asarray(shapely.segmentize(Polygon(ring), 50.0).exterior.coords)[:-1]
            ring = dense + 3.0 * np.sin(dense[:, ::-1] / 700.0)
        if kind == "holed":
            holes = (rectangle(*notch) + c * np.array([width - notch[0], height - notch[1]]),)
        parts.append(Part(f"P{number}", ring, may_turn, turned, holes))
    sheet = StockSheet("S1", 3200.0, 1600.0, None)
    cutting = CuttingRules(kerf, trim, False)
    nesting = nest_panels(parts, [sheet], cutting, 20_000)
    check(parts, nesting, sheet, cutting)
    assert sorted([*nesting.placements, *nesting.unplaced]) == sorted(part.id for part in parts)


def test_pockets_and_boxes_by_hand() -> None:
    ring = notched(1000.0, 800.0, (300.0, 500.0), 200.0)
    ((left, low, right, top),) = pockets_of(ring, [], 100.0)
    assert (left, low, right, top) == pytest.approx((200.0, 0.0, 500.0, 500.0), abs=0.02)
    assert pockets_of(ring, [], 510.0) == []
    # With a kerf of 2 the pocket is 298 wide, from 202; it begins at the panel's lower edge.
    boxes = solid_boxes([(200.0, 0.0, 500.0, 500.0)], (1000.0, 800.0), (1_002_000, 802_000), 2.0)
    assert sorted(boxes.tolist()) == [
        [0, 0, 202_000, 802_000], [202_000, 500_000, 500_000, 802_000], [500_000, 0, 1_002_000, 802_000]
    ]  # fmt: skip
