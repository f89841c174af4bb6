import shutil
import threading
from pathlib import Path

import pytest

from setstone.record import postgresql, sqlite
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
    where: Path | str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (sqlite, postgresql):
        monkeypatch.setattr(module, "PATIENCE_S", 0.05)
    with Book.open(where) as first, Book.open(where) as second:
        with first.atomic():
            first.add_object("Brooch")
            assert second.objects() == ()  # who reads is not held up
            with pytest.raises(BookError, match=r"in use by another .*; try again"):
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
    """Both kinds of database can replace a line while they add one.

    INSERT OR REPLACE deletes without DELETE (sqlite.org/lang_conflict.html).
    """
    row = """INTO journal (id, at, "by", action, subject) VALUES (1, '2026-01-01', '', '', '')"""
    if book.place.server is None:
        replace = f"INSERT OR REPLACE {row}"
    else:
        replace = f"INSERT {row} ON CONFLICT (id) DO UPDATE SET action = ''"
    with pytest.raises(BookError, match="cannot be changed or removed"), book.atomic() as connection:
        connection.exec_driver_sql(replace)
    assert book.journal()[0].action == "start book"


def test_a_write_refused_by_the_system_is_said(book: Book) -> None:
    """As on a disk that may only be read; the rights of a file do not stop the administrator."""
    refuse = "PRAGMA query_only = ON" if book.place.server is None else "SET TRANSACTION READ ONLY"
    with pytest.raises(BookError, match="cannot be written"), book.atomic() as connection:
        connection.exec_driver_sql(refuse)
        book.add_object("Brooch")
    assert book.objects() == ()


@pytest.mark.parametrize("kept", [0.3, 0.9])
def test_a_database_cut_short_is_said_to_be_damaged(tmp_path: Path, fresh: Path, kept: float) -> None:
    folder = Path(shutil.copytree(fresh, tmp_path / "book"))
    content = (folder / "book.db").read_bytes()
    (folder / "book.db").write_bytes(content[: int(len(content) * kept)])
    with pytest.raises(BookError, match=r"book\.db' is damaged; restore it from your last copy"):
        Book.open(folder)
