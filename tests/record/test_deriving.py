"""Photographs made from others: they name their sources, and the sources stay."""

from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np
import pytest
from made_up import examination as made_up
from PIL import Image

from setstone.capture.photograph import Lamp
from setstone.measure.candidates import Candidate
from setstone.record import examining
from setstone.record.book import Book
from setstone.record.deriving import Way, combine, correct_light
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examining import examine_stone
from setstone.record.exporting import export_book
from setstone.record.photographs import stored_pixels
from setstone.record.series import claimed_index, series_of


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
    for name in ("blank.png", "card.png"):  # the sources stay, also where the files are gone
        digest = sha256((tmp_path / name).read_bytes()).hexdigest()
        assert f"{name} ({digest[:12]})" in told
        assert (book.photographs_folder / f"{digest}.png").read_bytes() == (tmp_path / name).read_bytes()
    assert export_book(book, tmp_path / "export").is_dir()
    kept = {p.name for p in (tmp_path / "export" / "photographs").iterdir()}
    for name in ("blank.png", "card.png"):
        assert sha256((tmp_path / name).read_bytes()).hexdigest() + ".png" in kept
    red, _, blue = stored_pixels(entry).reshape(-1, 3).mean(axis=0)
    assert red < blue
    with pytest.raises(BookError, match="nothing to correct"):
        correct_light(book, stone, frames[0], by="Ada")


def series(book: Book, stone: StoneEntry, folder: Path, *, moved: float = 0.0) -> list[PhotographEntry]:
    """Seven frames of textured ground at frame 1 (the table) and of a bright line at frame 4.2."""
    rng = np.random.default_rng(4)
    coarse = rng.integers(60, 150, (70, 80)).astype(np.float32)
    ground = cv2.resize(coarse, (480, 420), interpolation=cv2.INTER_CUBIC)
    line = np.zeros((420, 480), np.float32)
    line[60:360, 240] = 250
    entries = []
    for k in range(7):
        table, deep = (float(np.hypot(0.8, 1.5 * (k - z))) for z in (1.0, 4.2))
        frame = cv2.GaussianBlur(ground, (0, 0), table) + cv2.GaussianBlur(line, (0, 0), deep)
        shift = np.array([[1, 0, moved * k], [0, 1, 0]])
        frame = cv2.warpAffine(frame, shift, (480, 420), borderMode=cv2.BORDER_REFLECT)
        frame = np.clip(np.round(frame + rng.normal(0, 1, frame.shape)), 0, 255).astype(np.uint8)
        path = folder / f"z{k}.png"
        Image.fromarray(np.repeat(frame[..., None], 3, axis=2)).save(path)
        entries.append(book.add_photograph(stone, path, lamp=Lamp.WHITE, by="Ada")[0])
    return entries


def test_a_stack_with_its_step_tells_how_deep_candidates_lie(
    book: Book, stone: StoneEntry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames = series(book, stone, tmp_path, moved=0.7)
    stack, _ = combine(book, stone, frames, "pyramid", step_um=50, table_frame=2, by="Ada")
    found = Candidate(
        "line", np.column_stack([np.full(250, 240.0), np.arange(80.0, 330)]), "white", 0.6, (), 30
    )
    result = replace(made_up(found), size=(480, 420), reference="white", scale=None, diameters=None)
    monkeypatch.setattr(examining, "examine", lambda *_photographs, **_options: result)

    entry = examine_stone(book, stone, by="Ada")
    assert entry.white == stack.sha256
    (shown,) = entry.candidates
    below = shown.candidate.sizes["below_table"]
    assert abs(below.value - 3.2 * 50) <= below.expanded < 50
    assert shown.candidate.reasons[0].code == "below-table"
    assert np.array_equal(shown.candidate.path, found.path)

    frames[3].path.chmod(0o644)
    frames[3].path.write_bytes(b"altered")
    again = examine_stone(book, stone, by="Ada")
    assert "no-depths" in [f.code for f in again.result.flags]


def test_a_series_that_tells_no_depths(
    book: Book, stone: StoneEntry, frames: list[PhotographEntry], tmp_path: Path
) -> None:
    stack, _ = combine(book, stone, frames, "sharpest", by="Ada")
    assert series_of(book, stone, stack) is None
    assert series_of(book, stone, frames[0]) is None
    refused: list[tuple[dict[str, float], str]] = [
        ({"step_um": 50}, "at least 5 frames"),
        ({"table_frame": 1}, "give both"),
        ({"step_um": float("nan")}, "no step"),
    ]
    for options, why in refused:
        with pytest.raises(BookError, match=why):
            combine(book, stone, frames, "pyramid", by="Ada", **options)  # type: ignore[arg-type]
    with pytest.raises(BookError, match="Only a focus stack"):
        combine(book, stone, frames, "average", step_um=50, by="Ada")
    seven = series(book, stone, tmp_path)
    with pytest.raises(BookError, match="no frame 8"):
        combine(book, stone, seven, "pyramid", step_um=50, table_frame=8, by="Ada")


def test_the_index_is_that_of_the_claim(book: Book, stone: StoneEntry) -> None:
    """Corundum 1.762 to 1.770 (the table of materials names its source)."""
    ruby = replace(stone, claimed_as="ruby")
    index = claimed_index(ruby)
    assert index is not None
    assert index.low <= 1.762 <= 1.770 <= index.high
    assert index.source == "claimed: ruby"
    assert claimed_index(replace(stone, claimed_as="")) is None
    assert claimed_index(replace(stone, claimed_as="ruby or glass")) is None
