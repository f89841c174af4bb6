"""A check finds every kind of damage and says what to do; a repair changes nothing a person entered."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from filled import fill
from sqlalchemy import delete, insert, update

from setstone.record import schema
from setstone.record.book import Book
from setstone.record.clock import now
from setstone.record.entries import StoneEntry
from setstone.record.verifying import SET_ASIDE, check_book, repair_book

DAY = 86_400


@pytest.fixture
def full(book: Book, stone: StoneEntry, picture: Path) -> Book:
    fill(book, stone, picture)
    return book


@pytest.fixture
def raw(full: Book) -> Iterator[sqlite3.Connection]:
    """The database as another program sees it."""
    if full.place.server is not None:
        pytest.skip("damage by hand is tried on a file")
    with closing(sqlite3.connect(full.place.database)) as connection:
        yield connection


def told(book: Book) -> str:
    return "\n".join(f"{t.what} {t.remedy}" for t in check_book(book).troubles)


def test_a_sound_book_is_whole(full: Book) -> None:
    found = check_book(full)
    assert found.troubles == ()
    assert (found.stones, found.examinations) == (1, 3)
    assert min(found.photographs, found.signatures, found.journal_lines) > 0
    assert repair_book(full, by="Ada") == ()


def test_the_database_guards_the_tables_that_only_grow(book: Book) -> None:
    with book.snapshot() as connection:
        assert book.database.guarded_tables(connection) == schema.ONLY_GROW


@pytest.mark.parametrize(("damage", "says"), [("alter", "was altered"), ("lose", "is lost")])
def test_a_photograph_altered_or_lost_is_named_and_put_back_by_adding_it(
    full: Book, stone: StoneEntry, picture: Path, damage: str, says: str
) -> None:
    path = full.photographs(stone)[0].path
    path.chmod(0o644)
    if damage == "alter":
        path.write_bytes(path.read_bytes()[:-1] + b"x")
    else:
        path.unlink()
    assert f"'{picture.name}' {says}" in told(full)
    assert "Add the original again" in told(full)
    repair_book(full, by="Ada")
    assert says in told(full)
    full.add_photograph(stone, picture)
    assert told(full) == ""


def test_what_belongs_to_nothing_is_moved_aside_once_it_is_a_day_old(full: Book) -> None:
    stray = full.photographs_folder / ".adding-x"
    stray.write_bytes(b"half")
    assert told(full) == ""  # somebody may be adding it just now
    os.utime(stray, (stray.stat().st_mtime - 2 * DAY,) * 2)
    assert "belong to nothing" in told(full)
    assert stray.is_file()
    assert SET_ASIDE in repair_book(full, by="Ada")[0]
    assert (full.folder / SET_ASIDE / stray.name).read_bytes() == b"half"
    assert told(full) == ""
    assert full.journal()[-1].action == "repair book"


def test_a_list_that_shows_otherwise_than_the_book_says_is_made_anew(full: Book) -> None:
    with full.atomic() as connection:
        connection.execute(update(schema.standings).values(findings=99))
    assert "Lists and search show 1 stone otherwise" in told(full)
    with full.atomic() as connection:
        connection.execute(delete(schema.standings))
    assert "otherwise" in told(full)
    assert "worked out anew" in repair_book(full, by="Ada")[0]
    assert told(full) == ""


def test_a_signature_the_journal_does_not_tell_of_is_found(full: Book, stone: StoneEntry) -> None:
    signature = {"stone_id": stone.id, "in_force": True, "by": "Eve", "at": now()}
    with full.atomic() as connection:
        connection.execute(
            insert(schema.signatures).values(**signature, version=9, state={"photograph 0123": {}})
        )
    said = told(full)
    assert "signature of Eve" in said
    assert "not told by the journal" in said
    assert "does not follow version" in said
    assert "which the book does not name" in said


def test_a_signature_removed_behind_the_back_of_the_book_is_found(
    full: Book, raw: sqlite3.Connection
) -> None:
    raw.executescript("DROP TRIGGER signatures_no_delete; DELETE FROM signatures;")
    said = told(full)
    assert "lines of 'signatures': somebody took its guard away" in said
    assert "tells of a signature by Ada" in said


def test_a_line_that_points_to_nothing_is_found(full: Book, raw: sqlite3.Connection) -> None:
    raw.executescript("DELETE FROM objects;")
    assert "lines of 'stones' point by 'object_id' to lines of 'objects' that are not there" in told(full)


def test_an_examination_that_cannot_be_read_is_found(full: Book, raw: sqlite3.Connection) -> None:
    raw.executescript(
        """DROP TRIGGER examinations_no_update; UPDATE examinations SET result = '{"size": 3}';"""
    )
    assert "Examination 1 cannot be read" in told(full)


def test_a_damaged_index_is_made_anew(full: Book, raw: sqlite3.Connection) -> None:
    raw.executescript(
        "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, '(stone_id)', '(occasion)') "
        "WHERE name = 'ix_photographs_stone_id'; PRAGMA writable_schema = RESET;"
    )
    raw.close()
    with Book.open(full.folder) as again:
        assert "The database is damaged: " in told(again)
        assert "indexes" in repair_book(again, by="Ada")[0]
        assert told(again) == ""
