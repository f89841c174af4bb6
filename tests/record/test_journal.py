"""Whatever is written is in the journal: who, when, what stood before and what after."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from made_up import comparison, examination, line
from sqlalchemy import func, select

from setstone.capture.photograph import Lamp
from setstone.measure.changes import Where
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.exporting import exported_tables
from setstone.record.vocabulary import Fact, FindingKind, Verdict, WorkKind


@dataclass(frozen=True)
class On:
    """What there is to begin with."""

    book: Book
    stone: StoneEntry
    photograph: PhotographEntry
    entry: ExaminationEntry


Change = Callable[[On], object]

#: A change of each kind: a book with a stone, one photograph and one examination to begin with.
CHANGES: dict[str, Change] = {
    "add_object": lambda on: on.book.add_object("Brooch", by="Bea"),
    "correct_object": lambda on: on.book.correct_object(on.book.object(), name="Box", by="Bea"),
    "add_stone": lambda on: on.book.add_stone(on.book.object(), "lid-4", by="Bea"),
    "correct_stone": lambda on: on.book.correct_stone(on.stone, claimed_as="spinel", by="Bea"),
    "remove_stone": lambda on: on.book.remove_stone(on.stone, by="Bea"),
    "restore_stone": lambda on: on.book.restore_stone(on.stone, by="Bea"),
    "correct_photograph": lambda on: on.book.correct_photograph(on.photograph, magnification=60.0, by="Bea"),
    "decide": lambda on: on.book.decide(on.entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Bea"),
    "add_finding": lambda on: on.book.add_finding(on.entry, line(300), kind=FindingKind.NEEDLE, by="Bea"),
    "redraw_outline": lambda on: on.book.redraw_outline(on.entry, on.entry.result.outline, by="Bea"),
    "redraw_candidate": lambda on: on.book.redraw_candidate(on.entry, 1, line(255), by="Bea"),
    "save_examination": lambda on: on.book.save_examination(
        on.stone, on.entry.result, occasion="after", white=None, blue=None, by="Bea"
    ),
    "keep_comparison": lambda on: on.book.keep_comparison(
        comparison(on.entry, on.entry, Where.AFTER), by="Bea"
    ),
    "add_reading": lambda on: on.book.add_reading(on.stone, test="loupe", value="feather", by="Bea"),
    "add_line": lambda on: on.book.add_line(on.stone, "1.762-1.770", by="Bea"),
    "add_remark": lambda on: on.book.add_remark(on.stone, "old glue", by="Bea"),
    "take_remark_back": lambda on: on.book.take_remark_back(
        on.stone, on.book.add_remark(on.stone, "old glue", by="Bea").id, reason="it was lid-4", by="Bea"
    ),
    "sign": lambda on: on.book.sign(on.stone, by="Bea"),
    "take_signature_back": lambda on: (
        on.book.sign(on.stone, by="Bea"),
        on.book.take_signature_back(on.stone, by="Bea"),
    ),
    "state_fact": lambda on: on.book.state_fact(on.stone, Fact.BACK, "closed", by="Bea"),
    "add_work": lambda on: on.book.add_work(on.stone, WorkKind.UNSET, by="Bea"),
    "add_setup": lambda on: on.book.add_setup("60x", by="Bea"),
}
#: These are tried where they are tested for themselves.
ELSEWHERE = {
    "add_photograph", "remove_photograph", "restore_photograph", "calibrate_setup", "correct_reading", "withdraw_reading", "take_work_back",
    "picture_object", "place_stone",
}  # fmt: skip


def counts(book: Book) -> dict[str, int]:
    with book.snapshot() as connection:
        return {
            t.name: connection.execute(select(func.count()).select_from(t)).scalar_one()
            for t in exported_tables()
        }


@pytest.mark.parametrize("name", CHANGES)
def test_every_change_is_in_the_journal_with_who_and_when(
    book: Book, stone: StoneEntry, picture: Path, name: str
) -> None:
    photograph, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE, by="Ada")
    entry = book.save_examination(
        stone, examination(line(250)), occasion="before", white=photograph.sha256, blue=None, by="Ada"
    )
    newest, before, begun = book.newest_journal_line(), counts(book), datetime.now(UTC)
    CHANGES[name](On(book, stone, photograph, entry))
    lines = [j for j in book.journal() if j.id > newest]
    assert lines, "nothing in the journal"
    assert {j.by for j in lines} == {"Bea"}
    assert all(begun <= j.at <= datetime.now(UTC) for j in lines)
    if name.startswith("correct"):
        assert lines[0].before is not None
        assert lines[0].after is not None
        assert lines[0].before != lines[0].after
    after = counts(book)
    assert all(after[table] >= before[table] for table in after), "nothing is ever removed"


def test_no_way_to_write_is_left_out() -> None:
    """A function of the book that names who does it writes; each is tried above."""
    names = {
        name
        for name, function in inspect.getmembers(Book, inspect.isfunction)
        if "by" in inspect.signature(function).parameters and not name.startswith("_")
    }
    assert names == set(CHANGES) | ELSEWHERE


def test_a_file_added_again_is_no_change(book: Book, stone: StoneEntry, picture: Path) -> None:
    book.add_photograph(stone, picture, by="Ada")
    last: Any = book.journal(stone)[-1]
    assert (last.action, last.by, last.after["name"]) == ("add photograph", "Ada", "white.png")
    book.add_photograph(stone, picture, by="Bea")
    assert book.journal(stone)[-1] == last
