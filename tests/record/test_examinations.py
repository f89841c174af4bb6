from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from made_up import examination, line

from setstone.measure.candidates import Candidate
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.marking import drawn_by_hand
from setstone.record.vocabulary import FindingKind, Verdict


def keep(book: Book, stone: StoneEntry, *candidates: Candidate) -> ExaminationEntry:
    result = examination(*candidates)
    return book.save_examination(stone, result, occasion="as received", white=None, blue=None, by="Ada")


def test_an_examination_comes_back_as_it_was_kept(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone, line(250), line(400, 0.3))
    again = book.examination(stone)
    assert [c.number for c in again.candidates] == [1, 2]
    assert again.result.diameters == entry.result.diameters
    assert again.result.outline is not None
    np.testing.assert_array_equal(again.result.candidates[1].path, line(400).path)
    assert again.result.candidates[0].sizes == line(250).sizes


def test_decisions_are_kept_with_who_and_the_latest_is_in_force(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone, line(250))
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    book.decide(entry, 1, Verdict.REJECTED, reason="facet edge", by="Bea")
    (candidate,) = book.examination(stone).candidates
    assert candidate.decision is not None
    assert (candidate.decision.verdict, candidate.decision.by) == (Verdict.REJECTED, "Bea")
    assert not candidate.is_finding
    last = book.journal(stone)[-1]
    assert last.before == {"verdict": "accepted", "kind": "fissure", "reason": ""}
    book.decide(entry, 1, Verdict.OPEN, by="Ada")
    assert book.examination(stone).candidates[0].decision is None


@pytest.mark.parametrize(
    ("number", "verdict", "kind", "reason", "by", "says"),
    [
        (9, Verdict.ACCEPTED, FindingKind.FISSURE, "", "Ada", "no candidate 9"),
        (1, Verdict.ACCEPTED, None, "", "Ada", "what kind"),
        (1, Verdict.REJECTED, None, " ", "Ada", "reason is empty"),
        (1, Verdict.REJECTED, None, "dust", "", "Nobody is named"),
    ],
)
def test_a_decision_that_lacks_something_is_refused(
    book: Book,
    stone: StoneEntry,
    number: int,
    verdict: Verdict,
    kind: FindingKind | None,
    reason: str,
    by: str,
    says: str,
) -> None:
    entry = keep(book, stone, line(250))
    with pytest.raises(BookError, match=says):
        book.decide(entry, number, verdict, kind=kind, reason=reason, by=by)
    assert book.examination(stone).candidates[0].decision is None


def test_examining_again_keeps_what_a_person_decided(book: Book, stone: StoneEntry) -> None:
    first = keep(book, stone, line(250), line(400), line(550))
    book.decide(first, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    book.decide(first, 2, Verdict.REJECTED, reason="facet edge", by="Ada")
    book.add_finding(
        first,
        drawn_by_hand(first.result, np.array([[1.0, 1.0]]), diameter_um=40),
        kind=FindingKind.CRYSTAL,
        by="Ada",
    )
    # The first line is found a pixel aside and as the second of the list; the second not at all.
    second = keep(book, stone, line(600, 0.9), line(251))
    decided = {c.number: c for c in second.candidates if c.decision is not None}
    assert decided[2].is_finding
    assert [c.decision.reason for c in decided.values() if c.decision and not c.is_finding] == ["facet edge"]
    assert [c.origin for c in second.candidates] == ["program", "program", "program", "hand"]
    assert len(book.examinations(stone)) == 2


def test_a_finding_drawn_by_hand_has_its_size_with_uncertainty(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone)
    drawn = drawn_by_hand(entry.result, np.array([[1.0, 1.0], [1.3, 1.4]]))
    added = book.add_finding(entry, drawn, kind=FindingKind.FISSURE, by="Ada")
    assert added.candidate.sizes["length"].value == pytest.approx(0.5)
    assert added.candidate.sizes["length"].u > 0
    # 1.0 mm at 4 µm a pixel are 250 pixels, and the corner of the picture lies half a pixel before the first.
    np.testing.assert_allclose(added.candidate.path[0], [249.5, 249.5])
    assert book.examination(stone).candidates[0].is_finding


def test_a_stone_not_examined_is_said(book: Book, stone: StoneEntry) -> None:
    with pytest.raises(BookError, match="has not been examined; examine it first"):
        book.examination(stone)
    assert book.latest_examination(stone) is None


def test_occasions_come_in_the_order_photographed_in_whatever_order_they_are_examined(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    """What is new after the work must not be told as gone because the later day was examined first."""
    white, _ = book.add_photograph(stone, picture, occasion="after", taken=datetime(2026, 5, 2, tzinfo=UTC))
    blue, _ = book.add_photograph(
        stone, blue_picture, occasion="before", taken=datetime(2026, 4, 1, tzinfo=UTC)
    )
    book.save_examination(stone, examination(), occasion="after", white=white.sha256, blue=None, by="Ada")
    for _ in range(2):
        book.save_examination(stone, examination(), occasion="before", white=None, blue=blue.sha256, by="Ada")
    assert [e.occasion for e in book.latest_examinations(stone)] == ["before", "after"]
