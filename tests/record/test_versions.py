import re
from pathlib import Path

import pytest
from made_up import examination, line

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.versions import Change, plain
from setstone.record.vocabulary import Fact, FindingKind, Verdict, WorkKind


def test_a_signature_makes_a_version_and_what_comes_after_the_next(book: Book, stone: StoneEntry) -> None:
    book.sign(stone, by="Ada")
    book.sign(stone, by="Bea")  # of the same state
    book.add_remark(stone, "old glue", by="Ada")
    book.sign(stone, by="Ada")
    found = book.versions(stone)
    assert [(v.number, [s.by for s in v.signatures]) for v in found] == [(1, ["Ada", "Bea"]), (2, ["Ada"])]
    assert book.journal(stone)[-1].after == {"version": 2}
    book.take_signature_back(stone, by="Ada")
    assert [s.by for s in book.versions(stone)[1].taken_back] == ["Ada"]


def test_the_difference_between_versions_names_each_value(book: Book, stone: StoneEntry) -> None:
    entry = book.save_examination(
        stone, examination(line(250), line(400)), occasion="before", white=None, blue=None, by="Ada"
    )
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    reading = book.add_reading(stone, test="refractometer", value="1.762-1.770", by="Ada")
    book.sign(stone, by="Ada")
    stone = book.correct_stone(stone, claimed_as="spinel", by="Ada")
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FEATHER, by="Bea")
    book.correct_reading(stone, reading.id, value="1.718", by="Bea")
    changes = {(c.of, c.field): (c.before, c.after) for c in book.difference(stone)}
    assert changes["stone", "claimed as"] == ("ruby", "spinel")
    assert changes["finding 1, before", "kind"] == ("fissure", "feather")
    assert changes["finding 1, before", "by"] == ("Ada", "Bea")
    assert changes[f"reading {reading.id}", "withdrawn"] == (None, "corrected")
    (new,) = [c for c in book.difference(stone) if not c.field]
    assert new.before is None
    assert new.after["value"] == "1.718"
    book.sign(stone, by="Ada")
    assert book.difference(stone, 1, 2) == book.difference(stone, 1)
    assert book.difference(stone) == ()
    assert book.difference(stone, 2, 1)[0] == Change("stone", "claimed as", "spinel", "ruby")


def test_what_is_said_of_the_object_belongs_to_the_version(book: Book, stone: StoneEntry) -> None:
    book.state_fact(book.object(), Fact.HALLMARK, "crowned G, worn", by="Ada")
    book.sign(stone, by="Ada")
    book.state_fact(book.object(), Fact.HALLMARK, "crowned C, worn", by="Bea")
    assert book.progress()[0].signature is None
    assert book.difference(stone) == (
        Change("object", "hallmark, as read", "crowned G, worn", "crowned C, worn"),
    )


def test_a_version_stays_what_it_was(book: Book, stone: StoneEntry, picture: Path) -> None:
    photograph, _ = book.add_photograph(stone, picture)
    book.add_work(stone, WorkKind.UNSET, solvent="acetone", by="Ada")
    book.sign(stone, by="Ada")
    (signed,) = book.versions(stone)
    book.correct_photograph(photograph, magnification=60, by="Ada")
    book.remove_stone(stone, by="Ada")
    assert book.versions(stone) == (signed,)
    kept = signed.state[f"photograph {photograph.sha256[:12]}"]
    assert (kept["sha256"], kept["magnification"]) == (photograph.sha256, None)


def test_a_version_that_is_not_there_is_said(book: Book, stone: StoneEntry) -> None:
    with pytest.raises(BookError, match="has not been signed yet"):
        book.difference(stone)
    book.sign(stone, by="Ada")
    with pytest.raises(BookError, match="has no version 7; there are: 1"):
        book.difference(stone, 7)
    with pytest.raises(BookError, match="has no version before 1"):
        book.difference(stone, newer=1)


def test_a_signature_that_is_not_there_cannot_be_taken_back(book: Book, stone: StoneEntry) -> None:
    newest = book.newest_journal_line()
    with pytest.raises(BookError, match="is not signed"):
        book.take_signature_back(stone, by="Ada")
    assert book.newest_journal_line() == newest
    book.sign(stone, by="Ada")
    book.take_signature_back(stone, by="Ada")
    with pytest.raises(BookError, match="is not signed"):
        book.take_signature_back(stone, by="Ada")


def test_times_are_said_to_the_minute() -> None:
    said = plain({"at": "2026-03-02T14:30:12.345678+00:00", "value": "1.762-1.770", "done": "2026-03-02"})
    assert re.fullmatch(r"at: 2026-03-0[1-3] \d\d:\d\d; value: 1\.762-1\.770; done: 2026-03-02", said)
