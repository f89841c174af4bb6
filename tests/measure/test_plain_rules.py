"""Scores by plain rules: more that speaks for a candidate never lowers them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.line_features import NAMES as LINE_NAMES
from setstone.measure.plain_rules import line_rules, spot_rules
from setstone.measure.spot_features import NAMES as SPOT_NAMES

#: A spot no rule speaks against: an opaque, round, sharp body away from the rim and the middle.
GOOD = {
    "depth": 0.9, "blackness": 0.0, "against_grain": 20.0, "ring_spread": 0.1, "off_ellipse": 0.02,
    "edge_evenness": 0.9, "cornered": 0.5, "rim_distance": 0.2, "centre_distance": 0.1,
}  # fmt: skip


def spot(**changed: float) -> np.ndarray:
    return np.array([[(GOOD | changed).get(name, 0.0) for name in SPOT_NAMES]])


def test_a_spot_that_breaks_a_rule_is_thought_less_of() -> None:
    good = spot_rules(spot())[0]
    for change in ({"depth": 0.3}, {"centre_distance": 0.0}, {"off_ellipse": 0.2}, {"against_grain": 2.0}):
        assert spot_rules(spot(**change))[0] < good
    assert spot_rules(spot(depth=0.3))[0] == pytest.approx(0.5)


def test_a_saturated_line_is_thought_less_of_than_the_same_unsaturated() -> None:
    plain = np.zeros((2, len(LINE_NAMES)))
    plain[:, LINE_NAMES.index("contrast")] = math.log(8)
    plain[1, LINE_NAMES.index("clipped")] = 1.0
    clear, glint = line_rules(plain)
    assert glint < clear


@given(st.lists(st.floats(-1e6, 1e6), min_size=len(LINE_NAMES), max_size=len(LINE_NAMES)))
def test_scores_are_shares_whatever_the_features(values: list[float]) -> None:
    assert 0 <= line_rules(np.array([values]))[0] <= 1


def test_no_lines_no_scores() -> None:
    assert line_rules(np.zeros((0, len(LINE_NAMES)))).shape == (0,)
    assert spot_rules(np.zeros((0, len(SPOT_NAMES)))).shape == (0,)
