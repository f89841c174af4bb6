import sqlite3
import threading
from pathlib import Path

import pytest

from setstone.record import store
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError


def test_what_fails_inside_and_is_caught_there_is_undone_alone(book: Book) -> None:
    with book.atomic():
        book.add_object("Brooch")
        with pytest.raises(BookError), book.atomic():
            book.add_object("Ring")
            book.add_object("ring")
    assert [o.name for o in book.objects()] == ["Brooch"]


def test_an_interrupted_change_leaves_nothing(book: Book) -> None:
    with pytest.raises(KeyboardInterrupt), book.atomic():
        book.add_object("Brooch")
        raise KeyboardInterrupt
    assert book.objects() == ()
    book.add_object("Brooch")


def test_a_book_another_program_writes_in_is_said_to_be_in_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "_PATIENCE_S", 0.05)
    with Book.create(tmp_path / "book") as first, Book.open(tmp_path / "book") as second:
        with first.atomic():
            first.add_object("Brooch")
            assert second.objects() == ()  # who reads is not held up
            with pytest.raises(BookError, match="in use by another program; try again"):
                second.add_object("Ring")
        second.add_object("Ring")
        assert [o.name for o in first.objects()] == ["Brooch", "Ring"]


def test_a_snapshot_shows_one_state_whoever_writes_meanwhile(book: Book, stone: StoneEntry) -> None:
    with book.snapshot():
        assert book.remarks(stone) == ()
        with pytest.raises(RuntimeError, match="snapshot"):
            book.add_remark(stone, "x", by="Ada")
        assert book.remarks(stone) == ()


def test_threads_have_transactions_of_their_own(book: Book, stone: StoneEntry) -> None:
    def write(who: str) -> None:
        for i in range(5):
            book.add_remark(stone, f"remark {i}", by=who)

    threads = [threading.Thread(target=write, args=(who,)) for who in ("Ada", "Bea", "Cleo")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(book.remarks(stone)) == 15
    assert len(book.journal(stone)) == 16


def test_a_closed_book_says_so(book: Book) -> None:
    book.close()
    with pytest.raises(BookError, match="is closed; open it again"):
        book.objects()


def test_a_line_of_the_journal_cannot_be_replaced_either(book: Book, stone: StoneEntry) -> None:
    """INSERT OR REPLACE deletes without DELETE (sqlite.org/lang_conflict.html)."""
    with pytest.raises(BookError, match="cannot be changed or removed"), book.atomic() as connection:
        connection.exec_driver_sql(
            'INSERT OR REPLACE INTO journal (id, at, "by", action, subject) VALUES (1, 0, 0, 0, 0)'
        )
    assert book.journal()[0].action == "start book"


def test_a_write_refused_by_the_system_is_said(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a disk that may only be read; the rights of a file do not stop the administrator."""

    def read_only(connection: sqlite3.Connection, record: object) -> None:
        prepare(connection, record)
        connection.execute("PRAGMA query_only = ON")

    prepare = store._prepare
    monkeypatch.setattr(store, "_prepare", read_only)
    with (
        Book.open(book.folder) as opened,
        pytest.raises(BookError, match="cannot be written; check the rights"),
    ):
        opened.add_object("Brooch")
    assert book.objects() == ()


@pytest.mark.parametrize("kept", [0.3, 0.9])
def test_a_database_cut_short_is_said_to_be_damaged(book: Book, stone: StoneEntry, kept: float) -> None:
    book.close()
    database = book.folder / "book.db"
    content = database.read_bytes()
    database.write_bytes(content[: int(len(content) * kept)])
    with pytest.raises(BookError, match=r"book\.db' is damaged; restore it from your last copy"):
        Book.open(book.folder)
