"""Scores of lines: how looks are pooled, that trees are read as they were written, what is said of a line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.judge_lines import U_WIDTH, _width
from setstone.measure.line_features import ABSENT, NAMES
from setstone.measure.line_reasons import reasons_for
from setstone.measure.line_scores import (
    AT_CULET,
    MANY,
    SHORT,
    Trees,
    after_many,
    both_looks,
    evaluate,
    first_scores,
    taken_at,
)

share = st.floats(0.001, 0.999)


@given(share, share)
def test_pooled_scores_lie_between_the_two_looks(first: float, second: float) -> None:
    pooled = both_looks(np.array([first]), np.array([second]))[0]
    assert min(first, second) - 1e-9 <= pooled <= max(first, second) + 1e-9


def test_opposite_looks_of_equal_strength_leave_the_question_open() -> None:
    assert both_looks(np.array([0.1]), np.array([0.9]))[0] == pytest.approx(0.5)


def test_a_tree_is_asked_its_questions_in_order() -> None:
    # Column 0 above 1, then column 1 above 5, then column 0 above 3: the last answer.
    tree = Trees(
        base=0.0,
        feature=np.array([[0, 1, 1, 0, 0, 0, 0]]),
        threshold=np.array([[1.0, 9.0, 5.0, 9.0, 9.0, 9.0, 3.0]]),
        answer=np.array([[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0]]),
    )
    assert evaluate(tree, np.array([[4.0, 6.0]]))[0] == pytest.approx(1 / (1 + np.exp(-2.0)))
    assert evaluate(tree, np.array([[2.0, 6.0]]))[0] == pytest.approx(0.5)


def test_scores_are_probabilities_whatever_the_features() -> None:
    rng = np.random.default_rng(0)
    scores = first_scores(rng.normal(0, 5, (200, len(NAMES))))
    assert ((scores >= 0) & (scores <= 1)).all()


def test_a_line_judged_in_one_light_alone_says_so() -> None:
    features = np.zeros(len(NAMES))
    assert "one-light" not in {r.code for r in reasons_for(features, 0.7)}
    features[[name.startswith("white") for name in NAMES]] = ABSENT
    assert "one-light" in {r.code for r in reasons_for(features, 0.7)}


@pytest.mark.parametrize(
    ("least", "along", "beyond", "asked"),
    [(0.01, 0.2, 0.0, True), (0.2, 0.2, 0.0, False), (0.01, 1.0, 0.0, False), (0.01, 0.2, 9.0, False)],
    ids=["ends at the girdle", "well inside", "runs along the rim", "goes on beyond"],
)
def test_whether_a_line_reaches_the_girdle_is_asked_and_not_claimed(
    least: float, along: float, beyond: float, asked: bool
) -> None:
    features = np.zeros(len(NAMES))
    for name, value in (("inside_least", least), ("along_girdle", along), ("ahead_most", beyond)):
        features[NAMES.index(name)] = value
    questions = [r for r in reasons_for(features, 0.7) if r.code == "girdle"]
    assert bool(questions) == asked
    assert all("does it reach the surface there?" in r.text and r.speaks_for is None for r in questions)


def test_short_lines_and_those_after_many_better_ones_count_half() -> None:
    features = np.zeros((MANY + 2, len(NAMES)))
    features[0, NAMES.index("length")] = np.log(SHORT * 0.9)
    share = taken_at(np.linspace(0.9, 0.3, MANY + 2), features)
    assert share.tolist() == [0.5] + [1.0] * (MANY - 1) + [0.5, 0.5]


def test_what_counts_half_after_many_better_ones_is_known_before_others_are_taken_less() -> None:
    """The five best run to the culet and are taken at a fifth: they still count among the better ones."""
    features = np.zeros((MANY + 4, len(NAMES)))
    for name, value in (("inside", 0.48), ("radial", 0.99), ("off_straight_share", np.log(0.005))):
        features[:5, NAMES.index(name)] = value
    score = np.linspace(0.9, 0.3, MANY + 4)
    assert after_many(score).tolist() == [False] * MANY + [True] * 4
    assert (taken_at(score, features)[after_many(score)] == 0.5).all()


def test_a_straight_line_to_the_middle_of_the_stone_is_taken_for_an_edge_at_the_culet() -> None:
    features = np.zeros((2, len(NAMES)))
    for name, value in (("inside", 0.48), ("radial", 0.99), ("off_straight_share", np.log(0.005))):
        features[0, NAMES.index(name)] = value
    assert taken_at(np.array([0.9, 0.9]), features).tolist() == [AT_CULET, 1.0]
    assert "culet" in {r.code for r in reasons_for(features[0], 0.18)}
    assert "culet" not in {r.code for r in reasons_for(features[1], 0.18)}


@given(st.floats(0, 12), st.floats(0.5, 4))
def test_the_blur_of_the_camera_is_taken_off_a_width(true: float, blur: float) -> None:
    """Widths of Gaussian profiles add as squares do."""
    width = _width(float(np.hypot(true, blur)), blur, 4.0)
    assert width.value == pytest.approx(4.0 * true, abs=1e-4)
    assert width.unit == "µm"
    assert width.u > 0


def test_a_width_too_small_to_be_seen_is_as_uncertain_as_any() -> None:
    width = _width(0.0, 0.0, 4.0)
    assert width.value == 0
    assert width.u == pytest.approx(4 * U_WIDTH)
