import pytest
from made_up import examination, line

from setstone.measure.candidates import Candidate
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import FindingKind, Verdict


def keep(book: Book, stone: StoneEntry, *candidates: Candidate) -> ExaminationEntry:
    result = examination(*candidates)
    return book.save_examination(stone, result, occasion="before", white=None, blue=None, by="Ada")


def test_every_decision_can_be_read_again(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone, line(250))
    made = (
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada"),
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FEATHER, reason="at the edge", by="Bea"),
        book.decide(entry, 1, Verdict.OPEN, by="Ada"),
        book.decide(entry, 1, Verdict.REJECTED, reason="facet edge", by="Ada"),
    )
    assert book.decisions(entry, 1) == made
    with pytest.raises(BookError, match="no candidate 2"):
        book.decisions(entry, 2)
    actions = [j.action for j in book.journal(stone)][2:]
    assert actions == ["accept", "accept", "reopen", "reject"]


def test_nobody_decides_on_an_examination_that_was_made_again(book: Book, stone: StoneEntry) -> None:
    old = keep(book, stone, line(250))
    new = keep(book, stone, line(250))
    with pytest.raises(BookError, match=r"lid-3 \(before\) was examined again since"):
        book.decide(old, 1, Verdict.REJECTED, reason="dust", by="Ada")
    with pytest.raises(BookError, match="examined again"):
        book.add_finding(old, line(300), kind=FindingKind.FISSURE, by="Ada")
    book.decide(new, 1, Verdict.REJECTED, reason="dust", by="Ada")


def test_what_is_carried_stays_apart_from_what_an_examination_proposed(book: Book, stone: StoneEntry) -> None:
    first = keep(book, stone, line(250))
    book.decide(first, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    second = keep(book, stone, line(500))
    assert [c.number for c in second.candidates if c.is_finding] == [2]
    assert len(second.result.candidates) == 1
    assert book.journal(stone)[-1].after == {
        "occasion": "before",
        "candidates": 1,
        "carried over": [{"from": 1, "to": 2}],
    }
    # Found again by the third, it is a candidate of the program once more, and there is one of it.
    third = keep(book, stone, line(500), line(250))
    assert [(c.number, c.is_finding) for c in third.candidates] == [(1, False), (2, True)]
    assert third.candidates[1].decision == second.candidates[1].decision


def test_a_decision_taken_back_is_not_carried(book: Book, stone: StoneEntry) -> None:
    first = keep(book, stone, line(250))
    book.decide(first, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    book.decide(first, 1, Verdict.OPEN, by="Ada")
    second = keep(book, stone, line(250))
    assert [c.decision for c in second.candidates] == [None]


def test_another_occasion_begins_anew(book: Book, stone: StoneEntry) -> None:
    first = keep(book, stone, line(250))
    book.decide(first, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    after = book.save_examination(
        stone, examination(line(250)), occasion="after", white=None, blue=None, by="Ada"
    )
    assert [c.decision for c in after.candidates] == [None]
    assert book.examination(stone, "Before").id == first.id
    assert [e.occasion for e in book.latest_examinations(stone)] == ["before", "after"]
