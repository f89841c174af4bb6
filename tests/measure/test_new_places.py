"""The sight of new fissures, on a made-up stone the network has not learnt from.

Source: the line that is drawn.
"""

import numpy as np
import pytest
from facetted import LINE, OUTLINE, facetted
from hypothesis import given, settings
from hypothesis import strategies as st

from setstone.measure.candidates import Candidate, LampName
from setstone.measure.changes import dense
from setstone.measure.light import Pixels
from setstone.measure.new_places import GIRDLE, along, new_places
from setstone.measure.sights import Sights, sights

LAMPS: tuple[LampName, ...] = ("white", "blue")


def laid(before: Pixels, after: Pixels, lamps: tuple[LampName, ...] = LAMPS) -> Sights:
    return sights(
        dict.fromkeys(lamps, before),
        dict.fromkeys(lamps, after),
        outlines=(OUTLINE, OUTLINE),
        after_to_before=np.eye(3),
    )


def of_the_line(both: Sights) -> float:
    places = new_places(both)
    assert places is not None
    return along(places, dense(Candidate("line", LINE, "blue", 0.9, (), 60.0, {}), both.to_frame[1]), both)


@pytest.fixture(scope="module")
def damaged() -> Sights:
    return laid(facetted(), facetted(line=True))


def test_a_new_line_is_seen_at_its_place(damaged: Sights) -> None:
    places = new_places(damaged)
    assert places is not None
    assert of_the_line(damaged) > np.quantile(places, 0.99)


def test_a_line_of_both_days_and_one_that_is_gone_are_not_new(damaged: Sights) -> None:
    new = of_the_line(damaged)
    assert of_the_line(laid(facetted(line=True), facetted(line=True))) < new - 2
    assert of_the_line(laid(facetted(line=True), facetted())) < new - 2


@pytest.mark.parametrize("lamp", LAMPS)
def test_one_lamp_is_enough_to_see_it(lamp: LampName) -> None:
    new = of_the_line(laid(facetted(), facetted(line=True), (lamp,)))
    assert new > of_the_line(laid(facetted(line=True), facetted(line=True), (lamp,))) + 1


@settings(max_examples=4, deadline=None)
@given(st.floats(0.7, 1.2))
def test_the_exposure_of_a_day_says_little(damaged: Sights, gain: float) -> None:
    darker = laid(facetted(), facetted(line=True, gain=gain))
    assert of_the_line(darker) == pytest.approx(of_the_line(damaged), abs=1.5)


def test_without_a_lamp_in_common_nothing_is_said() -> None:
    frame = np.ones((400, 400), np.bool_)
    assert (
        new_places(Sights((np.eye(3), np.eye(3)), ({"white": frame}, {"blue": frame}), ({}, {}), 300.0, 7e4))
        is None
    )


def test_what_is_seen_covers_the_frame_at_one_size_of_the_girdle(damaged: Sights) -> None:
    places = new_places(damaged)
    assert places is not None
    scale = GIRDLE / damaged.diameter_px
    assert places.shape == pytest.approx(np.multiply(damaged.shape, scale), abs=1)
