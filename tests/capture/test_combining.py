"""Better photographs from several: averages, shading, grey card, stack and bracket, against simulated truth."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from setstone.capture.averaging import average
from setstone.capture.bracketing import merge_exposures
from setstone.capture.correcting import CARD_REFLECTANCE, shading, white_balance
from setstone.capture.errors import PhotographError
from setstone.capture.light import encoded, linear_light
from setstone.capture.photograph import Lamp
from setstone.capture.stacking import Method, stack

Picture = NDArray[np.uint8]


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def scene(rng: np.random.Generator, height: int = 300, width: int = 400) -> Picture:
    coarse = rng.integers(40, 210, (height // 6, width // 6, 3)).astype(np.uint8)
    return np.asarray(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC), np.uint8)


def noisy(rng: np.random.Generator, pixels: Picture, sigma: float) -> Picture:
    return np.clip(np.round(pixels + rng.normal(0, sigma, pixels.shape)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("count", [2, 4, 9, 16])
def test_noise_falls_with_the_root_of_the_number(rng: np.random.Generator, count: int) -> None:
    """The law of averages: sigma / sqrt(N), for the true noise and for the one stated."""
    truth = scene(rng)
    found = average(noisy(rng, truth, 5.0) for _ in range(count))
    left = found.pixels / 257.0 - truth
    assert left[(truth > 30) & (truth < 225)].std() == pytest.approx(5 / np.sqrt(count), rel=0.06)
    assert found.noise_before == pytest.approx(5, rel=0.06)
    assert found.noise_after == pytest.approx(5 / np.sqrt(count), rel=0.1)
    assert (found.frames, found.drifted) == (count, False)


def test_an_average_is_of_light_and_notices_drift(rng: np.random.Generator) -> None:
    dark, bright = np.full((20, 20, 3), 60, np.uint8), np.full((20, 20, 3), 200, np.uint8)
    found = average([dark, bright])
    half = (linear_light(dark) + linear_light(bright)) / 2
    assert np.abs(linear_light(found.pixels) - half).max() < 1e-4
    assert found.drifted
    assert (found.noise_before, found.noise_after) == pytest.approx((0, 0), abs=0.01)
    assert np.isnan(average([dark]).noise_after)
    with pytest.raises(PhotographError, match="no frame"):
        average([])
    with pytest.raises(PhotographError, match="differ in size"):
        average([dark, dark[:10]])


def test_shading_is_divided_out(rng: np.random.Generator) -> None:
    truth = scene(rng, 480, 640)
    y, x = np.mgrid[-1:1:480j, -1:1:640j]
    fall = (1 - 0.25 * (x**2 + y**2))[..., None] * np.array([1.0, 0.95, 0.85])
    blank = encoded((0.6 * fall).astype(np.float32), np.uint8)
    seen = encoded((linear_light(truth) * fall).astype(np.float32), np.uint8)
    for pixels, expected in ((seen, truth), (seen.astype(np.uint16) * 257, truth)):
        corrected = shading(blank).applied(pixels)
        ratio = linear_light(corrected)[8:-8, 8:-8] / linear_light(expected)[8:-8, 8:-8]
        # The mean of each colour stays, so the lamp's own colour does.
        assert (ratio.std(axis=(0, 1)) / ratio.mean(axis=(0, 1))).max() < 0.03
    with pytest.raises(PhotographError, match="another size"):
        shading(blank).applied(seen[:100])


@pytest.mark.parametrize("fault", ["overexposed", "dark", "shows something"])
def test_what_is_no_blank_field(rng: np.random.Generator, fault: str) -> None:
    blank = {
        "overexposed": np.full((300, 400, 3), 255, np.uint8),
        "dark": np.zeros((300, 400, 3), np.uint8),
        "shows something": scene(rng),
    }[fault]
    with pytest.raises(PhotographError, match=fault):
        shading(blank)


def test_grey_card_against_published_values(rng: np.random.Generator) -> None:
    """Neutral patches of the 24-patch chart (McCamy, Marcus & Davidson 1976) under a warm light.

    L* of its six greys as kept in the colour-science library; a card of 18 % has L* 49.5 and code 117.6 (ISO/CIE
    11664-4, IEC 61966-2-1).
    """
    chart = np.array([96.54, 81.26, 66.77, 50.87, 35.66, 20.46])
    luminance = np.array([((v + 16) / 116) ** 3 for v in chart])
    light = np.append(luminance, CARD_REFLECTANCE)[None, :, None] * np.array([0.98, 0.72, 0.40])
    seen = encoded(np.repeat(np.repeat(light, 40, axis=0), 40, axis=1).astype(np.float32), np.uint16)
    balance = white_balance(seen, (242, 2, 278, 38), exposure=True)
    corrected = balance.applied(seen)
    card = corrected[20, 260] / 257
    assert card == pytest.approx([117.6] * 3, abs=0.2)
    patches = linear_light(corrected)[20, 20:260:40]
    for channel in range(3):
        lightness = 116 * np.cbrt(patches[:, channel]) - 16
        assert lightness == pytest.approx(chart, abs=0.4)
    eight = white_balance(seen, (242, 2, 278, 38)).applied((seen >> 8).astype(np.uint8))
    assert np.ptp(eight[20, 260].astype(int)) <= 2


@pytest.mark.parametrize(
    ("level", "box", "lamp", "match"),
    [
        (255, (0, 0, 40, 40), Lamp.WHITE, "overexposed"),
        (2, (0, 0, 40, 40), Lamp.WHITE, "too dark"),
        (120, (90, 0, 140, 40), Lamp.WHITE, "not inside"),
        (120, (0, 0, 40, 40), Lamp.BLUE, "blue light"),
    ],
)
def test_a_grey_card_that_is_none(level: int, box: tuple[int, int, int, int], lamp: Lamp, match: str) -> None:
    with pytest.raises(PhotographError, match=match):
        white_balance(np.full((100, 100, 3), level, np.uint8), box, lamp=lamp)


def through_focus(rng: np.random.Generator, truth: Picture, count: int = 6) -> list[Picture]:
    """Frames focused from left to right, each moved and scaled by a known amount."""
    height, width = truth.shape[:2]
    depth = np.linspace(0, count - 1, width)[None, :, None]
    blurred = [truth.astype(np.float32)] + [
        cv2.GaussianBlur(truth, (0, 0), 1.5 * k).astype(np.float32) for k in range(1, count)
    ]
    frames = []
    for z in range(count):
        away = np.abs(depth - z)
        frame = sum(np.clip(1 - np.abs(away - k), 0, 1) * b for k, b in enumerate(blurred))
        scale = 1 + 0.001 * z
        motion = np.array([[scale, 0, 1.5 * z], [0, scale, -0.7 * z]])
        moved = cv2.warpAffine(
            np.asarray(frame), motion, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        )
        frames.append(noisy(rng, moved, 2.0))
    return frames


@pytest.mark.parametrize("method", ["pyramid", "sharpest"])
def test_focus_stack(rng: np.random.Generator, method: Method) -> None:
    truth = scene(rng)
    frames = through_focus(rng, truth)
    found = stack(frames, method=method)
    inner = np.s_[30:-30, 30:-30]
    error = (found.pixels[inner].astype(float) - truth[inner]).std()
    single = min((f[inner].astype(float) - truth[inner]).std() for f in frames)
    assert error < 4
    assert error < 0.2 * single
    assert found.unaligned == ()
    assert found.motions[-1] == pytest.approx(np.array([[1.005, 0, 7.5], [0, 1.005, -3.5]]), abs=0.3)
    true_depth = np.linspace(0, 5, truth.shape[1])[None, ::2]
    assert (np.abs(found.depth - true_depth) <= 1)[found.certain].mean() > 0.97


def test_a_deep_stack_and_one_that_lies_aligned(rng: np.random.Generator) -> None:
    truth = scene(rng).astype(np.uint16) * 257
    blurred = cv2.GaussianBlur(truth, (0, 0), 4)
    left, right = truth.copy(), truth.copy()
    left[:, 200:], right[:, :200] = blurred[:, 200:], blurred[:, :200]
    found = stack([left, right], aligned=True)
    assert found.pixels.dtype == np.uint16
    inner = np.s_[30:-30, 30:-30]
    assert (found.pixels[inner].astype(float) - truth[inner]).std() < 600
    with pytest.raises(PhotographError, match="at least two"):
        stack([left])
    with pytest.raises(PhotographError, match="differ in size"):
        stack([left, right[:100]])
    with pytest.raises(PhotographError, match="single row"):
        stack([left[:1], right[:1]])


def test_bracket_against_true_light(rng: np.random.Generator) -> None:
    """Simulated exposures of known light, and OpenCV's merge of Debevec & Malik as a reference."""
    truth = (linear_light(scene(rng)) * 4).astype(np.float32)
    exposures = (1.0, 0.25, 0.0625)
    frames = [noisy(rng, encoded(truth * e, np.uint8).astype(np.uint8), 0.5) for e in exposures]
    for seconds in (None, exposures):
        found = merge_exposures(frames, seconds)
        assert found.exposures == pytest.approx(exposures, rel=0.03)
        ratio = found.light / truth
        assert np.median(ratio) == pytest.approx(1, abs=0.03)
        assert np.quantile(np.abs(ratio - 1), 0.95) < 0.08
    response = linear_light(np.arange(256, dtype=np.uint8))[:, None, None].repeat(3, axis=2)
    reference = cv2.createMergeDebevec().process(
        frames, np.array(exposures, np.float32), np.maximum(response, 1e-4)
    )
    good = (truth > 0.05) & (truth < 3)
    scale = np.median(reference[good] / found.light[good])
    assert np.quantile(np.abs(reference[good] / found.light[good] / scale - 1), 0.9) < 0.1


def test_a_bracket_that_cannot_be_merged() -> None:
    dark, bright = np.full((50, 50, 3), 3, np.uint8), np.full((50, 50, 3), 254, np.uint8)
    with pytest.raises(PhotographError, match="nothing in common"):
        merge_exposures([dark, bright])
    with pytest.raises(PhotographError, match="at least two"):
        merge_exposures([dark])
    for seconds in ([1.0], [1.0, 0.0], [1.0, np.nan], [1.0, np.inf]):
        with pytest.raises(PhotographError, match="one exposure time"):
            merge_exposures([dark, bright], seconds)
