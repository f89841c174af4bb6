"""The photograph of an object as a whole, and the places of its stones in it."""

from pathlib import Path

import pytest
from PIL import Image

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.exporting import export_book
from setstone.record.importing import import_book


@pytest.fixture
def lid(tmp_path: Path) -> Path:
    path = tmp_path / "the lid.png"
    Image.effect_noise((120, 80), 60).convert("RGB").save(path)
    return path


def test_it_is_kept_unaltered_with_the_places_of_its_stones(book: Book, stone: StoneEntry, lid: Path) -> None:
    owner = book.object()
    assert book.object_photograph(owner) is None
    shown = book.picture_object(owner, lid, by="Ada")
    assert shown is not None
    assert shown.path.read_bytes() == lid.read_bytes()
    assert (shown.width, shown.height, shown.name) == (120, 80, "the lid.png")
    assert book.picture_object(owner, lid, by="Ada") == shown  # the very same again: nothing is entered
    book.place_stone(stone, (0.25, 0.5), by="Ada")
    book.place_stone(stone, (0.3, 0.5), by="Ada")
    found = book.object_photograph(owner)
    assert found is not None
    assert dict(found.places) == {stone.id: (0.3, 0.5)}
    book.place_stone(stone, None, by="Ada")
    found = book.object_photograph(owner)
    assert found is not None
    assert not found.places
    assert [line.action for line in book.journal()][-4:] == ["show object"] + 3 * ["place stone"]


def test_another_one_has_its_own_places_and_none_can_be_shown(
    book: Book, stone: StoneEntry, lid: Path, tmp_path: Path
) -> None:
    owner = book.object()
    with pytest.raises(BookError, match="has no photograph of the whole yet"):
        book.place_stone(stone, (0.5, 0.5))
    with pytest.raises(BookError, match="nothing is taken away"):
        book.picture_object(owner, None)
    book.picture_object(owner, lid)
    book.place_stone(stone, (0.5, 0.5))
    other = tmp_path / "other.png"
    Image.effect_noise((60, 60), 30).convert("RGB").save(other)
    later = book.picture_object(owner, other)
    assert later is not None
    assert not later.places
    again = book.picture_object(owner, lid)  # its places are still known
    assert again is not None
    assert dict(again.places) == {stone.id: (0.5, 0.5)}
    assert book.picture_object(owner, None) is None


@pytest.mark.parametrize("at", [(1.1, 0.5), (-0.1, 0.5), (float("nan"), 0.5)])
def test_a_place_lies_in_the_photograph(
    book: Book, stone: StoneEntry, lid: Path, at: tuple[float, float]
) -> None:
    book.picture_object(book.object(), lid)
    with pytest.raises(BookError, match="from 0 to 100 % of its width"):
        book.place_stone(stone, at)


def test_it_goes_with_the_book(book: Book, stone: StoneEntry, lid: Path, tmp_path: Path) -> None:
    book.picture_object(book.object(), lid)
    book.place_stone(stone, (0.4, 0.6))
    with import_book(export_book(book, tmp_path / "out.zip"), tmp_path / "again", by="Ada") as again:
        found = again.object_photograph(again.object())
        assert found is not None
        assert found.path.read_bytes() == lid.read_bytes()
        assert list(found.places.values()) == [(0.4, 0.6)]


def test_a_thumbnail_is_refused(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    small = tmp_path / "small.png"
    Image.new("L", (1, 1)).save(small)
    with pytest.raises(BookError, match=r"'small\.png' is too small to show an object"):
        book.picture_object(book.object(), small)
    assert book.object_photograph(book.object()) is None
