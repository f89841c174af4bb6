"""Scale bars drawn by other libraries and those of the computed test stones."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from setstone.capture.open import open_photograph
from setstone.measure.errors import MeasurementError
from setstone.measure.label import parse_length
from setstone.measure.scalebar import find_scale_bar, scale_from_bar

STONES = Path(__file__).parents[2].parent / "shared" / "stones"


def ground(seed: int = 0, size: tuple[int, int] = (700, 900)) -> NDArray[np.uint8]:
    """Uneven, noisy metal: nothing a bar could be mistaken for."""
    rng = np.random.default_rng(seed)
    cloudy = cv2.GaussianBlur(rng.normal(0, 1, size).astype(np.float32), (0, 0), 25) * 400
    grey = 110 + cloudy[..., None] + rng.normal(0, 4, (*size, 3))
    return np.asarray(grey.clip(0, 255), np.uint8)


def drawn_by_pillow(
    label: str, length: int = 200, thick: int = 6, colour: str = "white"
) -> NDArray[np.uint8]:
    image = Image.fromarray(ground())
    draw = ImageDraw.Draw(image)
    draw.rectangle((600, 640, 600 + length - 1, 640 + thick - 1), fill=colour)
    font = ImageFont.load_default(size=30)
    box = draw.textbbox((0, 0), label, font=font)
    draw.text((600 + (length - box[2]) / 2, 600), label, fill=colour, font=font)
    return np.asarray(image)


@pytest.mark.parametrize(
    ("label", "um"), [("1 mm", 1000.0), ("500 um", 500.0), ("0.5 mm", 500.0), ("2.00 mm", 2000.0)]
)
@pytest.mark.parametrize("colour", ["white", "black"])
def test_a_bar_drawn_by_pillow_is_read(label: str, um: float, colour: str) -> None:
    """Independent drawing: Pillow's ImageDraw, a general-purpose library; a bar of n pixels is n long."""
    bar = find_scale_bar(drawn_by_pillow(label, colour=colour))
    assert bar is not None
    assert bar.length_px == pytest.approx(200, abs=0.3)
    assert bar.p0 == pytest.approx((599.5, 642.5), abs=0.6)
    scale = scale_from_bar(bar)
    assert scale.um_per_px == pytest.approx(um / 200, rel=0.003)
    # JCGM 100:2008, 4.3.7: a bar drawn in whole pixels, at least half a pixel either way over the root of three.
    assert scale.relative_u >= 0.5 / np.sqrt(3) / 200 * 0.99


def test_a_bar_drawn_by_opencv_and_kept_as_jpeg_is_read() -> None:
    """Independent drawing and coding: OpenCV's rectangle, putText and JPEG, a general-purpose library."""
    picture = ground(3)
    cv2.rectangle(picture, (60, 650), (359, 655), (255, 255, 255), -1)
    cv2.putText(picture, "2 mm", (170, 640), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (255, 255, 255), 2, cv2.LINE_AA)
    _, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    bar = find_scale_bar(np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8))
    assert bar is not None
    assert scale_from_bar(bar).um_per_px == pytest.approx(2000 / 300, rel=0.005)


def test_a_bar_with_short_crossing_ticks_is_measured_between_them() -> None:
    """As electron microscopes print it: interrupted by its label, square ends beyond one-pixel ticks."""
    picture = ground(5)
    picture[630:] = 0
    for x0, x1, tick in ((103, 180, 104), (280, 357, 355)):
        picture[660:663, x0:x1] = 255
        picture[658:665, tick] = 255
    cv2.putText(picture, "500 um", (186, 668), cv2.FONT_HERSHEY_SIMPLEX, 0.75, (255, 255, 255), 2)
    bar = find_scale_bar(picture)
    assert bar is not None
    assert bar.length_um == 500
    assert bar.length_px == pytest.approx(355 - 104, abs=0.6)


def test_sixteen_bit_pictures_are_read_alike() -> None:
    eight = drawn_by_pillow("1 mm")
    bar = find_scale_bar(eight.astype(np.uint16) * 257)
    assert bar is not None
    assert bar.length_um == 1000


@pytest.mark.parametrize("label", ["1", "about so", "x mm", ""])
def test_a_label_that_says_no_length_is_not_guessed(label: str) -> None:
    bar = find_scale_bar(drawn_by_pillow(label))
    if bar is None:
        return
    assert bar.length_um is None
    with pytest.raises(MeasurementError, match="give its length"):
        scale_from_bar(bar)
    given = scale_from_bar(bar, 1000.0)
    assert given.source == "bar length given"
    assert given.um_per_px == pytest.approx(5, rel=0.005)


@pytest.mark.parametrize("level", [0, 255])
def test_nothing_is_read_from_an_empty_picture(level: int) -> None:
    assert find_scale_bar(np.full((400, 500, 3), level, np.uint8)) is None
    assert find_scale_bar(ground(7)) is None


@pytest.mark.parametrize(
    ("text", "um"),
    [
        ("1000 µm", 1000.0),
        ("1000 μm", 1000.0),
        ("500um", 500.0),
        ("3.00 mm", 3000.0),
        ("0,5 mm", 500.0),
        ("1 cm", 10_000.0),
        ("250 nm", 0.25),
    ],
)
def test_lengths_with_a_unit_are_understood(text: str, um: float) -> None:
    """SI prefixes (BIPM, The International System of Units, 9th edition, table 7)."""
    assert parse_length(text) == pytest.approx(um)


@pytest.mark.parametrize(
    "text", ["", "mm", "12", "1 m m", "1 kg", "1,000.5 mm x", "-1 mm", "0 mm", "1e3 mm", "±0.5 mm"]
)
def test_what_is_no_certain_length_is_refused(text: str) -> None:
    assert parse_length(text) is None


def bars(case: str) -> list[tuple[Path, dict[str, Any], float]]:
    truth = json.loads((STONES / case / "truth.json").read_text(encoding="utf-8"))
    return [(STONES / case / v["image"], v["scale_bar"], v["um_per_px"]) for v in truth["images"].values()]


@pytest.mark.skipif(not STONES.exists(), reason="the computed test stones are not beside the project")
@pytest.mark.parametrize("case", ["s02", "s04", "s09", "s10"])
def test_bars_of_computed_stones(case: str) -> None:
    """Source: the exact truth of the computed stones: ticks, black on a box, thin in a box, half-transparent."""
    for path, _, um_per_px in bars(case):
        bar = find_scale_bar(open_photograph(path).pixels)
        assert bar is not None
        assert scale_from_bar(bar).um_per_px == pytest.approx(um_per_px, rel=0.01)


@pytest.mark.skipif(not STONES.exists(), reason="the computed test stones are not beside the project")
def test_rulers_and_pictures_without_a_bar_give_no_scale() -> None:
    for path in (STONES / "m01" / "micrometer.jpg", STONES / "s21" / "white.jpg"):
        bar = find_scale_bar(open_photograph(path).pixels)
        assert bar is None or bar.length_um is None
