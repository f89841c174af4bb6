"""A book of the demo snuff box."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from setstone.record.book import Book
from setstone.record.entries import StoneEntry


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book.create(tmp_path / "book", workshop="Workshop on the Quay") as made:
        yield made


@pytest.fixture
def stone(book: Book) -> StoneEntry:
    return book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """A noisy picture in the colours of gold under white light."""
    noise = np.random.default_rng(3).normal(0, 12, (120, 160, 3))
    path = tmp_path / "white.png"
    Image.fromarray((np.array([190, 160, 90]) + noise).clip(0, 255).astype(np.uint8)).save(path)
    return path
