"""Setups, their calibrations from photographs of a micrometer, and the scale a photograph gets from them."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from ruled import ruled

from setstone.measure.errors import MeasurementError
from setstone.measure.scalebar import find_scale_bar, scale_from_bar
from setstone.record.book import Book
from setstone.record.checking import check_photograph
from setstone.record.entries import SetupEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examining import examine_stone
from setstone.record.setups import certificate_of, over_the_field
from setstone.sample_images import sample_stones

STONES = Path(__file__).parents[3] / "shared" / "stones"
PERIOD = 11.0

JANUARY = datetime(2026, 1, 10, tzinfo=UTC)


@pytest.fixture
def setup(book: Book) -> SetupEntry:
    return book.add_setup(
        "60x", objective="1x", zoom="6.0", camera="20 MP", adapter="0.5x", numerical_aperture=0.08, by="Ada"
    )


@pytest.fixture(scope="session")
def micrometer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("micrometer") / "micrometer.png"
    Image.fromarray(ruled(PERIOD, 12.0, lines=40, size=520)).save(file)
    return file


def _photograph(folder: Path, width: int, height: int) -> Path:
    pixels = np.random.default_rng(width).integers(40, 220, (height, width, 3)).astype(np.uint8)
    Image.fromarray(pixels).save(folder / f"{width}.png")
    return folder / f"{width}.png"


def test_a_calibration_is_kept_with_its_photograph(book: Book, setup: SetupEntry, micrometer: Path) -> None:
    entry = book.calibrate_setup(
        setup, [micrometer], division_um=10, certificate="1 µm in 1 mm", made=JANUARY, by="Ada"
    )
    assert entry.result.um_per_px == pytest.approx(10 / PERIOD, rel=1e-4)
    assert entry.result.relative_u == pytest.approx(1e-3 / 3**0.5, rel=0.05)
    assert (entry.made, entry.by, entry.certificate) == (JANUARY, "Ada", "1 µm in 1 mm")
    with pytest.raises(BookError, match="in the future"):
        book.calibrate_setup(setup, [micrometer], division_um=10, made=JANUARY.replace(year=2999), by="Ada")
    (photograph,) = entry.photographs
    assert photograph.path.read_bytes() == micrometer.read_bytes()
    assert book.calibrations(book.setup("60X")) == (entry,)
    assert [line.action for line in book.journal()][-2:] == ["add setup", "calibrate setup"]


def test_a_photograph_gets_the_scale_of_its_setup(
    book: Book, stone: StoneEntry, setup: SetupEntry, micrometer: Path, tmp_path: Path
) -> None:
    for when, division in ((JANUARY, 10.0), (JANUARY.replace(month=6), 10.1)):
        book.calibrate_setup(setup, [micrometer], division_um=division, made=when, by="Ada")
    photograph, _ = book.add_photograph(
        stone, _photograph(tmp_path, 520, 560), taken=JANUARY.replace(month=5), setup=setup
    )
    scale, flags = book.calibrated_scale(photograph)
    assert scale is not None
    assert scale.um_per_px == pytest.approx(10 / PERIOD, rel=1e-4)
    assert scale.source == "calibration"
    assert scale.detail.startswith("60x, 2026-01-")
    assert flags == ()


def test_an_old_calibration_is_flagged(
    book: Book, stone: StoneEntry, setup: SetupEntry, micrometer: Path, tmp_path: Path
) -> None:
    book.calibrate_setup(setup, [micrometer], division_um=10, made=JANUARY.replace(year=2024), by="Ada")
    photograph, _ = book.add_photograph(stone, _photograph(tmp_path, 520, 520), taken=JANUARY, setup=setup)
    scale, (flag,) = book.calibrated_scale(photograph)
    assert scale is not None
    assert flag.code == "calibration-old"
    assert "731 days old, the limit is 365" in flag.text


def test_pixels_not_square_and_distortion_are_flagged(
    book: Book, stone: StoneEntry, setup: SetupEntry, tmp_path: Path
) -> None:
    files = []
    for i, angle in enumerate((2.0, 50.0, 93.0)):
        files.append(tmp_path / f"m{i}.png")
        Image.fromarray(ruled(11, angle, lines=40, size=520, aspect=1.01, bend=0.03)).save(files[-1])
    entry = book.calibrate_setup(setup, files, division_um=10, by="Ada")
    assert "Over the field, in 15 places" in over_the_field(entry.result)
    assert book.calibrations(setup) == (entry,)  # kept with all of it
    photograph, _ = book.add_photograph(stone, _photograph(tmp_path, 520, 520), setup=setup)
    _, flags = book.calibrated_scale(photograph)
    assert [flag.code for flag in flags] == ["pixels-not-square", "distorted"]
    assert "wider than square" in flags[0].text


def test_a_scale_bar_that_contradicts_the_calibration_is_flagged(
    book: Book, stone: StoneEntry, micrometer: Path, tmp_path: Path
) -> None:
    """A calibration 5 % larger than the bar of the sample photograph is contradicted by it, one alike is not."""
    sample = sample_stones()[0].folder / "before_white.jpg"
    with Image.open(sample) as image:
        size, bar = image.size, find_scale_bar(np.asarray(image))
    assert bar is not None
    by_bar = scale_from_bar(bar).um_per_px
    for name, um, codes in (("wrong", 1.05 * by_bar, ["scales-disagree"]), ("right", by_bar, [])):
        file = tmp_path / f"{name}.png"
        Image.fromarray(ruled(12.5, 5.0, lines=40, size=size[0])[: size[1]]).save(file)
        setup = book.add_setup(name)
        book.calibrate_setup(setup, [file], division_um=um * 12.5, certificate="0.01 %", by="Ada")
        entry, is_new = book.add_photograph(stone, sample, setup=setup, occasion="before")
        if not is_new:
            book.correct_photograph(entry, setup=setup, by="Ada")
        result = examine_stone(book, stone, by="Ada").result
        assert result.scale is not None
        assert result.scale.um_per_px == pytest.approx(um, rel=1e-3)
        found = [flag for flag in result.flags if flag.code == "scales-disagree"]
        assert [flag.code for flag in found] == codes
        if found:
            assert f"calibration: {name}" in found[0].text
            assert "scale bar" in found[0].text


def test_a_picture_of_another_size_is_not_measured_with_it(
    book: Book, stone: StoneEntry, setup: SetupEntry, micrometer: Path, tmp_path: Path
) -> None:
    book.calibrate_setup(setup, [micrometer], division_um=10, by="Ada")
    photograph, _ = book.add_photograph(stone, _photograph(tmp_path, 260, 260), setup=setup)
    scale, (flag,) = book.calibrated_scale(photograph)
    assert (scale, flag.code) == (None, "calibration-of-another-size")


def test_without_setup_or_calibration(
    book: Book, stone: StoneEntry, setup: SetupEntry, tmp_path: Path
) -> None:
    photograph, _ = book.add_photograph(stone, _photograph(tmp_path, 300, 300))
    assert book.calibrated_scale(photograph) == (None, ())
    corrected = book.correct_photograph(photograph, setup=setup, by="Ada")
    scale, (flag,) = book.calibrated_scale(corrected)
    assert (scale, flag.code) == (None, "not-calibrated")
    assert book.journal()[-1].after["setup"] == "60x"  # type: ignore[index]


def test_what_is_refused(book: Book, setup: SetupEntry, micrometer: Path, tmp_path: Path) -> None:
    def calibrate(*files: Path) -> None:
        book.calibrate_setup(setup, files, division_um=10, by="Ada")

    with pytest.raises(BookError, match="given twice"):
        calibrate(micrometer, micrometer)
    with pytest.raises(BookError, match="No micrometer"):
        calibrate(_photograph(tmp_path, 520, 520))
    with pytest.raises(BookError, match="another size"):
        calibrate(micrometer, _photograph(tmp_path, 300, 300))
    with pytest.raises(MeasurementError, match="no photograph"):
        calibrate()
    with pytest.raises(BookError, match="already"):
        book.add_setup("60X ")
    with pytest.raises(BookError, match="numerical aperture"):
        book.add_setup("100x", numerical_aperture=80)
    with pytest.raises(BookError, match="days"):
        book.add_setup("100x", valid_days=0)
    with pytest.raises(BookError, match="there are: '60x'"):
        book.setup("40x")
    assert book.calibrations(setup) == ()


@pytest.mark.parametrize("text", ["good", "1 mm", "1 in 1", "0 %", "30 %", "5 mm in 1 mm"])
def test_a_certificate_that_says_nothing(text: str) -> None:
    with pytest.raises(BookError, match="certificate"):
        certificate_of(text)


@pytest.mark.skipif(not STONES.is_dir(), reason="needs the computed test stones beside the checkout")
def test_a_stone_without_a_bar_is_measured_by_its_micrometer(book: Book, stone: StoneEntry) -> None:
    """Computed stone s21, photographed with the setup of micrometer m01; exact truth of both."""
    case = STONES / "s21"
    truth = json.loads((case / "truth.json").read_text())
    setup = book.add_setup("s21")
    book.calibrate_setup(
        setup, [STONES / "m01" / "micrometer.jpg"], division_um=10, certificate="0.01 %", by="Ada"
    )
    white = next(i for i in truth["images"].values() if i["lamp"] == "white")
    photograph, _ = book.add_photograph(stone, case / white["image"], setup=setup)
    scale, _ = book.calibrated_scale(photograph)
    assert scale is not None
    assert scale.um_per_px == pytest.approx(truth["um_per_px"], rel=3e-4)
    result = examine_stone(book, stone, by="Ada").result
    assert result.scale == scale


def test_a_photograph_is_checked_with_its_setup(
    book: Book, stone: StoneEntry, micrometer: Path, tmp_path: Path
) -> None:
    setup = book.add_setup("coarse", numerical_aperture=0.08)
    book.calibrate_setup(setup, [micrometer], division_um=100, by="Ada")
    photograph, _ = book.add_photograph(stone, _photograph(tmp_path, 520, 520), setup=setup)
    found = check_photograph(book, photograph, smallest_um=20)
    assert "coarse" in {flag.code for flag in found.flags}
    assert found.sampling is not None
    assert found.sampling.rayleigh_um == pytest.approx(4.19, abs=0.01)
