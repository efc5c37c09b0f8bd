"""Dividing a length: the pieces fill it, none is too long, and joints lie where the rule says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unfold.layout import division
from unfold.layout.division import Span

spans = st.builds(
    lambda low, length, most, joint, least: Span(low, low + length, most, joint, least),
    st.floats(-500.0, 500.0), st.floats(200.0, 20000.0), st.floats(400.0, 3200.0), st.floats(0.0, 8.0),
    st.floats(0.0, 150.0),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(spans, st.floats(0.05, 0.95), st.floats(0.05, 0.5))
def test_pieces_fill_the_length_and_none_is_too_long(span: Span, place: float, share: float) -> None:
    at = span.low + place * (span.high - span.low)
    for joints in (
        division.equal(span), division.from_low(span), division.from_high(span), division.joint_at(span, (at,)),
        division.piece_at(span, at), division.staggered(span, share, 0), division.staggered(span, share, 1),
        division.staggered_in_bays(span, 7620.0, share, 1),
    ):  # fmt: skip
        pieces = division.pieces(span, joints)
        assert sum(pieces) + span.joint * len(joints) == pytest.approx(span.high - span.low, abs=1e-6)
        assert max(pieces) <= span.most + 1e-6
        assert list(joints) == sorted(joints)


def test_equal_pieces_by_hand() -> None:
    # 6197 mm, pieces up to 1560, joints 3: (6197 + 3) / 1563 = 3.97, so 4 pieces of (6200 / 4) - 3 = 1547.
    span = Span(0.0, 6197.0, 1560.0, 3.0)
    assert division.equal(span) == pytest.approx((1548.5, 3098.5, 4648.5))
    assert division.pieces(span, division.equal(span)) == pytest.approx((1547.0,) * 4)


def test_whole_pieces_from_the_left_leave_the_rest_at_the_right() -> None:
    # 4000 = 1560 + 3 + 1560 + 3 + 874
    span = Span(0.0, 4000.0, 1560.0, 3.0)
    assert division.pieces(span, division.from_low(span)) == pytest.approx((1560.0, 1560.0, 874.0))
    assert division.pieces(span, division.from_high(span)) == pytest.approx((874.0, 1560.0, 1560.0))


def test_a_sliver_is_shared_with_its_neighbour() -> None:
    # 3200 leaves 3200 - 2 * 1563 = 74 mm, under the least of 150: the last two share 1637 - 3 = 1634, 817 each.
    span = Span(0.0, 3200.0, 1560.0, 3.0, 150.0)
    pieces = division.pieces(span, division.from_low(span))
    assert pieces == pytest.approx((1560.0, 817.0, 817.0))


def test_a_joint_on_the_middle_mirrors() -> None:
    span = Span(0.0, 5000.0, 1560.0, 3.0, 150.0)
    joints = np.array(division.joint_at(span, (2500.0,)))
    assert 2500.0 in joints
    np.testing.assert_allclose(np.sort(5000.0 - joints), joints, atol=1e-9)


def test_a_piece_on_the_middle_mirrors_and_no_joint_meets_the_middle() -> None:
    span = Span(0.0, 5000.0, 1560.0, 3.0, 150.0)
    pieces = division.pieces(span, division.piece_at(span, 2500.0))
    # (5000 - 1560) / 2 - 3 = 1717 on either side: a whole piece, a joint and 154.
    assert pieces == pytest.approx((154.0, 1560.0, 1560.0, 1560.0, 154.0))


def test_staggered_rows_shift_by_a_third() -> None:
    span = Span(0.0, 5997.0, 3000.0, 3.0)
    assert division.staggered(span, 1.0 / 3.0, 0) == pytest.approx((2998.5,))
    assert division.pieces(span, division.staggered(span, 1.0 / 3.0, 1)) == pytest.approx((997.0, 2997.0, 1997.0))
