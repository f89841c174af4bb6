"""The verdict on a photograph; limits of resolution by the textbook formulas."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from setstone.capture.judging import judge
from setstone.capture.light import encoded, linear_light
from setstone.capture.photograph import Lamp, Pixels
from setstone.capture.sampling import sampling, sampling_doubts
from setstone.measure.light import srgb_to_linear
from setstone.sample_images import sample_stones

Picture = NDArray[np.uint8]


@pytest.fixture(scope="module")
def good() -> Picture:
    with Image.open(sample_stones()[0].folder / "before_white.jpg") as image:
        return np.asarray(image.convert("RGB"))


def _codes(pixels: Pixels, **stated: object) -> set[str]:
    return {flag.code for flag in judge(pixels, **stated).flags}  # type: ignore[arg-type]


def test_a_good_photograph(good: Picture) -> None:
    found = judge(good, lamp=Lamp.WHITE)
    assert (found.verdict, found.flags) == ("fit", ())
    assert found.focus.best_px < 2


def test_out_of_focus(good: Picture) -> None:
    found = judge(cv2.GaussianBlur(good, (0, 0), 6), um_per_px=3.0)
    assert found.verdict == "not fit"
    assert "µm wide" in found.flags[0].text
    assert found.flags[0].code == "out-of-focus"


def test_uneven_light(good: Picture) -> None:
    slope = np.geomspace(1, 0.15, good.shape[1])[None, :, None]
    found = judge(encoded(linear_light(good) * slope.astype(np.float32), np.uint8))
    (flag,) = (f for f in found.flags if f.code == "uneven")
    assert "on the left" in flag.text
    assert 3 < found.uneven < 12


def test_exposure(good: Picture) -> None:
    assert "bright" in _codes(np.clip(good * 1.5, 0, 255).astype(np.uint8))
    assert "dark" in _codes((good * 0.06).astype(np.uint8))


def test_wrong_lamp_and_cast(good: Picture) -> None:
    assert judge(good, lamp=Lamp.BLUE).verdict == "not fit"
    tinted = linear_light(good) * np.array([1.0, 0.55, 0.12], np.float32)
    assert "cast" in _codes(encoded(tinted, np.uint8), lamp=Lamp.WHITE)


def test_limits_of_resolution() -> None:
    """Outside: the table of Abbe's and Rayleigh's limits in trade handbooks, recomputed by hand."""
    for aperture, rayleigh, abbe, blue in (
        (0.05, 6.71, 5.50, 5.55),
        (0.08, 4.19, 3.44, 3.47),
        (0.15, 2.24, 1.83, 1.85),
    ):
        limits = sampling(1.0, aperture)
        assert limits.rayleigh_um == pytest.approx(rayleigh, abs=0.005)
        assert limits.abbe_um == pytest.approx(abbe, abs=0.005)
        assert limits.largest_pixel_um == pytest.approx(abbe / 2, abs=0.005)
        assert sampling(1.0, aperture, Lamp.BLUE).rayleigh_um == pytest.approx(blue, abs=0.005)
    assert sampling(2.0, None).smallest_seen_um == 6.0


@pytest.mark.parametrize(
    ("um_per_px", "aperture", "smallest", "codes"),
    [
        (1.0, 0.08, 20, set()),
        (3.0, 0.08, 20, {"undersampled"}),
        (8.0, 0.08, 20, {"coarse"}),
        (0.3, 0.08, 20, {"empty-magnification"}),
        (0.8, 0.08, 3, {"not-resolved"}),
    ],
)
def test_sampling_doubts(um_per_px: float, aperture: float, smallest: float, codes: set[str]) -> None:
    doubts = sampling_doubts(sampling(um_per_px, aperture), um_per_px, smallest)
    assert {code for code, _ in doubts} == codes


def test_light_and_back() -> None:
    """IEC 61966-2-1 both ways, for every code of 8 and 16 bits."""
    every: tuple[Pixels, ...] = (np.arange(256, dtype=np.uint8), np.arange(65536, dtype=np.uint16))
    for codes in every:
        top = len(codes) - 1
        assert np.abs(linear_light(codes) - srgb_to_linear(codes.astype(np.float64) / top)).max() < 1e-6
        back = encoded(linear_light(codes), codes.dtype).astype(int)
        assert np.abs(back - codes.astype(int)).max() <= (0 if top == 255 else 8)
