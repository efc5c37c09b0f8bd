"""JSON that two equal runs write the same, and that keeps every value."""

import json
import math
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from unfold.job_folder.json_text import json_text, plain

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.floats(-1e9, 1e9) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(max_size=5), VALUES, max_size=5))
def test_any_document_survives(document: dict[str, Any]) -> None:
    assert json.loads(json_text(document)) == document


def test_arrays_and_their_scalars_become_plain_and_rounded() -> None:
    value = {"a": np.array([[1.00004, 2]]), "b": np.float32(0.5), "c": np.int64(3), "d": np.bool_(True), "e": (1.0,)}
    assert plain(value) == {"a": [[1.0, 2.0]], "b": 0.5, "c": 3, "d": True, "e": [1.0]}


def test_what_is_not_finite_is_null_and_zero_has_no_sign() -> None:
    assert plain([math.nan, math.inf, -math.inf]) == [None, None, None]
    assert json.dumps(plain(-0.00001)) == "0.0"
