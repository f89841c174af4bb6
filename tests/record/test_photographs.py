import hashlib
from pathlib import Path

import pytest
from PIL import Image

from setstone.capture.errors import PhotographError
from setstone.capture.photograph import Lamp
from setstone.record import photographs
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError


def test_a_photograph_is_kept_byte_for_byte_under_its_sha256(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    """hashlib is the independent reader; FIPS 180-4's own vector shows that it computes SHA-256."""
    assert (
        hashlib.sha256(b"abc").hexdigest()
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    before = picture.read_bytes()
    entry, is_new = book.add_photograph(stone, picture, by="Ada", magnification=60)
    assert is_new
    assert entry.sha256 == hashlib.sha256(before).hexdigest()
    assert entry.path.read_bytes() == before == picture.read_bytes()
    assert (entry.lamp, entry.lamp_stated, entry.occasion) == (Lamp.WHITE, False, "as received")
    assert (entry.width, entry.height, entry.magnification) == (160, 120, 60)


def test_the_same_photograph_is_recognised_and_not_kept_twice(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    first, _ = book.add_photograph(stone, picture)
    copy = picture.with_name("again.png")
    copy.write_bytes(picture.read_bytes())
    assert book.add_photograph(stone, copy) == (first, False)
    assert len(list(book.photographs_folder.iterdir())) == 1


def test_a_photograph_of_another_stone_is_refused_and_named(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    book.add_photograph(stone, picture)
    other = book.add_stone(book.object(), "lid-4")
    with pytest.raises(BookError, match=r"already in the book, as one of Presentation snuff box/lid-3"):
        book.add_photograph(other, picture)
    assert book.photographs(other) == ()


def test_a_contradiction_of_the_stated_light_is_flagged(book: Book, stone: StoneEntry, picture: Path) -> None:
    entry, _ = book.add_photograph(stone, picture, lamp=Lamp.BLUE)
    assert entry.lamp is Lamp.BLUE
    assert "lamp-contradiction" in {f.code for f in entry.flags}


def test_a_bad_file_leaves_the_book_unchanged(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    bad = tmp_path / "letter.png"
    bad.write_text("Dear Sir")
    with pytest.raises(PhotographError, match="letter"):
        book.add_photograph(stone, bad)
    assert book.photographs(stone) == ()
    assert [j.action for j in book.journal(stone)] == ["add stone"]
    assert list(book.photographs_folder.iterdir()) == []


def test_a_crash_between_file_and_row_leaves_a_spare_file_that_is_used_next_time(
    book: Book, stone: StoneEntry, picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken, pytest.raises(KeyboardInterrupt):
        broken.setattr(photographs, "note", crash)
        book.add_photograph(stone, picture)
    assert book.photographs(stone) == ()
    assert len(list(book.photographs_folder.iterdir())) == 1
    _, is_new = book.add_photograph(stone, picture)
    assert is_new
    assert len(list(book.photographs_folder.iterdir())) == 1


def test_a_full_disk_is_said_and_leaves_nothing(
    book: Book, stone: StoneEntry, picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shutil.copyfileobj", full)
    with pytest.raises(BookError, match="No space left on device"):
        book.add_photograph(stone, picture)
    assert list(book.photographs_folder.iterdir()) == []
    assert book.photographs(stone) == ()


def test_occasions_are_told_apart(book: Book, stone: StoneEntry, picture: Path, tmp_path: Path) -> None:
    book.add_photograph(stone, picture)
    later = tmp_path / "later.png"
    Image.open(picture).rotate(180).save(later)
    entry, _ = book.add_photograph(stone, later, occasion="after")
    assert book.photographs(stone, "after") == (entry,)
    assert len(book.photographs(stone)) == 2
