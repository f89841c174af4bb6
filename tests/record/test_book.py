import sqlite3
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from made_up import examination, line

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import FindingKind, Verdict


def test_a_new_book_is_a_folder_with_one_database_and_the_photographs(book: Book) -> None:
    database = ["book.db"] if book.place.server is None else []
    assert sorted(p.name for p in book.folder.iterdir()) == [*database, "photographs"]
    assert book.workshop == "Workshop on the Quay"


def test_a_book_is_not_started_over_another_nor_in_a_folder_that_holds_something(
    where: Path | str, tmp_path: Path
) -> None:
    with pytest.raises(BookError, match=r"already|not empty"):
        Book.create(where)
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


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"no database at all" * 100, "damaged|no setstone book"), (b"", "never finished.*in another folder")],
)
def test_what_is_no_book_is_refused_and_left_as_it_is(tmp_path: Path, content: bytes, why: str) -> None:
    (tmp_path / "book.db").write_bytes(content)
    with pytest.raises(BookError, match=why):
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


def test_two_benches_do_not_write_over_each_other(where: Path | str, book: Book, stone: StoneEntry) -> None:
    with Book.open(where) as second:
        seen = second.stone("lid-3")
        book.correct_stone(stone, claimed_as="spinel", by="Ada")
        with pytest.raises(BookError, match="changed 'ruby' to 'spinel' meanwhile; look at it again"):
            second.correct_stone(seen, claimed_as="garnet", by="Bea")
        # What nobody else touched can be corrected.
        assert second.correct_stone(seen, position="lid-4", by="Bea").claimed_as == "spinel"


def test_two_benches_that_add_at_once_both_keep_what_they_added(where: Path | str, book: Book) -> None:
    box = book.add_object("Presentation snuff box")

    def add(first: int) -> None:
        with Book.open(where) as bench:
            for i in range(first, first + 10):
                bench.add_stone(box, f"lid-{i}")

    benches = [threading.Thread(target=add, args=(first,)) for first in (1, 11)]
    for bench in benches:
        bench.start()
    for bench in benches:
        bench.join()
    assert {s.position for s in book.stones()} == {f"lid-{i}" for i in range(1, 21)}


@pytest.mark.parametrize("table", ["journal", "decisions", "redrawings", "signatures"])
def test_journal_and_decisions_can_only_grow(book: Book, stone: StoneEntry, table: str) -> None:
    with book.atomic():
        entry = book.save_examination(
            stone, examination(line(250)), occasion="before", white=None, blue=None, by="Ada"
        )
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
        book.redraw_candidate(entry, 1, line(260), by="Ada")
        book.sign(stone, by="Ada")
    changes = [f"DELETE FROM {table}", f"""UPDATE {table} SET "by" = 'x'"""]
    if book.place.server is not None:
        changes.append(f"TRUNCATE {table} CASCADE")
    for change in changes:
        with pytest.raises(BookError, match="cannot be changed or removed"), book.atomic() as connection:
            connection.exec_driver_sql(change)


def test_what_fails_in_the_middle_leaves_nothing(book: Book) -> None:
    with pytest.raises(BookError), book.atomic():
        book.add_object("Brooch")
        book.add_object("brooch")
    assert book.objects() == ()


def test_two_openings_see_each_others_work(where: Path | str, book: Book, stone: StoneEntry) -> None:
    with Book.open(where) as second:
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


def test_opening_a_book_loads_neither_migrations_nor_decoders(where: Path | str) -> None:
    code = (
        "import sys; from setstone.record.book import Book; "
        "Book.open(sys.argv[1]).close(); "
        "print(sorted({'alembic', 'tifffile', 'imagecodecs', 'PIL'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(where)], capture_output=True, text=True, check=True
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
