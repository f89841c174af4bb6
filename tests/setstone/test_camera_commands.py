"""Photographs by commands: from a camera (a recording stands for it) and from a watched folder."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from ruled import ruled
from typer.testing import CliRunner

from setstone.__main__ import main
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Photograph
from setstone.commands import app
from setstone.record.book import Book
from setstone.record.taking import stone_in_name


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SETSTONE_BOOK", str(tmp_path / "book"))
    monkeypatch.setenv("SETSTONE_OPERATOR", "Ada")
    with Book.create(tmp_path / "book") as made:
        box = made.add_object("Presentation snuff box")
        for position in ("lid-1", "lid-12"):
            made.add_stone(box, position)
    return tmp_path / "book"


def test_a_photograph_with_the_camera(book: Path, recording: str) -> None:
    words = ["camera", "take", recording, "--stone", "lid-1", "--light", "blue", "--frames", "6", "--json"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert done.exit_code == 0
    assert "do not look into the lamp" in done.stderr
    told = json.loads(done.stdout)
    assert told["noise_before_of_255"] == pytest.approx(6, rel=0.1)
    assert told["noise_after_of_255"] == pytest.approx(6 / 6**0.5, rel=0.15)
    with Book.open(book) as opened:
        (entry,) = opened.photographs(opened.stone("lid-1"))
        assert entry.name.startswith("lid-1_blue_")
        assert (entry.format, entry.bit_depth, str(entry.lamp)) == ("OME-TIFF", 16, "blue")
        assert any("average of 6 frames" in flag.text for flag in entry.flags)


def test_a_photograph_into_a_file(recording: str, tmp_path: Path) -> None:
    to = tmp_path / "one.ome.tif"
    done = CliRunner().invoke(app, ["camera", "take", recording, "--frames", "1", "--to", str(to)])
    assert done.exit_code == 0
    assert open_photograph(to).pixels.shape == (500, 600, 3)


def test_a_file_has_setup_and_scale(book: Path, recording: str, tmp_path: Path) -> None:
    """Of the book's calibration, or, without a book, as stated; a size nobody calibrated has none."""

    def take(*words: str | Path) -> tuple[dict[str, object], Photograph]:
        line = ["camera", "take", recording, "--frames", "2", "--json", *map(str, words)]
        done = CliRunner().invoke(app, line, catch_exceptions=False)
        assert done.exit_code == 0
        told = json.loads(done.stdout)
        return told, open_photograph(Path(told["file"]))

    with Book.open(book) as opened:
        for name, size in (("60x", 600), ("20x", 520)):
            Image.fromarray(ruled(11.0, 12.0, lines=40, size=size)[:500]).save(tmp_path / "m.png")
            opened.calibrate_setup(
                opened.add_setup(name, camera="20 MP"), [tmp_path / "m.png"], division_um=10, by="Ada"
            )
    told, photograph = take("--to", tmp_path, "--setup", "60x", "--light", "blue")
    assert photograph.um_per_px == pytest.approx(10 / 11, rel=1e-4)
    assert Path(str(told["file"])).parent == tmp_path
    assert Path(str(told["file"])).name.startswith("blue_2")
    with tifffile.TiffFile(str(told["file"])) as tif:
        ome = tif.ome_metadata or ""
    assert 'Microscope Model="60x"' in ome
    assert 'Detector ID="Detector:0" Model="20 MP"' in ome
    _, photograph = take(
        "--to", tmp_path / "b.ome.tif", "--setup", "60x", "--um-per-px", "0.5", "--book", "nowhere"
    )
    assert photograph.um_per_px == 0.5
    told, photograph = take("--to", tmp_path / "c.ome.tif", "--setup", "20x")
    assert photograph.um_per_px is None
    assert "520 × 500" in str(told["remarks"])


