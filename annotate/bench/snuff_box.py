"""The demo snuff box in a book: its stones and their photographs, not examined yet."""

from collections.abc import Callable

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.sample_images import (
    OBJECT_DESCRIPTION,
    OBJECT_NAME,
    OBJECT_PHOTOGRAPH,
    OBJECT_PLACES,
    sample_stones,
)

#: Photographs there are, for who shows progress.
PHOTOGRAPHS = sum(1 for sample in sample_stones() for _ in sample.photographs())


def fill(book: Book, *, by: str, progress: Callable[[str], None] = lambda _: None) -> tuple[StoneEntry, ...]:
    """Add the demo snuff box to a book.

    Parameters
    ----------
    book : Book
    by : str
        Who adds it.
    progress : callable, optional
        Told of each photograph.

    Returns
    -------
    tuple of StoneEntry
    """
    box = book.add_object(OBJECT_NAME, description=OBJECT_DESCRIPTION, by=by)
    book.picture_object(box, OBJECT_PHOTOGRAPH, by=by)
    stones = []
    for sample in sample_stones():
        stone = book.add_stone(box, sample.position, claimed_as=sample.claimed_as, by=by)
        book.place_stone(stone, OBJECT_PLACES[sample.position], by=by)
        for occasion, file in sample.photographs():
            progress(f"{stone.position}, {occasion}")
            book.add_photograph(stone, file, occasion=occasion, by=by, magnification=60)
        stones.append(stone)
    return tuple(stones)
