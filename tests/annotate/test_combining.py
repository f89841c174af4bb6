"""One better photograph made of several, as a window asks for it; and what is said of a photograph's fitness."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from setstone.annotate.bench.combining import WAYS, Combination, alike
from setstone.annotate.bench.fitness_words import doubts, made_words, verdict_words
from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.checking import check_photograph
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.sample_images import sample_stones

REPEATS = 4


@pytest.fixture
def taken(tmp_path: Path) -> Iterator[tuple[Book, StoneEntry, list[PhotographEntry]]]:
    """A stone photographed four times alike, with the noise of a camera, and once in blue light."""
    folder = sample_stones()[0].folder
    pixels = np.asarray(Image.open(folder / "before_white.jpg").convert("RGB"), np.float32)[300:900, 300:900]
    rng = np.random.default_rng(7)
    with Book.create(tmp_path / "book") as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-3")
        entries = []
        for number in range(REPEATS):
            file = tmp_path / f"w{number}.png"
            noisy = np.clip(pixels + rng.normal(0, 8, pixels.shape), 0, 255).astype(np.uint8)
            Image.fromarray(noisy).save(file)
            entries.append(book.add_photograph(stone, file, occasion="before", lamp=Lamp.WHITE)[0])
        blue = book.add_photograph(stone, folder / "before_blue.jpg", occasion="before", lamp=Lamp.BLUE)[0]
        yield book, stone, [*entries, blue]


def test_only_those_taken_alike_are_offered_together(
    taken: tuple[Book, StoneEntry, list[PhotographEntry]],
) -> None:
    _, _, entries = taken
    assert [e.name for e in alike(tuple(entries), entries[0])] == ["w0.png", "w1.png", "w2.png", "w3.png"]
    assert alike(tuple(entries), entries[-1]) == (entries[-1],)


def test_each_photograph_is_told_and_the_sources_stay(
    taken: tuple[Book, StoneEntry, list[PhotographEntry]],
) -> None:
    book, stone, entries = taken
    told: list[str] = []
    made = Combination("average", tuple(entries[:REPEATS])).make(book, stone, by="Ada", progress=told.append)
    assert told == ["w0.png", "w1.png", "w2.png", "w3.png"]
    assert (str(made.lamp), made.occasion, made.format) == ("white", "before", "OME-TIFF")
    there = book.photographs(stone)
    assert len(there) == REPEATS + 2
    assert made not in alike(there, entries[0])  # it would count its sources twice
    short, full = made_words(made)
    assert short == "average of 4 frames, from 4 photographs"
    assert "noise of the average" in full
    assert not any("Made as" in text for text in doubts(made, None))
    assert made_words(entries[0]) == ("", "")


def test_a_stack_leaves_its_depth_map(
    taken: tuple[Book, StoneEntry, list[PhotographEntry]], tmp_path: Path
) -> None:
    book, stone, entries = taken
    to = tmp_path / "depth.png"
    chosen = Combination("pyramid", tuple(entries[:REPEATS]), depth_map=to)
    made = chosen.make(book, stone, by="Ada", progress=lambda _name: None)
    with Image.open(to) as picture:
        assert picture.size == (made.width // 2, made.height // 2)
        assert picture.info["Comment"] == "first frame black, last frame white; 4 frames"


def test_stopped_half_way_nothing_is_kept(taken: tuple[Book, StoneEntry, list[PhotographEntry]]) -> None:
    book, stone, entries = taken

    def stop(name: str) -> None:
        if name == "w2.png":
            raise InterruptedError

    with pytest.raises(InterruptedError):
        Combination("pyramid", tuple(entries[:REPEATS])).make(book, stone, by="Ada", progress=stop)
    assert len(book.photographs(stone)) == REPEATS + 1


def test_the_light_of_one_photograph_alone_is_corrected(
    taken: tuple[Book, StoneEntry, list[PhotographEntry]], tmp_path: Path
) -> None:
    book, stone, entries = taken
    card = tmp_path / "card.png"
    Image.new("RGB", (600, 600), (150, 120, 90)).save(card)
    made = Combination("light", (entries[0],), card=card).make(book, stone, by="Ada", progress=lambda _: None)
    assert made.occasion == "before"
    with pytest.raises(BookError, match="one photograph at a time"):
        Combination("light", tuple(entries[:2]), card=card).make(
            book, stone, by="Ada", progress=lambda _: None
        )


def test_what_speaks_against_a_photograph_is_said_with_the_verdict(
    taken: tuple[Book, StoneEntry, list[PhotographEntry]], tmp_path: Path
) -> None:
    book, stone, entries = taken
    noted = doubts(entries[0], None)
    assert noted == tuple(flag.text for flag in entries[0].flags)
    black = tmp_path / "black.png"
    Image.new("RGB", (600, 600)).save(black)
    entry = book.add_photograph(stone, black, occasion="before", lamp=Lamp.WHITE)[0]
    found = check_photograph(book, entry)
    assert verdict_words(found) == "✕ not fit to be measured"
    assert doubts(entry, found)[0] == "The picture is black; check the lamp and photograph again."
    assert len(doubts(entry, found)) == len(set(doubts(entry, found)))


def test_each_way_says_what_it_is_for() -> None:
    assert all(name and why.endswith(".") for name, why in WAYS.values())
