"""A book of the demo snuff box."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from setstone.record.book import Book
from setstone.record.entries import StoneEntry

Paint = Callable[[tuple[int, int, int], str], Path]

GOLD = (190, 160, 90)


@pytest.fixture(scope="session")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new book, made once: making one loads Alembic and takes longer than most tests."""
    folder = tmp_path_factory.mktemp("fresh") / "book"
    Book.create(folder, workshop="Workshop on the Quay").close()
    return folder


@pytest.fixture
def book(tmp_path: Path, fresh: Path) -> Iterator[Book]:
    with Book.open(shutil.copytree(fresh, tmp_path / "book")) as opened:
        yield opened


@pytest.fixture
def stone(book: Book) -> StoneEntry:
    return book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")


@pytest.fixture
def paint(tmp_path: Path) -> Paint:
    """Save a noisy picture of one colour under a name."""

    def save(colour: tuple[int, int, int], name: str) -> Path:
        noise = np.random.default_rng(len(name)).normal(0, 12, (120, 160, 3))
        Image.fromarray((np.array(colour) + noise).clip(0, 255).astype(np.uint8)).save(tmp_path / name)
        return tmp_path / name

    return save


@pytest.fixture
def picture(paint: Paint) -> Path:
    """In the colours of gold under white light."""
    return paint(GOLD, "white.png")


@pytest.fixture
def blue_picture(paint: Paint) -> Path:
    """In the colours of a scene under blue light."""
    return paint((6, 30, 170), "lit.png")