def test_the_list_of_cameras(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("setstone.capture.camera.cameras", lambda: {0: "USB microscope"})
    done = CliRunner().invoke(app, ["camera", "list"], catch_exceptions=False)
    assert done.stdout == "0  USB microscope\n"


def test_looking(recording: str) -> None:
    done = CliRunner().invoke(
        app, ["camera", "look", recording, "--seconds", "1", "--json"], catch_exceptions=False
    )
    told = json.loads(done.stdout)
    assert told["best_focus"] >= told["focus"] > 0
    assert (told["width_px"], told["overexposed_share"]) == (600, 0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["camera", "look", "77"], "camera 77"),
        (["camera", "look", "no\nfilm"], "no file 'no?film'"),
        (["camera", "take", "77", "--to", "x.ome.tif"], "camera 77"),
        (["camera", "take", "0"], "--stone"),
        (["camera", "controls", "77"], "camera 77"),
        (["camera", "take", "77", "--to", "x.ome.tif", "--set", "exposure"], "sets nothing"),
        (["camera", "look", "77", "--set", "exposure=nan"], "sets nothing"),
        (["camera", "look", "77", "--set", "zoom=2"], "no control 'zoom'"),
        (["camera", "look", "77", "--size", "big"], "is no size"),
        (["camera", "take", "77", "--stone", "lid-9"], "no stone 'lid-9'"),
        (["camera", "take", "77", "--to", "x.ome.tif", "--setup", "60x"], "no setup '60x'"),
        (["camera", "take", "77", "--stone", "lid-1", "--um-per-px", "0.9"], "comes from its setup"),
        (["photo", "combine", "lid-1", "a", "b", "--as", "average", "--depth-map", "d.png"], "depth map"),
        (["photo", "light", "lid-1", "a", "--card", "c.png", "--card-at", "nan,0,1,1"], "no place of a card"),
        (["watch", "no-such-folder"], "no folder"),
    ],
)
def test_refusals_are_one_sentence(
    book: Path,
    words: list[str],
    said: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("sys.argv", ["setstone", *words])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 1
    err = capsys.readouterr().err
    assert said in err
    assert "Traceback" not in err


def test_a_watched_folder(book: Path, tmp_path: Path) -> None:
    saved = tmp_path / "saved"
    saved.mkdir()
    rng = np.random.default_rng(1)
    for name in ("lid-12_white.png", "unknown.png"):
        Image.fromarray(rng.integers(0, 255, (450, 450, 3)).astype(np.uint8)).save(saved / name)
    before = {p.name: p.read_bytes() for p in saved.iterdir()}
    done = CliRunner().invoke(
        app, ["watch", str(saved), "--existing", "--stop-after", "1"], catch_exceptions=False
    )
    assert "Added lid-12_white.png to lid-12" in done.stdout
    assert {p.name: p.read_bytes() for p in saved.iterdir()} == before
    with Book.open(book) as opened:
        assert len(opened.photographs(opened.stone("lid-12"))) == 1


def test_the_same_file_twice_is_told_and_not_counted(book: Path, tmp_path: Path) -> None:
    saved = tmp_path / "saved"
    saved.mkdir()
    rng = np.random.default_rng(1)
    Image.fromarray(rng.integers(0, 255, (450, 450, 3)).astype(np.uint8)).save(saved / "lid-12_a.png")
    (saved / "lid-12_b.png").write_bytes((saved / "lid-12_a.png").read_bytes())
    Image.fromarray(rng.integers(0, 255, (450, 450, 3)).astype(np.uint8)).save(saved / "lid-12_c.png")
    words = ["watch", str(saved), "--existing", "--stop-after", "2"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert "lid-12_b.png is in the book already, as lid-12_a.png of lid-12." in done.stdout
    assert "Added lid-12_c.png" in done.stdout


def test_light_that_contradicts_the_picture_is_told_when_it_is_taken(book: Path, recording: str) -> None:
    words = ["camera", "take", recording, "--stone", "lid-1", "--light", "blue"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert "! Stated as blue light, but the picture looks like white light" in done.stdout
    assert "Made as" not in done.stdout


def test_looking_says_each_line_once_where_it_is_not_a_screen(recording: str) -> None:
    done = CliRunner().invoke(app, ["camera", "look", recording, "--seconds", "1"])
    lines = [line for line in done.stdout.splitlines() if line.strip()]
    assert lines
    assert all(one != other for one, other in itertools.pairwise(lines))


def test_the_stone_in_a_file_name(book: Path) -> None:
    with Book.open(book) as opened:
        stones = opened.stones()
    names = ("LID-12 blue", "2026_lid-1_white", "lid-123", "lid-1 beside lid-2", "white")
    found = [stone_in_name(name, stones) for name in names]
    assert [s and s.position for s in found] == ["lid-12", "lid-1", None, "lid-1", None]
