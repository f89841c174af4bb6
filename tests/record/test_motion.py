"""What was decided on one photograph finds its place on another of the same stone."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from made_up import examination, line
from numpy.typing import NDArray
from PIL import Image

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.vocabulary import FindingKind, Verdict


def scene(seed: int) -> NDArray[np.uint8]:
    """Facets in random grey levels, as good as any to be laid on each other."""
    random = np.random.default_rng(seed)
    picture = np.full((400, 400, 3), 40, np.uint8)
    for _ in range(60):
        corners = (random.uniform(40, 360, 2) + random.uniform(-60, 60, (3, 2))).astype(np.int32)
        cv2.fillConvexPoly(picture, corners, [int(v) for v in random.integers(40, 220, 3)])
    return cv2.GaussianBlur(picture, (0, 0), 1).astype(np.uint8)


def added(book: Book, stone: StoneEntry, pixels: NDArray[np.uint8], path: Path) -> str:
    Image.fromarray(pixels).save(path)
    return book.add_photograph(stone, path)[0].sha256


def accept_first(book: Book, stone: StoneEntry) -> None:
    book.decide(book.examination(stone), 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")


def test_a_photograph_taken_again_a_little_aside(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    first = added(book, stone, scene(1), tmp_path / "a.png")
    moved = np.roll(scene(1), (9, 14), (0, 1))
    second = added(book, stone, moved, tmp_path / "b.png")
    book.save_examination(stone, examination(line(200)), occasion="before", white=first, blue=None, by="Ada")
    accept_first(book, stone)
    found = replace(line(200), path=line(200).path + np.array([14, 9]))
    entry = book.save_examination(
        stone, examination(line(300), found), occasion="before", white=second, blue=None, by="Ada"
    )
    assert [c.is_finding for c in entry.candidates] == [False, True]
    assert "carried-over-unsure" not in {f.code for f in entry.result.flags}


def test_the_white_photograph_added_after_the_blue_one(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    white, blue = (added(book, stone, scene(s), tmp_path / f"{s}.png") for s in (1, 2))
    result = replace(examination(line(200)), reference="blue", blue_to_white=None)
    book.save_examination(stone, result, occasion="before", white=None, blue=blue, by="Ada")
    accept_first(book, stone)
    matrix = np.array([[1.0, 0, 40], [0, 1, 0], [0, 0, 1]])
    both = replace(examination(line(200), line(240)), blue_to_white=matrix)
    entry = book.save_examination(stone, both, occasion="before", white=white, blue=blue, by="Ada")
    assert [c.is_finding for c in entry.candidates] == [False, True]


def test_photographs_that_cannot_be_laid_on_each_other_are_brought_together_by_the_outline_and_flagged(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    first, second = (added(book, stone, scene(s), tmp_path / f"{s}.png") for s in (1, 2))
    book.save_examination(stone, examination(line(200)), occasion="before", white=first, blue=None, by="Ada")
    accept_first(book, stone)
    plain = examination(line(200).shifted(50, 20))
    assert plain.outline is not None
    aside = replace(plain, outline=plain.outline.shifted(50, 20))
    entry = book.save_examination(stone, aside, occasion="before", white=second, blue=None, by="Ada")
    assert [c.is_finding for c in entry.candidates] == [True]
    assert "carried-over-unsure" in {f.code for f in entry.result.flags}
    assert book.examination(stone).result.flags == entry.result.flags
