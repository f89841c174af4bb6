"""A book of an older version: a step is added to those there are, and a book made before it is opened."""

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from setstone.record import upgrading
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.migrations import LATEST
from setstone.record.store import Store

Later = Callable[[str], None]


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Later:
    """Make this the version that came after, with one more step."""

    def add_step(body: str) -> None:
        steps = tmp_path / "steps"
        shutil.copytree(Path(upgrading.__file__).parent / "migrations", steps)
        (steps / "versions" / "9999_next.py").write_text(
            f"from alembic import op\nimport sqlalchemy as sa\nrevision = '9999'\ndown_revision = '{LATEST}'\n"
            f"def upgrade():\n    {body}\n"
        )
        monkeypatch.setattr(upgrading, "LATEST", "9999")
        monkeypatch.setattr(upgrading, "_STEPS", str(steps))

    return add_step


def columns(database: Path, table: str) -> set[str]:
    with sqlite3.connect(database) as connection:
        found = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
    connection.close()
    return found


ADD_COLUMN = "op.add_column('stones', sa.Column('weight_ct', sa.Float()))"


def test_an_older_book_is_copied_and_brought_up_to_date(tmp_path: Path, later: Later) -> None:
    with Book.create(tmp_path / "book") as book:
        book.add_stone(book.add_object("Brooch"), "1")
    later(ADD_COLUMN)
    with Book.open(tmp_path / "book") as book:
        assert book.stone("1").position == "1"
        last = book.journal()[-1]
    assert (last.action, last.before) == ("bring book up to date", {"revision": LATEST})
    assert "weight_ct" in columns(tmp_path / "book" / "book.db", "stones")
    (copy,) = (tmp_path / "book" / "backups").iterdir()
    assert last.after == {"revision": "9999", "copy": copy.name}
    assert "weight_ct" not in columns(copy, "stones")
    Book.open(tmp_path / "book").close()
    assert len(list((tmp_path / "book" / "backups").iterdir())) == 1


def test_rebuilding_a_table_keeps_what_points_at_it_and_the_journal(tmp_path: Path, later: Later) -> None:
    with Book.create(tmp_path / "book") as book:
        book.add_remark(book.add_stone(book.add_object("Brooch"), "1"), "chipped", by="Ada")
        before = book.journal()
    later("with op.batch_alter_table('stones') as t: t.alter_column('claimed_as', type_=sa.Text())")
    with Book.open(tmp_path / "book") as book:
        assert [r.text for r in book.remarks(book.stone("1"))] == ["chipped"]
        assert book.journal()[: len(before)] == before


def test_a_step_that_fails_leaves_the_book_as_it_was(tmp_path: Path, later: Later) -> None:
    Book.create(tmp_path / "book").close()
    later(ADD_COLUMN + "; op.execute('nonsense')")
    before = (tmp_path / "book" / "book.db").read_bytes()
    with pytest.raises(BookError, match="could not be brought up to date and was left as it is"):
        Book.open(tmp_path / "book")
    assert (tmp_path / "book" / "book.db").read_bytes() == before


def test_without_a_copy_nothing_is_changed(tmp_path: Path, later: Later) -> None:
    Book.create(tmp_path / "book").close()
    later(ADD_COLUMN)
    (tmp_path / "book" / "backups").write_text("in the way")
    with pytest.raises(BookError, match="could not be copied"):
        Book.open(tmp_path / "book")
    assert "weight_ct" not in columns(tmp_path / "book" / "book.db", "stones")


def test_the_latest_step_is_the_one_the_program_expects() -> None:
    from alembic.script import ScriptDirectory

    assert ScriptDirectory.from_config(upgrading._config()).get_current_head() == LATEST


def test_a_database_of_another_program_is_no_book(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "book.db") as connection:
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
    connection.close()
    with pytest.raises(BookError, match="holds no setstone book"):
        Book.open(tmp_path)


def test_a_book_without_its_photographs_is_said_to_be_incomplete(tmp_path: Path) -> None:
    Book.create(tmp_path / "book").close()
    (tmp_path / "book" / "photographs").rmdir()
    with pytest.raises(BookError, match=r"photographs of the book .* are missing"):
        Book.open(tmp_path / "book")


def test_a_book_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    """Its tables as the first step made them, with a stone in."""
    (tmp_path / "book" / "photographs").mkdir(parents=True)
    store = Store(tmp_path / "book")
    with store.rebuilding() as connection:
        upgrading.make_tables(connection, store, "0001")
        connection.exec_driver_sql("INSERT INTO book VALUES (1, 'Quay')")
        connection.exec_driver_sql("INSERT INTO objects VALUES (1, 'Brooch', 'brooch', '', '2026-01-01')")
        connection.exec_driver_sql("INSERT INTO stones VALUES (1, 1, '1', '1', '', '2026-01-01')")
    store.close()
    with Book.open(tmp_path / "book") as book:
        stone = book.stone("1")
        book.sign(stone, by="Ada")
        assert book.progress()[0].stone == stone
