"""A photograph added by mistake is taken out of the book and brought back; nothing of it is lost."""

from pathlib import Path

import pytest
from made_up import examination

from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.exporting import export_book
from setstone.record.importing import import_book
from setstone.record.progress import Stage


def test_what_was_taken_out_is_not_shown_and_comes_back_as_it_was(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture, occasion="before", by="Ada")
    book.remove_photograph(entry, by="Bea")
    assert book.photographs(stone) == ()
    assert book.occasions(stone) == ()
    assert book.progress()[0].stage is Stage.NO_PHOTOGRAPH
    assert book.search("white.png").total == 0
    assert entry.path.exists()
    assert book.restore_photograph(entry, by="Cy") == entry
    assert book.photographs(stone) == (entry,)
    lines = [(j.action, j.by) for j in book.journal(stone)][-3:]
    assert lines == [("add photograph", "Ada"), ("remove photograph", "Bea"), ("restore photograph", "Cy")]


def test_it_may_be_added_again_to_the_right_stone(book: Book, stone: StoneEntry, picture: Path) -> None:
    entry, _ = book.add_photograph(stone, picture, by="Ada")
    other = book.add_stone(book.object(), "lid-4")
    book.remove_photograph(entry, by="Ada")
    again, is_new = book.add_photograph(other, picture, by="Ada")
    assert is_new
    assert (again.sha256, again.stone_id) == (entry.sha256, other.id)
    with pytest.raises(BookError, match=r"is in the book; it need not be brought back"):
        book.restore_photograph(entry, by="Ada")


def test_what_an_examination_rests_on_stays(book: Book, stone: StoneEntry, picture: Path) -> None:
    entry, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE, by="Ada")
    book.save_examination(stone, examination(), occasion="before", white=entry.sha256, blue=None, by="Ada")
    with pytest.raises(BookError, match="so it cannot be taken out of the book"):
        book.remove_photograph(entry, by="Ada")
    assert book.photographs(stone) == (entry,)


def test_an_examination_of_what_was_taken_out_meanwhile_is_refused(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE, by="Ada")
    book.remove_photograph(entry, by="Bea")
    with pytest.raises(BookError, match="was taken out of the book meanwhile"):
        book.save_examination(
            stone, examination(), occasion="before", white=entry.sha256, blue=None, by="Ada"
        )
    assert book.examinations(stone) == ()


def test_it_stays_taken_out_through_export_and_import(
    book: Book, stone: StoneEntry, picture: Path, tmp_path: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture, by="Ada")
    book.remove_photograph(entry, by="Ada")
    export_book(book, tmp_path / "files")
    with import_book(tmp_path / "files", tmp_path / "second", by="Bea") as second:
        assert second.photographs(second.stone("lid-3")) == ()
        assert second.restore_photograph(entry, by="Bea").path.read_bytes() == picture.read_bytes()
