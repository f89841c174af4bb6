"""Photographs made from others: they name their sources, and the sources stay."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.deriving import Way, combine, correct_light
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.photographs import stored_pixels


@pytest.fixture
def frames(book: Book, stone: StoneEntry, tmp_path: Path) -> list[PhotographEntry]:
    """One scene, sharp on the left and on the right in turn, with noise."""
    rng = np.random.default_rng(2)
    coarse = rng.integers(60, 200, (70, 80, 3)).astype(np.uint8)
    sharp = cv2.resize(coarse, (480, 420), interpolation=cv2.INTER_CUBIC)
    blurred = cv2.GaussianBlur(sharp, (0, 0), 5)
    entries = []
    for i in range(2):
        frame = blurred.copy()
        half = np.s_[:, :240] if i == 0 else np.s_[:, 240:]
        frame[half] = sharp[half]
        noisy = np.clip(frame + rng.normal(0, 3, frame.shape), 0, 255).astype(np.uint8)
        Image.fromarray(noisy).save(tmp_path / f"z{i}.png")
        entries.append(book.add_photograph(stone, tmp_path / f"z{i}.png", lamp=Lamp.WHITE, by="Ada")[0])
    return entries


@pytest.mark.parametrize("way", ["average", "pyramid", "sharpest", "bracket"])
def test_combined(book: Book, stone: StoneEntry, frames: list[PhotographEntry], way: Way) -> None:
    before = [stored_pixels(f) for f in frames]
    entry, depth = combine(book, stone, frames, way, by="Ada")
    (told,) = (f.text for f in entry.flags if f.text.startswith("Made as"))
    for frame in frames:
        assert f"{frame.name} ({frame.sha256[:12]})" in told
    assert (entry.lamp, entry.occasion, entry.format) == (Lamp.WHITE, "as received", "OME-TIFF")
    assert (depth is not None) == (way in ("pyramid", "sharpest"))
    assert [p.sha256 for p in book.photographs(stone)] == [*(f.sha256 for f in frames), entry.sha256]
    for frame, pixels in zip(frames, before, strict=True):
        assert np.array_equal(stored_pixels(frame), pixels)


def test_only_what_was_taken_alike(book: Book, stone: StoneEntry, frames: list[PhotographEntry]) -> None:
    with pytest.raises(BookError, match="at least two"):
        combine(book, stone, frames[:1], "average", by="Ada")
    with pytest.raises(BookError, match="named twice"):
        combine(book, stone, [frames[0], frames[0]], "average", by="Ada")
    other = book.correct_photograph(frames[1], lamp=Lamp.OTHER, by="Ada")
    with pytest.raises(BookError, match="differ in light"):
        combine(book, stone, [frames[0], other], "average", by="Ada")


def test_light_corrected(
    book: Book, stone: StoneEntry, frames: list[PhotographEntry], tmp_path: Path
) -> None:
    blank = np.full((420, 480, 3), 190, np.uint8)
    card = np.full((420, 480, 3), (150, 120, 90), np.uint8)
    Image.fromarray(blank).save(tmp_path / "blank.png")
    Image.fromarray(card).save(tmp_path / "card.png")
    entry = correct_light(
        book, stone, frames[0], blank=tmp_path / "blank.png", card=tmp_path / "card.png", by="Ada"
    )
    (told,) = (f.text for f in entry.flags if f.text.startswith("Made as"))
    assert "shading divided out, white balanced on a grey card" in told
    assert "card.png" in told
    red, _, blue = stored_pixels(entry).reshape(-1, 3).mean(axis=0)
    assert red < blue
    with pytest.raises(BookError, match="nothing to correct"):
        correct_light(book, stone, frames[0], by="Ada")
