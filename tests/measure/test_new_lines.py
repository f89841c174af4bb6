"""How likely a line that only the later day shows is a new fissure, on a made-up stone."""

import numpy as np
import pytest
from facetted import LINE, OUTLINE, facetted
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.candidates import Candidate
from setstone.measure.changes import dense
from setstone.measure.light import Pixels
from setstone.measure.new_lines import chances, features
from setstone.measure.sights import Sights, sights


def laid(before: Pixels, after: Pixels) -> Sights:
    return sights(
        {"blue": before},
        {"blue": after},
        outlines=(OUTLINE, OUTLINE),
        after_to_before=np.eye(3),
        lines=([], [LINE]),
    )


def chance(both: Sights, score: float = 0.9) -> float:
    line = Candidate("line", LINE, "blue", score, (), 60.0, {})
    return float(chances([line], [dense(line, both.to_frame[1])], both)[0])


@pytest.fixture(scope="module")
def unchanged() -> Sights:
    return laid(facetted(), facetted(line=True))


def test_a_line_in_a_picture_that_stayed_as_it_was_is_likelier_than_among_facets_that_changed(
    unchanged: Sights,
) -> None:
    assert chance(unchanged) > chance(laid(facetted(), facetted(lights=2, line=True)))


@given(st.floats(0.05, 0.9))
def test_the_better_the_line_the_likelier(unchanged: Sights, score: float) -> None:
    assert chance(unchanged, score) < chance(unchanged, score + 0.05)


def test_other_new_lines_make_it_likelier_for_a_fissure_is_seldom_seen_once(unchanged: Sights) -> None:
    pieces = [Candidate("line", LINE + shift, "blue", 0.9, (), 60.0, {}) for shift in (0, 60)]
    together = chances(pieces, [dense(p, unchanged.to_frame[1]) for p in pieces], unchanged)
    assert together[0] > chance(unchanged)


def test_no_line_no_chance(unchanged: Sights) -> None:
    assert chances([], [], unchanged).shape == (0,)
    assert features([], [], unchanged).shape == (0, 6)
