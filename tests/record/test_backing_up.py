"""A backup is the book to the last byte, taken while others write; what is no whole backup is refused."""

import shutil
import sqlite3
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from filled import fill

from setstone.record.backing_up import back_up, restore
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.verifying import check_book


@pytest.fixture
def kept(fresh: Path, tmp_path: Path, picture: Path) -> Path:
    folder = Path(shutil.copytree(fresh, tmp_path / "book"))
    with Book.open(folder) as book:
        fill(book, book.add_stone(book.add_object("Presentation snuff box"), "lid-3"), picture)
    return folder


def dump(folder: Path) -> list[str]:
    """Every table, line, index and trigger as SQL."""
    with closing(sqlite3.connect(folder / "book.db")) as database:
        return list(database.iterdump())


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (folder / "photographs").iterdir()}


def test_a_restored_book_is_identical(kept: Path, tmp_path: Path) -> None:
    with Book.open(kept) as book:
        assert back_up(book, tmp_path / "b.zip") == ()
    restore(tmp_path / "b.zip", tmp_path / "again")
    assert dump(tmp_path / "again") == dump(kept)
    assert files(tmp_path / "again") == files(kept) != {}
    with Book.open(tmp_path / "again") as again:
        assert check_book(again).troubles == ()
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


def test_others_go_on_writing_meanwhile(kept: Path, tmp_path: Path) -> None:
    stop = threading.Event()
    written: list[str] = []

    def work() -> None:
        with Book.open(kept) as book:
            stone = book.stone("lid-3")
            while not stop.is_set():
                book.add_remark(stone, f"remark {len(written)}", by="Bea")
                written.append("")

    writer = threading.Thread(target=work)
    writer.start()
    try:
        with Book.open(kept) as book:
            for number in range(3):
                before = len(written)
                back_up(book, tmp_path / f"{number}.zip")
                restore(tmp_path / f"{number}.zip", tmp_path / f"again-{number}")
                with Book.open(tmp_path / f"again-{number}") as again:
                    assert check_book(again).troubles == ()
                    assert sum(r.by == "Bea" for r in again.remarks(again.stone("lid-3"))) >= before
    finally:
        stop.set()
        writer.join()
    with Book.open(kept) as book:
        assert sum(r.by == "Bea" for r in book.remarks(book.stone("lid-3"))) == len(written) > 0


def test_a_lost_photograph_does_not_keep_the_rest_from_being_backed_up(kept: Path, tmp_path: Path) -> None:
    with Book.open(kept) as book:
        lost = book.photographs(book.stone("lid-3"))[0]
        lost.path.unlink()
        assert back_up(book, tmp_path / "b.zip") == (lost.name,)
    restore(tmp_path / "b.zip", tmp_path / "again")


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-200])


def climb(path: Path) -> None:
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("photographs/../../outside.png", b"x")


def alter(path: Path) -> None:
    with zipfile.ZipFile(path) as old:
        entries = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w") as new:
        for name, content in entries.items():
            new.writestr(name, content if name == "book.db" else content + b"x")


def spoil(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("book.db", b"no database")


@pytest.mark.parametrize(
    ("do", "says"),
    [
        (cut, "is damaged"),
        (climb, "which no backup does"),
        (alter, "was altered"),
        (spoil, "is damaged or no book's"),
        (lambda p: p.unlink(), "There is no backup"),
        (lambda p: p.write_bytes(b"x"), "is damaged"),
    ],
)
def test_what_is_no_whole_backup_is_refused_and_leaves_nothing(
    kept: Path, tmp_path: Path, do: Callable[[Path], object], says: str
) -> None:
    with Book.open(kept) as book:
        back_up(book, tmp_path / "b.zip")
    do(tmp_path / "b.zip")
    with pytest.raises(BookError, match=says):
        restore(tmp_path / "b.zip", tmp_path / "again")
    assert not (tmp_path / "again").exists()
    assert not (tmp_path / "outside.png").exists()


def test_nothing_is_written_over(kept: Path, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"mine")
    with Book.open(kept) as book, pytest.raises(BookError, match="is there already"):
        back_up(book, tmp_path / "b.zip")
    with pytest.raises(BookError, match="not an empty folder"):
        restore(tmp_path / "b.zip", kept)


def test_a_book_on_a_server_is_backed_up_by_the_server(book: Book, tmp_path: Path) -> None:
    if book.place.server is not None:
        with pytest.raises(BookError, match="pg_dump"):
            back_up(book, tmp_path / "b.zip")
