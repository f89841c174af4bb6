"""What napari reads and writes: by the functions, and through its plugin engine."""

import importlib
import shutil
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_up import examination, line
from PIL import Image

from setstone.annotate.errors import AnnotateError
from setstone.annotate.layer_data import (
    book_reader,
    photograph_reader,
    read_book,
    read_photographs,
    snuff_box,
    write_annotated,
)
from setstone.capture.errors import PhotographError
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.vocabulary import FindingKind, Verdict
from setstone.sample_images import sample_stones

LID_3 = sample_stones()[0].folder
MANIFEST = str(files("setstone.annotate") / "napari.yaml")


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with one stone examined, one line accepted."""
    folder = tmp_path_factory.mktemp("layers") / "book"
    with Book.create(folder, workshop="Workshop on the Quay") as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")
        white, blue = (
            book.add_photograph(stone, LID_3 / f"before_{lamp}.jpg")[0].sha256 for lamp in ("white", "blue")
        )
        result = examination(line(250, 0.9), line(400, 0.6))
        entry = book.save_examination(stone, result, occasion="as received", white=white, blue=blue, by="Ada")
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    return folder


@pytest.fixture
def book(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "book"))


def test_a_photograph_is_read_with_its_scale_in_micrometres() -> None:
    ((pixels, settings, kind),) = read_photographs(str(LID_3 / "before_white.jpg"))
    assert (kind, settings["name"], settings["rgb"]) == ("image", "before_white", True)
    assert pixels.dtype == np.uint8
    assert settings["units"] == ("µm", "µm")
    # The width the renderer of the samples wrote beside them (sample_images/README.md): 3.92 mm.
    assert pixels.shape[1] * settings["scale"][1] / 1000 == pytest.approx(3.92, rel=0.01)


def test_a_photograph_without_a_scale_is_in_pixels(tmp_path: Path) -> None:
    file = tmp_path / "plain.png"
    Image.fromarray(np.random.default_rng(1).integers(60, 90, (40, 50, 3), np.uint8)).save(file)
    ((_, settings, _),) = read_photographs([str(file)])
    assert settings["units"] == ("pixel", "pixel")
    assert settings["scale"] == (1.0, 1.0)


def test_what_is_no_photograph_is_told_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "notes.jpg").write_text("no picture")
    with pytest.raises(PhotographError, match="is not a JPEG, PNG or TIFF"):
        read_photographs(str(tmp_path / "notes.jpg"))
    assert photograph_reader(str(tmp_path)) is None


def test_a_book_is_read_as_photographs_girdle_and_findings(book: Path) -> None:
    assert book_reader(str(book)) is read_book
    assert book_reader(str(book.parent)) is None
    layers = read_book(str(book))
    assert [(settings["name"], kind) for _, settings, kind in layers] == [
        ("lid-3, as received, white light", "image"),
        ("lid-3, as received, blue light", "image"),
        ("lid-3, as received, girdle", "shapes"),
        ("lid-3, as received, findings and candidates", "shapes"),
    ]
    assert {settings["scale"] for _, settings, _ in layers} == {(4.0, 4.0)}
    assert layers[-1][1]["features"] == {"number": [1, 2], "kind": ["fissure", ""], "score": [0.9, 0.6]}


def test_an_empty_book_is_told(tmp_path: Path) -> None:
    Book.create(tmp_path / "empty").close()
    with pytest.raises(BookError, match="holds no photograph yet"):
        read_book(str(tmp_path / "empty"))


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_the_annotated_picture_is_written(book: Path, tmp_path: Path, suffix: str) -> None:
    layers = read_book(str(book))
    path = tmp_path / f"lid-3{suffix}"
    assert write_annotated(str(path), layers) == [str(path)]
    if suffix == ".svg":
        assert "1: fissure (finding)" in path.read_text(encoding="utf-8")
    else:
        with Image.open(path) as picture, Image.open(LID_3 / "before_white.jpg") as photograph:
            assert picture.width == photograph.width
            assert "Findings drawn: 1" in picture.info["Description"]


def test_what_is_not_of_a_book_is_not_written(book: Path, tmp_path: Path) -> None:
    layers = read_photographs(str(LID_3 / "before_white.jpg"))
    with pytest.raises(AnnotateError, match="open the stone in the panels"):
        write_annotated(str(tmp_path / "a.png"), [(d, {"metadata": {}, **s}, k) for d, s, k in layers])
    with pytest.raises(AnnotateError, match="neither a PNG nor an SVG"):
        write_annotated(str(tmp_path / "a.gif"), read_book(str(book)))


def test_the_sample_data_are_the_snuff_box_side_by_side() -> None:
    layers = snuff_box()
    assert [settings["name"] for _, settings, _ in layers] == [
        f"lid-{n}, {lamp} light" for n in (3, 5, 8) for lamp in ("white", "blue")
    ]
    assert {settings["units"] for _, settings, _ in layers} == {("µm", "µm")}
    left = [settings["translate"][1] for _, settings, _ in layers[::2]]
    assert left == sorted(set(left))


class TestThroughThePluginEngine:
    """The manifest names what is there; npe2 finds and runs it."""

    @pytest.fixture
    def manager(self, request: pytest.FixtureRequest) -> Iterator[Any]:
        pytest.importorskip("npe2", reason="the window is not installed (pip install setstone[gui])")
        manager = request.getfixturevalue("npe2pm")
        with manager.tmp_plugin(manifest=MANIFEST):
            yield manager

    def test_every_command_can_be_imported(self, manager: Any) -> None:
        pytest.importorskip("napari.qt", reason="the window is not installed", exc_type=ImportError)
        manifest = manager.get_manifest("setstone")
        manifest.validate_imports()

    def test_photographs_and_books_are_read(self, manager: Any, book: Path) -> None:
        io = importlib.import_module("npe2.io_utils")
        ((_, settings, kind),) = io.read([str(LID_3 / "before_blue.jpg")], stack=False)
        assert (settings["name"], kind) == ("before_blue", "image")
        assert len(io.read([str(book)], stack=False)) == 4

    def test_annotated_pictures_are_written(self, manager: Any, book: Path, tmp_path: Path) -> None:
        io = importlib.import_module("npe2.io_utils")
        path = str(tmp_path / "a.png")
        layers = [(d, {**s, "visible": s.get("visible", True)}, k) for d, s, k in read_book(str(book))]
        assert io.write(path, layers) == [path]

    def test_sample_data_are_given(self, manager: Any) -> None:
        ((name, samples),) = manager.iter_sample_data()
        assert name == "setstone"
        assert [s.display_name for s in samples] == ["Demo snuff box"]
        assert len(samples[0].open()) == 6
