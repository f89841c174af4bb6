"""What photographs of two days can show, on a made-up stone."""

import cv2
import numpy as np
import pytest
from facetted import LINE, OUTLINE, RADIUS, SIZE, facetted
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate
from setstone.measure.changes import Change, Where, changes
from setstone.measure.light import Pixels
from setstone.measure.sights import Points, Sights, seen_again, sights


def laid(before: Pixels, after: Pixels, line: Points = LINE) -> Sights:
    return sights(
        {"white": before, "blue": before},
        {"white": after, "blue": after},
        outlines=(OUTLINE, OUTLINE),
        after_to_before=np.eye(3),
        lines=([], [line]),
    )


def told(both: Sights) -> Where:
    """Where the line after is said to be seen, which no list before has."""
    line = Candidate("line", LINE, "blue", 0.9, (), 60.0, {})
    (change,) = changes([], [line], both, shown_before=[], shown_after=[0])
    return change.where


def test_a_new_line_is_new() -> None:
    assert told(laid(facetted(), facetted(line=True))) is Where.AFTER


@pytest.mark.parametrize(("aside", "gain"), [(0, 1.0), (4, 1.0), (3, 0.5), (0, 1.6)])
def test_a_line_that_no_list_has_is_seen_in_the_picture(aside: int, gain: float) -> None:
    """A little aside, as in a stone that leans, and darker or brighter."""
    assert told(laid(facetted(line=True, aside=aside, gain=gain), facetted(line=True))) is Where.BOTH


def test_what_a_person_found_before_is_not_gone_where_the_picture_after_shows_it() -> None:
    finding = Candidate("line", LINE, "blue", 1.0, (), 60.0, {})
    for picture, where in ((facetted(line=True), Where.BOTH), (facetted(), Where.BEFORE)):
        both = laid(facetted(line=True), picture)
        (change,) = changes([finding], [], both, shown_before=[0], shown_after=[])
        assert change.where is where
        (change,) = changes(
            [], [finding], laid(picture, facetted(line=True)), shown_before=[], shown_after=[0]
        )
        assert change.where is Where.AFTER  # it may be damage: no filter argues it away


@pytest.mark.parametrize("aside_px", [4, 6, 8])
def test_what_a_person_drew_beside_a_line_that_is_gone_is_not_seen_in_the_picture(aside_px: int) -> None:
    along = LINE[1] - LINE[0]
    aside = aside_px * np.array([-along[1], along[0]]) / np.hypot(*along)
    finding = Candidate("line", LINE + aside, "blue", 1.0, (), 60.0, {})
    both = laid(facetted(line=True), facetted())
    (change,) = changes([finding], [], both, shown_before=[0], shown_after=[])
    assert change.where is Where.BEFORE


def test_half_a_line_is_half_seen() -> None:
    both = laid(facetted(line=True), facetted(line=True))
    path = LINE @ both.to_frame[0][:2, :2].T + both.to_frame[0][:2, 2]
    at = np.linspace(0, 2, 140)[:, None]
    twice_as_long = path[:1] + at * (path[1:] - path[:1])
    ours = both.lines[0]["blue"]
    longer = laid(facetted(line=True), _with_longer_line())
    assert seen_again(twice_as_long, longer.lines[1]["blue"], ours, 3.0) == pytest.approx(0.5, abs=0.08)


#: The line and what it has grown by.
LONGER = np.array([LINE[0], LINE[0] + 2 * (LINE[1] - LINE[0])])


def grown(before: Pixels, monkeypatch: pytest.MonkeyPatch, *, chance: float = 0.9) -> Change:
    """What is said of a line that a list has on both days, and that is twice as long after."""
    monkeypatch.setattr("setstone.measure.changes.chances", lambda lines, *_: np.full(len(lines), chance))
    old, new = (Candidate("line", path, "blue", 0.9, (), 60.0, {}) for path in (LINE, LONGER))
    both = laid(before, _with_longer_line(), LONGER)
    (change,) = changes([old], [new], both, shown_before=[0], shown_after=[0])
    return change


def test_a_line_that_has_grown_is_possible_damage_at_its_new_end(monkeypatch: pytest.MonkeyPatch) -> None:
    change = grown(facetted(line=True), monkeypatch)
    assert (change.where, change.possible_damage, change.chance) == (Where.LONGER, True, 0.9)
    assert change.grown is not None
    assert change.grown[-1] == pytest.approx(LONGER[1], abs=2.5)
    assert change.grown[0] == pytest.approx(LINE[1], abs=12)  # 1.2 % of the diameter lie near the old end


def test_an_end_that_is_not_likely_new_is_told_of_with_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    change = grown(facetted(line=True), monkeypatch, chance=0.5)
    assert (change.where, change.possible_damage, change.chance) == (Where.BOTH, False, 0.5)


