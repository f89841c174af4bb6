import hashlib
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from made_up import examination
from PIL import Image

from setstone.capture.errors import PhotographError
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp, Photograph
from setstone.measure.scale import Scale
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


def test_occasions_differ_by_more_than_their_case(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    assert book.add_photograph(stone, picture, occasion=" Before ")[0].occasion == "before"
    assert book.add_photograph(stone, blue_picture, occasion="BEFORE")[0].occasion == "before"
    assert len(book.photographs(stone, "beFore")) == 2
    assert book.occasions(stone) == ("before",)


def test_occasions_are_ordered_by_when_photographs_were_taken(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    """As when a folder is taken in by name: after before before."""
    book.add_photograph(stone, picture, occasion="after", taken=datetime(2026, 5, 2, tzinfo=UTC))
    book.add_photograph(stone, blue_picture, occasion="before", taken=datetime(2026, 4, 1, tzinfo=UTC))
    assert book.occasions(stone) == ("before", "after")


@pytest.fixture
def in_athens(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """UTC+2 in January (IANA time zone database)."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system cannot change its time zone")
    monkeypatch.setenv("TZ", "Europe/Athens")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("in_athens")
def test_times_come_back_in_utc_and_a_camera_s_are_local(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    local, _ = book.add_photograph(stone, picture, taken=datetime(2026, 1, 5, 12, 0))
    aware, _ = book.add_photograph(
        stone, blue_picture, taken=datetime(2026, 1, 5, 12, 0, tzinfo=timezone(timedelta(hours=9)))
    )
    assert local.taken == datetime(2026, 1, 5, 10, 0, tzinfo=UTC)
    assert aware.taken == datetime(2026, 1, 5, 3, 0, tzinfo=UTC)
    assert all(p.taken is not None and p.taken.tzinfo is UTC for p in book.photographs(stone))
    assert local.added.tzinfo is UTC


def test_a_stored_file_that_was_lost_or_altered_is_put_back_by_adding_the_original(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture)
    entry.path.chmod(0o644)
    entry.path.write_bytes(b"scribbled over")
    with pytest.raises(BookError, match=r"'white\.png' cannot be opened in the book any more"):
        photographs.stored_pixels(entry)
    assert book.add_photograph(stone, picture) == (entry, False)
    assert entry.path.read_bytes() == picture.read_bytes()
    entry.path.unlink()
    book.add_photograph(stone, picture)
    assert photographs.stored_pixels(entry).shape == (120, 160, 3)


def test_another_picture_in_its_place_is_noticed(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture)
    entry.path.unlink()
    entry.path.write_bytes(blue_picture.read_bytes())
    with pytest.raises(BookError, match="was altered in the book"):
        photographs.stored_pixels(entry)


def test_a_file_that_changes_while_it_is_read_is_refused(
    book: Book, stone: StoneEntry, picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when the camera is still writing it."""

    def still_written(path: Path) -> Photograph:
        photograph = open_photograph(path)
        with path.open("ab") as file:
            file.write(b"more")
        return photograph

    monkeypatch.setattr("setstone.capture.open.open_photograph", still_written)
    with pytest.raises(BookError, match="changed while it was read"):
        book.add_photograph(stone, picture)
    assert list(book.photographs_folder.iterdir()) == []


def test_a_photograph_is_corrected_and_the_journal_keeps_what_stood_there(
    book: Book, stone: StoneEntry, blue_picture: Path
) -> None:
    other = book.add_stone(book.object(), "lid-4")
    wrong, _ = book.add_photograph(stone, blue_picture, lamp=Lamp.WHITE, occasion="before")
    assert "lamp-contradiction" in {f.code for f in wrong.flags}
    right = book.correct_photograph(wrong, stone=other, lamp=Lamp.BLUE, occasion="after", by="Ada")
    assert (right.lamp, right.lamp_stated, right.occasion) == (Lamp.BLUE, True, "after")
    assert "lamp-contradiction" not in {f.code for f in right.flags}
    assert book.photographs(stone) == ()
    assert book.photographs(other) == (right,)
    assert book.photograph(right.sha256) == right
    last = book.journal(other)[-1]
    assert last.action == "correct photograph"
    assert last.before is not None
    assert (last.before["stone"], last.before["lamp"]) == ("Presentation snuff box/lid-3", "white")
    count = len(book.journal())
    assert book.correct_photograph(right, lamp=Lamp.BLUE, by="Ada") == right
    assert len(book.journal()) == count


def test_a_photograph_an_examination_rests_on_stays_with_its_stone(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    entry, _ = book.add_photograph(stone, picture)
    other = book.add_stone(book.object(), "lid-4")
    book.save_examination(stone, examination(), occasion="before", white=entry.sha256, blue=None, by="Ada")
    with pytest.raises(BookError, match="An examination rests on"):
        book.correct_photograph(entry, stone=other, by="Ada")
    assert book.photographs(stone) == (entry,)


@pytest.mark.parametrize("magnification", [0.0, -60.0, float("nan"), float("inf"), 1e5])
def test_an_impossible_magnification_is_refused(
    book: Book, stone: StoneEntry, picture: Path, magnification: float
) -> None:
    with pytest.raises(BookError, match="is not possible; give that of the microscope"):
        book.add_photograph(stone, picture, magnification=magnification)
    assert book.photographs(stone) == ()


def test_an_unknown_photograph_is_said(book: Book) -> None:
    with pytest.raises(BookError, match="no photograph with the SHA-256 'abc'"):
        book.photograph("abc")


def test_a_scale_measured_by_a_person_is_kept_and_told(book: Book, stone: StoneEntry, picture: Path) -> None:
    entry, _ = book.add_photograph(stone, picture)
    assert entry.scale is None
    scale = Scale(3.2, 0.02, "bar length given", "1 mm")
    assert book.correct_photograph(entry, scale=scale, by="Ada").scale == scale
    assert book.photographs(stone)[0].scale == scale
    after = book.journal(stone)[-1].after
    assert after is not None
    assert after["scale"]["um_per_px"] == 3.2
