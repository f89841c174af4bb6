import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError


def test_a_new_book_is_a_folder_with_one_database_and_the_photographs(book: Book) -> None:
    assert sorted(p.name for p in book.folder.iterdir()) == ["book.db", "photographs"]
    assert book.workshop == "Workshop on the Quay"


def test_a_book_is_not_started_over_another_nor_in_a_folder_that_holds_something(
    book: Book, tmp_path: Path
) -> None:
    with pytest.raises(BookError, match="already"):
        Book.create(book.folder)
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("")
    with pytest.raises(BookError, match="not empty"):
        Book.create(tmp_path / "letters")
    with pytest.raises(BookError, match="is a file"):
        Book.create(tmp_path / "letters" / "a.txt")


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BookError, match=r"file/book.*choose another place"):
        Book.create(tmp_path / "file" / "book")


@pytest.mark.parametrize("content", [b"no database at all" * 100, b""])
def test_what_is_no_book_is_refused_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "book.db").write_bytes(content)
    with pytest.raises(BookError, match=r"damaged|no setstone book"):
        Book.open(tmp_path)
    assert (tmp_path / "book.db").read_bytes() == content


def test_a_missing_folder_or_database_is_named(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="There is no folder"):
        Book.open(tmp_path / "nowhere")
    with pytest.raises(BookError, match="holds no book"):
        Book.open(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_book_of_a_newer_version_is_refused_unchanged(tmp_path: Path) -> None:
    Book.create(tmp_path / "b").close()
    database = tmp_path / "b" / "book.db"
    with sqlite3.connect(database) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    before = database.read_bytes()
    with pytest.raises(BookError, match="newer setstone; update"):
        Book.open(tmp_path / "b")
    assert database.read_bytes() == before


def test_stones_are_found_by_position_without_regard_to_case(book: Book, stone: StoneEntry) -> None:
    assert book.stone("LID-3") == stone
    assert book.stone("presentation snuff box/lid-3") == stone
    with pytest.raises(BookError, match="there are Presentation snuff box/lid-3"):
        book.stone("lid-9")


def test_a_position_is_given_once_in_an_object_and_again_in_another(book: Book, stone: StoneEntry) -> None:
    with pytest.raises(BookError, match="already"):
        book.add_stone(book.object(), "Lid-3")
    brooch = book.add_object("Brooch")
    book.add_stone(brooch, "lid-3")
    with pytest.raises(BookError, match="Several objects"):
        book.stone("lid-3")


@pytest.mark.parametrize("name", ["", "   ", "a\x00b", "x" * 101, "\u202egnp.exe"])
def test_names_that_cannot_be_shown_are_refused(book: Book, name: str) -> None:
    with pytest.raises(BookError):
        book.add_object(name)
    assert book.objects() == ()


def test_corrections_keep_what_stood_before(book: Book, stone: StoneEntry) -> None:
    book.correct_stone(stone, claimed_as="spinel", by="Ada")
    last = book.journal(stone)[-1]
    assert last.by == "Ada"
    assert (last.before, last.after) == (
        {"position": "lid-3", "claimed_as": "ruby"},
        {"position": "lid-3", "claimed_as": "spinel"},
    )


@pytest.mark.parametrize("table", ["journal", "decisions"])
def test_journal_and_decisions_can_only_grow(book: Book, stone: StoneEntry, table: str) -> None:
    with sqlite3.connect(book.folder / "book.db") as connection:
        if table == "decisions":
            connection.execute(
                "INSERT INTO decisions VALUES (1, 1, 'open', NULL, '', 'x', '2026-01-01', NULL)"
            )
        for change in (f"DELETE FROM {table}", f"UPDATE {table} SET by = 'x'"):
            with pytest.raises(sqlite3.IntegrityError, match="cannot be changed or removed"):
                connection.execute(change)
    connection.close()


def test_what_fails_in_the_middle_leaves_nothing(book: Book) -> None:
    with pytest.raises(BookError), book.atomic():
        book.add_object("Brooch")
        book.add_object("brooch")
    assert book.objects() == ()


def test_two_openings_see_each_others_work(book: Book, stone: StoneEntry) -> None:
    with Book.open(book.folder) as second:
        second.add_remark(second.stone("lid-3"), "from the other window", by="Bea")
    assert [r.text for r in book.remarks(stone)] == ["from the other window"]


def test_readings_and_remarks_come_back_with_who_and_when(book: Book, stone: StoneEntry) -> None:
    entry = book.add_reading(
        stone, test="refractometer", value="1.762-1.770", uncertainty="0.002", stone_is_set=False, by="Ada"
    )
    assert book.readings(stone) == (entry,)
    with pytest.raises(BookError, match="Nobody is named"):
        book.add_remark(stone, "yellow glue", by=" ")
    assert [j.action for j in book.journal(stone)] == ["add stone", "add reading"]


def test_the_tables_of_the_migrations_are_those_of_the_schema(book: Book) -> None:
    """Alembic itself compares; a difference would be the next migration."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    from setstone.record.schema import metadata

    with book.snapshot() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_stored_photographs_cannot_be_written(book: Book, stone: StoneEntry, picture: Path) -> None:
    entry, _ = book.add_photograph(stone, picture)
    assert not entry.path.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH)


def test_the_tables_can_be_made_on_a_database_server_too() -> None:
    """Only the statements; SQLAlchemy writes them without a server."""
    from sqlalchemy.dialects import registry
    from sqlalchemy.schema import CreateTable

    from setstone.record.schema import UTCDateTime, metadata

    server = registry.load("postgresql")()
    statements = [str(CreateTable(t).compile(dialect=server)) for t in metadata.sorted_tables]
    timed = [any(isinstance(c.type, UTCDateTime) for c in t.columns) for t in metadata.sorted_tables]
    assert ["TIMESTAMP WITH TIME ZONE" in s for s in statements] == timed


def test_opening_a_book_loads_neither_migrations_nor_decoders(book: Book) -> None:
    code = (
        "import sys; from pathlib import Path; from setstone.record.book import Book; "
        "Book.open(Path(sys.argv[1])).close(); "
        "print(sorted({'alembic', 'tifffile', 'imagecodecs', 'PIL'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(book.folder)], capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


def test_a_stone_taken_out_leaves_its_position_free_and_can_come_back(book: Book, stone: StoneEntry) -> None:
    book.add_remark(stone, "old glue", by="Ada")
    book.remove_stone(stone, by="Ada")
    assert book.stones() == ()
    with pytest.raises(BookError, match="no stone 'lid-3'"):
        book.stone("lid-3")
    assert book.restore_stone(stone, by="Ada") == stone
    assert [r.text for r in book.remarks(book.stone("lid-3"))] == ["old glue"]
    book.remove_stone(stone, by="Ada")
    book.add_stone(book.object(), "LID-3")
    with pytest.raises(BookError, match="has a stone 'LID-3' already"):
        book.restore_stone(stone, by="Ada")