def test_a_person_who_accepts_a_line_does_not_make_its_end_likelier_to_be_new(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[float] = []

    def chances(lines: list[Candidate], *_: object) -> NDArray[np.float64]:
        asked.extend(line.score for line in lines)
        return np.full(len(lines), 0.5)

    monkeypatch.setattr("setstone.measure.changes.chances", chances)
    old, new = (Candidate("line", path, "blue", 1.0, (), 60.0, {}) for path in (LINE, LONGER))
    both = laid(facetted(line=True), _with_longer_line(), LONGER)
    changes([old], [new], both, shown_before=[0], shown_after=[0], damage_after=[0])
    assert asked == [0.9]


def test_beside_what_a_person_calls_damage_a_likely_end_is_told_of_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda *_: np.array([0.88, 0.85]))
    old, new = (Candidate("line", path, "blue", 0.9, (), 60.0, {}) for path in (LINE, LONGER))
    other = Candidate("line", np.array([(250.0, 400.0), (330.0, 420.0)]), "blue", 1.0, (), 60.0, {})
    both = laid(facetted(line=True), _with_longer_line(), LONGER)
    first, second = changes([old], [other, new], both, shown_before=[0], shown_after=[0, 1], damage_after=[0])
    assert (first.where, first.possible_damage) == (Where.AFTER, True)
    assert (second.where, second.possible_damage, second.perhaps_reflection) == (Where.LONGER, False, True)


def test_days_with_one_light_in_common_are_judged_under_it() -> None:
    blue, white = facetted(), facetted(lights=5)
    both = sights(
        {"white": white, "blue": blue},
        {"blue": blue},
        outlines=(OUTLINE, OUTLINE),
        after_to_before=np.eye(3),
    )
    alone = sights({"blue": blue}, {"blue": blue}, outlines=(OUTLINE, OUTLINE), after_to_before=np.eye(3))
    assert both.lines[0].keys() == {"blue"}
    for mixed, plain in zip(both.comparable, alone.comparable, strict=True):
        assert np.array_equal(mixed["blue"], plain["blue"])


def test_an_end_that_the_picture_before_shows_or_could_not_show_has_not_grown(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (x, y), hidden = LONGER[1].astype(int), facetted(line=True)
    hidden[y - 90 : y + 30, x - 120 : x + 30] = 255
    for before in (_with_longer_line(), hidden):
        assert grown(before, monkeypatch).where is Where.BOTH


def _with_longer_line() -> Pixels:
    picture = facetted()
    (x0, y0), (x1, y1) = LONGER
    cv2.line(picture, (int(x0), int(y0)), (int(x1), int(y1)), (170, 170, 170), 2, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize("what", ["out of focus", "dirt", "glare"])
def test_where_the_other_day_could_not_show_it_nothing_is_told(what: str) -> None:
    before = facetted()
    place = np.s_[220:410, 210:430]
    if what == "out of focus":
        before[place] = cv2.GaussianBlur(before, (0, 0), 7)[place]
    elif what == "dirt":
        # Through which no facet is told from the next.
        before[place] = (cv2.GaussianBlur(before, (0, 0), 90) * 0.8).astype(np.uint8)[place]
    else:
        before[place] = 255
    assert told(laid(before, facetted(line=True))) is Where.UNKNOWN


@pytest.mark.parametrize("blur_px", [3, 5, 8])
def test_a_photograph_out_of_focus_as_a_whole_shows_neither_what_is_gone_nor_what_is_new(
    blur_px: int,
) -> None:
    blurred = cv2.GaussianBlur(facetted(), (0, 0), blur_px)
    assert told(laid(blurred, facetted(line=True))) is Where.UNKNOWN
    line = Candidate("line", LINE, "blue", 0.9, (), 60.0, {})
    both = laid(facetted(line=True), blurred)
    (change,) = changes([line], [], both, shown_before=[0], shown_after=[])
    assert change.where is Where.UNKNOWN


@pytest.mark.parametrize("what", ["glare", "out of focus"])
def test_each_light_is_judged_by_its_own_photographs(what: str) -> None:
    clear, hidden = facetted(), facetted()
    place = np.s_[220:410, 210:430]
    if what == "glare":
        hidden[place] = 255
    else:
        hidden[place] = cv2.GaussianBlur(hidden, (0, 0), 7)[place]
    for lamps, where in (
        ({"white": clear, "blue": hidden}, Where.UNKNOWN),
        ({"white": hidden, "blue": clear}, Where.AFTER),
    ):
        both = sights(
            lamps,  # type: ignore[arg-type]
            {"white": facetted(line=True), "blue": facetted(line=True)},
            outlines=(OUTLINE, OUTLINE),
            after_to_before=np.eye(3),
            lines=([], [LINE]),
        )
        assert told(both) is where


def test_a_day_with_other_light_and_noise_is_comparable() -> None:
    rng = np.random.default_rng(2)
    darker = np.clip(facetted(gain=0.6) + rng.normal(0, 2, (SIZE, SIZE, 1)), 0, 255).astype(np.uint8)
    both = laid(facetted(), darker)
    y, x = np.mgrid[: both.shape[0], : both.shape[1]]
    inner = np.hypot(x - x.mean(), y - y.mean()) < 0.9 * RADIUS
    for day in both.comparable:
        assert all(mask[inner].mean() > 0.97 for mask in day.values())


def test_glare_is_not_comparable() -> None:
    pixels = np.full((SIZE, SIZE, 3), 120, np.uint8)
    pixels[310:330, 310:330] = 255
    both = laid(pixels, pixels)
    x0, y0 = np.rint(both.to_frame[0][:2, 2]).astype(int)
    for mask in both.comparable[0].values():
        assert not mask[320 + y0, 320 + x0]
        assert not mask[304 + y0, 320 + x0]  # its surroundings, too
        assert mask[250 + y0, 320 + x0]
        assert not mask[20 + y0, 20 + x0]  # outside the stone
