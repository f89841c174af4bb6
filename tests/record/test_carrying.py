"""Which decisions hold for the next examination: geometry alone, no book."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Literal

import numpy as np
import pytest
from made_up import examination, line

from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination
from setstone.measure.quantity import Quantity
from setstone.measure.scale import Scale
from setstone.record.carrying import carried_over
from setstone.record.entries import CandidateEntry, Decision, ExaminationEntry
from setstone.record.vocabulary import FindingKind, Verdict

YES = Decision(Verdict.ACCEPTED, FindingKind.FISSURE, "", "Ada", datetime(2026, 1, 1, tzinfo=UTC))


def earlier(
    result: Examination,
    *candidates: Candidate,
    origin: Literal["program", "hand"] = "program",
    decision: Decision | None = YES,
) -> ExaminationEntry:
    entries = tuple(CandidateEntry(n, c, origin, decision) for n, c in enumerate(candidates, start=1))
    return ExaminationEntry(1, 1, "before", None, None, YES.at, "Ada", "0", result, entries)


def spot(x: float, lamp: Literal["white", "blue"] = "white") -> Candidate:
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    path = np.array([x, 400]) + 5 * np.column_stack([np.cos(angle), np.sin(angle)])
    return Candidate("spot", path, lamp, 0.7, (), -30.0, {"diameter": Quantity(40, 2, "µm")})


# The outline of the made-up examination is 600 px across, so 6 px are the limit.
@pytest.mark.parametrize(("moved", "same"), [(0, True), (5.5, True), (7, False)])
def test_a_line_is_the_same_within_a_hundredth_of_the_stone(moved: float, same: bool) -> None:
    (carried,) = carried_over(earlier(examination(), line(300)), examination(line(300 + moved)))
    assert carried.found_again is same
    assert carried.number == (1 if same else 2)


def test_a_line_is_the_same_however_few_points_draw_it() -> None:
    dense = line(300)
    sparse = replace(dense, path=dense.path[[0, -1]])
    for before, after in ((dense, sparse), (sparse, dense)):
        (carried,) = carried_over(earlier(examination(), before), examination(after))
        assert carried.found_again


def test_part_of_a_line_is_not_the_line() -> None:
    whole = line(300)
    part = replace(whole, path=whole.path[:5])
    (carried,) = carried_over(earlier(examination(), whole), examination(part))
    assert not carried.found_again


def test_kind_and_lamp_must_agree() -> None:
    for other in (spot(400, "blue"), line(400)):
        (carried,) = carried_over(earlier(examination(), spot(400)), examination(other))
        assert not carried.found_again


def test_each_is_matched_once_and_the_nearest_is_taken() -> None:
    carried = carried_over(earlier(examination(), line(300), line(304)), examination(line(305), line(301)))
    assert [(c.earlier.number, c.number) for c in carried] == [(1, 2), (2, 1)]


def test_what_nobody_decided_on_is_left_behind() -> None:
    before = earlier(examination(), line(300), line(400), decision=None)
    assert carried_over(before, examination(line(300))) == ()


def test_what_is_drawn_by_hand_is_always_carried_as_drawn() -> None:
    before = earlier(examination(), line(300), origin="hand", decision=None)
    (carried,) = carried_over(before, examination(line(300)))
    assert not carried.found_again
    assert carried.number == 2
    np.testing.assert_array_equal(carried.candidate.path, line(300).path)


def test_on_another_photograph_places_move_and_sizes_follow_the_scale() -> None:
    """Twice the pixels for the same stone and half the µm per pixel: the same size in millimetres."""
    motion = np.array([[2.0, 0, 10], [0, 2, -20], [0, 0, 1]])
    finer = replace(examination(), scale=Scale(2.0, 0.002, "scale bar"))
    (carried,) = carried_over(earlier(examination(), line(300)), finer, motion)
    np.testing.assert_allclose(carried.candidate.path, line(300).path * 2 + [10, -20])
    assert carried.candidate.sizes["length"].value == pytest.approx(0.4)
    assert carried.candidate.sizes["length"].u == pytest.approx(0.01)


def test_a_corrected_scale_corrects_the_sizes() -> None:
    double = replace(examination(), scale=Scale(8.0, 0.008, "given"))
    (carried,) = carried_over(earlier(examination(), line(300)), double)
    assert carried.candidate.sizes["length"].value == pytest.approx(0.8)


def test_without_a_scale_lengths_are_absent() -> None:
    (carried,) = carried_over(earlier(examination(), line(300)), replace(examination(), scale=None))
    assert carried.candidate.sizes == {}
