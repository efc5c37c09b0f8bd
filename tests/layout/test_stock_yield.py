"""Cuts in order and rests, worked by hand and checked by cutting."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.arrays import Floats
from unfold.layout.nesting import CuttingRules, Part, StockSheet, nest_panels
from unfold.layout.stock_yield import largest_rest_mm, saw_cuts

REGION = np.array([20.0, 20.0, 3180.0, 1580.0])


def test_one_panel_in_the_corner_takes_two_cuts() -> None:
    # 1000 x 800 at the lower left: across at 1020 + 1.5, the shorter of the two that run through, then along at 821.5.
    cuts = saw_cuts(np.array([[20.0, 20.0, 1020.0, 820.0]]), REGION, 3.0)
    assert cuts == [((1021.5, 20.0), (1021.5, 1580.0)), ((20.0, 821.5), (1020.0, 821.5))]


def test_a_full_sheet_takes_no_cut() -> None:
    assert saw_cuts(REGION[None, :], REGION, 3.0) == []
    assert largest_rest_mm(REGION[None, :], REGION, 3.0) is None


def test_a_pinwheel_cannot_be_sawn() -> None:
    boxes = np.array([[0, 0, 2, 1], [2, 0, 3, 2], [1, 2, 3, 3], [0, 1, 1, 3], [1.2, 1.2, 1.8, 1.8]], dtype=float) * 100
    assert saw_cuts(boxes, np.array([0.0, 0.0, 300.0, 300.0]), 0.0) is None


def test_the_rest_by_hand() -> None:
    # Beside a panel of 1000 wide and full height 3180 - 1020 - 3 = 2157 remain; over one 800 high 1580 - 820 - 3 = 757.
    assert largest_rest_mm(np.array([[20.0, 20.0, 1020.0, 1580.0]]), REGION, 3.0) == (2157.0, 1560.0)
    assert largest_rest_mm(np.array([[20.0, 20.0, 3180.0, 820.0]]), REGION, 3.0) == (3160.0, 757.0)
    assert largest_rest_mm(np.empty((0, 4)), REGION, 3.0) == (3160.0, 1560.0)


def cut_apart(region: Floats, cuts: list[tuple[tuple[float, float], tuple[float, float]]], kerf: float) -> list[Floats]:
    """Carry the cuts out one after the other; each has to run from edge to edge of one piece."""
    pieces = [region]
    for (x0, y0), (x1, y1) in cuts:
        axis = 0 if x0 == x1 else 1
        at, ends = (x0, (y0, y1)) if axis == 0 else (y0, (x0, x1))
        mine = [
            piece for piece in pieces
            if piece[axis] - kerf / 2.0 < at < piece[axis + 2] + kerf / 2.0
            and ends == pytest.approx((piece[1 - axis], piece[3 - axis]))
        ]  # fmt: skip
        assert len(mine) == 1
        pieces = [piece for piece in pieces if piece is not mine[0]]
        first, second = mine[0].copy(), mine[0].copy()
        first[axis + 2], second[axis] = at - kerf / 2.0, at + kerf / 2.0
        pieces += [first, second]
    return pieces


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(100.0, 1500.0), st.floats(100.0, 1500.0)), min_size=1, max_size=12))
def test_cuts_leave_every_panel_as_a_piece(sizes: list[tuple[float, float]]) -> None:
    rings = [np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]) for w, h in sizes]
    parts = [Part(str(number), ring, True) for number, ring in enumerate(rings)]
    nesting = nest_panels(parts, [StockSheet("S1", 3200.0, 1600.0, None)], CuttingRules(3.0, 20.0, True))
    for sheet in range(1, nesting.sheets_used["S1"] + 1):
        boxes = []
        for part in parts:
            place = nesting.placements[part.id]
            if place.sheet == sheet:
                w, h = np.ptp(part.ring_mm, axis=0)[:: -1 if place.turned else 1]
                boxes.append([*place.origin_mm, place.origin_mm[0] + w, place.origin_mm[1] + h])
        cuts = saw_cuts(np.array(boxes), REGION, 3.0)
        assert cuts is not None
        pieces = cut_apart(REGION, cuts, 3.0)
        for box in boxes:
            assert any(np.allclose(piece, box, atol=0.02) for piece in pieces)
        rest = largest_rest_mm(np.array(boxes), REGION, 3.0)
        if rest is not None:
            used = sum((box[2] - box[0]) * (box[3] - box[1]) for box in boxes)
            assert rest[0] * rest[1] + used <= 3160.0 * 1560.0
