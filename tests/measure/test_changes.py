"""What changed between two days, on lines and spots of exact places."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate, CandidateKind, LampName
from setstone.measure.changes import DAMAGE, Change, Where, changes
from setstone.measure.sights import Sights

SIZE = 400
LAMPS: frozenset[LampName] = frozenset({"white", "blue"})
EVERYWHERE = np.ones((SIZE, SIZE), np.bool_)


def candidate(*points: tuple[float, float], score: float = 0.95, kind: CandidateKind = "line") -> Candidate:
    return Candidate(kind, np.array(points, np.float64), "blue", score, (), 20.0, {})


def in_one_frame(
    matrix: NDArray[np.float64] | None = None,
    *,
    seen_before: NDArray[np.bool_] = EVERYWHERE,
    seen_after: NDArray[np.bool_] = EVERYWHERE,
    lamps_before: frozenset[LampName] = LAMPS,
    lamps_after: frozenset[LampName] = LAMPS,
) -> Sights:
    """Photographs of which nothing is known but how they lie and what they could show."""
    motion = np.eye(3) if matrix is None else matrix
    before, after = dict.fromkeys(lamps_before, seen_before), dict.fromkeys(lamps_after, seen_after)
    return Sights((np.eye(3), motion), (before, after), ({}, {}), 300.0, 7e4)


def compared(
    before: list[Candidate], after: list[Candidate], both: Sights | None = None
) -> tuple[Change, ...]:
    return changes(
        before,
        after,
        both or in_one_frame(),
        shown_before=range(len(before)),
        shown_after=range(len(after)),
    )


LINE, OTHER = candidate((100, 100), (160, 120)), candidate((250, 200), (250, 280))


@given(st.floats(0, 360), st.floats(-30, 30), st.floats(0.8, 1.25))
def test_the_same_lines_in_another_place_are_in_both(turn: float, shift: float, zoom: float) -> None:
    c, s = zoom * np.cos(np.radians(turn)), zoom * np.sin(np.radians(turn))
    matrix = np.array([[c, -s, 200 + shift], [s, c, 200 - shift], [0, 0, 1.0]])
    back = np.linalg.inv(matrix)
    moved = [candidate(*(tuple(np.append(p, 1) @ back[:2].T) for p in line.path)) for line in (LINE, OTHER)]
    found = compared([LINE, OTHER], moved, in_one_frame(matrix))
    assert [f.where for f in found] == [Where.BOTH, Where.BOTH]


def test_a_new_line_comes_first_as_possible_damage(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda lines, *_: np.full(len(lines), 0.9))
    gone = candidate((300, 100), (340, 130))
    spot = candidate((200, 300), (205, 300), (203, 305), kind="spot")
    found = compared([LINE, gone], [LINE, spot, OTHER])
    assert [(f.where, f.of_after, f.index, f.possible_damage) for f in found] == [
        (Where.AFTER, True, 2, True),
        (Where.AFTER, True, 1, False),  # a spot is dust, as a rule: told, and no alarm
        (Where.BEFORE, False, 1, False),
        (Where.BOTH, True, 0, False),
    ]


@pytest.mark.parametrize(
    ("chance", "raised"),
    [
        ([0.55, 0.5], []),
        ([0.65, 0.75], [1]),  # the likeliest of those that are likely
        ([0.7, 0.97], [1]),
        ([0.89, 0.97], [1]),
        ([0.91, 0.97], [1, 0]),  # a further one that is very likely
        ([0.91, 0.97, 0.93, 0.95], [1, 3, 2]),  # three at the most
    ],
)
def test_of_several_new_lines_the_likeliest_are_raised_and_the_others_may_be_reflections(
    chance: list[float], raised: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda *_: np.array(chance))
    found = compared([], [candidate((50, 50 + 60 * k), (110, 70 + 60 * k)) for k in range(len(chance))])
    assert {f.index for f in found if f.possible_damage} == set(raised)
    assert {f.index for f in found if f.perhaps_reflection} == {
        k for k, p in enumerate(chance) if p >= DAMAGE and k not in raised
    }


def test_what_a_person_calls_damage_is_raised_however_many_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda lines, *_: np.full(len(lines), 0.99))
    accepted = [candidate((50, 50 + 60 * k), (110, 70 + 60 * k), score=1) for k in range(4)]
    needle, line = candidate((300, 100), (350, 120), score=1), candidate((250, 250), (300, 260))
    found = changes(
        [],
        [*accepted, needle, line],
        in_one_frame(),
        shown_before=[],
        shown_after=range(6),
        damage_after=range(4),
    )
    assert {f.index for f in found if f.possible_damage} == {0, 1, 2, 3}
    assert {f.index for f in found if f.perhaps_reflection} == {5}  # of what was accepted, perhaps
    assert {f.index: f.chance for f in found} == {0: 1, 1: 1, 2: 1, 3: 1, 4: 0, 5: 0.99}


def test_an_unlikely_new_line_is_told_without_alarm() -> None:
    (found,) = compared([], [candidate((100, 100), (160, 120), score=0.3)])
    assert (found.where, found.possible_damage) == (Where.AFTER, False)


def test_what_was_hardly_seen_before_is_no_new_damage() -> None:
    (found, *_) = compared([candidate((101, 101), (161, 121), score=0.03)], [LINE])
    assert found.where is Where.BOTH


def test_what_is_only_weak_afterwards_is_told_as_in_both() -> None:
    weak = candidate((101, 101), (161, 121), score=0.05)
    (found,) = changes(
        [LINE],
        [weak],
        in_one_frame(),
        shown_before=[0],
        shown_after=[],
    )
    assert (found.where, found.of_after) == (Where.BOTH, False)


@pytest.mark.parametrize("day", ["before", "after"])
def test_what_could_not_be_seen_is_not_comparable_and_never_gone(day: str) -> None:
    hidden = EVERYWHERE.copy()
    hidden[80:140, 80:180] = False
    found = (
        compared([LINE], [], in_one_frame(seen_after=hidden))
        if day == "after"
        else compared([], [LINE], in_one_frame(seen_before=hidden))
    )
    assert [(f.where, f.possible_damage) for f in found] == [(Where.UNKNOWN, False)]
    outside = compared([], [candidate((-80, 20), (-20, 20))])
    assert [f.where for f in outside] == [Where.UNKNOWN]


def test_under_a_lamp_the_other_day_has_not_nothing_can_be_told() -> None:
    white: frozenset[LampName] = frozenset({"white"})
    gone = compared([LINE], [], in_one_frame(lamps_after=white))  # the line was seen under blue light
    new = compared([], [LINE], in_one_frame(lamps_before=white))
    assert [(f.where, f.comparable) for f in gone + new] == [(Where.UNKNOWN, 0.0)] * 2
    seen = compared([LINE], [LINE], in_one_frame(lamps_after=white))
    assert [f.where for f in seen] == [Where.BOTH]


def test_a_line_that_crosses_another_is_not_the_same() -> None:
    across = candidate((250, 235), (256, 247), (244, 233))
    short = candidate((246, 240), (254, 240))  # 8 px, all of it near the line it crosses
    found = compared([OTHER, across], [short])
    assert found[0].where is Where.AFTER
    along = candidate((251, 236), (251, 244))
    (same, _) = compared([OTHER], [along, OTHER])
    assert same.where is Where.BOTH


def test_in_what_a_person_rejected_nothing_is_seen_again() -> None:
    (new,) = changes([LINE], [LINE], in_one_frame(), shown_before=[], shown_after=[0], dismissed_before=[0])
    assert new.where is Where.AFTER
    (gone,) = changes([LINE], [LINE], in_one_frame(), shown_before=[0], shown_after=[], dismissed_after=[0])
    assert gone.where is Where.BEFORE


def test_a_doubtful_line_is_told_of_only_as_possible_damage(monkeypatch: pytest.MonkeyPatch) -> None:
    weak = candidate((250, 250), (300, 260), score=0.05)
    for chance, told in ((0.7, [(0, True)]), (0.5, [])):
        monkeypatch.setattr("setstone.measure.changes.chances", lambda *_, p=chance: np.array([p]))
        found = changes([], [weak], in_one_frame(), shown_before=[], shown_after=[], doubtful_after=[0])
        assert [(f.index, f.possible_damage) for f in found] == told


@pytest.mark.parametrize(
    ("start", "told"),
    [((162.0, 121.0), [(0, 0.8)]), ((200.0, 140.0), [(1, 0.8)])],
    ids=["at the end of a line that is told of", "apart from it"],
)
def test_a_line_told_of_is_raised_for_the_likelier_piece_that_touches_it(
    monkeypatch: pytest.MonkeyPatch, start: tuple[float, float], told: list[tuple[int, float]]
) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda *_: np.array([0.3, 0.8]))
    piece = candidate(start, (start[0] + 12, start[1] + 5), score=0.05)
    found = changes([], [LINE, piece], in_one_frame(), shown_before=[], shown_after=[0], doubtful_after=[1])
    assert [(f.index, f.chance) for f in found if f.possible_damage] == told
    assert {f.index for f in found} == {0} | {index for index, _ in told}


def test_doubtful_pieces_of_what_a_person_judged_are_not_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("setstone.measure.changes.chances", lambda lines, *_: np.full(len(lines), 0.9))
    fibre, needle = LINE, candidate((100, 250), (160, 270), score=1)
    pieces = [candidate((x + 2, y + 1), (x + 14, y + 6), score=0.05) for x, y in ((160, 120), (160, 270))] + [
        candidate((130, 80), (130, 140), score=0.05)
    ]  # which crosses the fibre and is none of it
    found = changes(
        [],
        [fibre, needle, *pieces],
        in_one_frame(),
        shown_before=[],
        shown_after=[1],
        doubtful_after=[2, 3, 4],
        dismissed_after=[0],
    )
    assert [f.index for f in found if f.possible_damage] == [4]
