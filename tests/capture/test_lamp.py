"""White or blue: on ray-traced stones with known lamps, and on pictures made to mislead."""

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from setstone.capture.lamp import contradiction, recognise_lamp
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp

SHARED = Path(__file__).parents[2].parent / "shared" / "stones"
#: One case of each kind of stone, lamp and exposure; SETSTONE_ALL_STONES=1 runs every picture.
CASES = ["s02", "s06", "s12", "s14", "s16", "p06"]


def _pictures() -> list[Path]:
    names = ["**"] if os.environ.get("SETSTONE_ALL_STONES") else CASES
    found = [path for name in names for path in SHARED.glob(f"{name}/*.*")]
    return sorted(path for path in found if "white" in path.stem or "blue" in path.stem)


def _scene(light: tuple[float, float, float], stone: tuple[float, float, float]) -> NDArray[np.uint8]:
    """A stone in a silver setting: reflectances times light, linear, then noise and sRGB's curve.

    The curve is the power 1/2.2, near enough here.
    """
    rng = np.random.default_rng(5)
    yy, xx = np.mgrid[:300, :400]
    inside = (xx - 200) ** 2 + (yy - 150) ** 2 < 130**2
    shading = 0.2 + 0.7 * cv2.GaussianBlur(rng.random((300, 400)).astype(np.float32), (0, 0), 3)
    reflectance = np.where(inside[..., None], np.array(stone), np.array([0.55, 0.54, 0.52]))
    linear = reflectance * np.array(light) * shading[..., None] + rng.normal(0, 0.003, (300, 400, 3))
    return np.asarray(np.clip(linear, 0, 1) ** (1 / 2.2) * 255, np.uint8)


WHITE, BLUE = (1.0, 1.0, 1.0), (0.04, 0.15, 1.0)
STONES = {
    "colourless": (0.6, 0.6, 0.6),
    "blue": (0.04, 0.1, 0.7),
    "red": (0.7, 0.04, 0.08),
    "green": (0.08, 0.5, 0.1),
}


@pytest.mark.skipif(not SHARED.is_dir(), reason="the test stones are not beside the project")
def test_every_test_stone() -> None:
    pictures = _pictures()
    assert pictures
    for path in pictures:
        photograph = open_photograph(path)
        stated = Lamp.WHITE if "white" in path.stem else Lamp.BLUE
        reading = recognise_lamp(photograph.pixels)
        assert (path, reading.lamp) == (path, stated)
        assert reading.confidence > 0.9
        assert contradiction(stated, photograph.pixels) is None
        wrong = Lamp.BLUE if stated is Lamp.WHITE else Lamp.WHITE
        sentence = contradiction(wrong, photograph.pixels)
        assert sentence is not None
        assert f"Stated as {wrong} light" in sentence


@pytest.mark.parametrize("stone", STONES)
@pytest.mark.parametrize(("light", "lamp"), [(WHITE, Lamp.WHITE), (BLUE, Lamp.BLUE)])
@pytest.mark.parametrize("exposure", [0.5, 1.0, 3.0])
def test_stones_in_silver(stone: str, light: tuple[float, float, float], lamp: Lamp, exposure: float) -> None:
    r, g, b = (exposure * channel for channel in light)
    reading = recognise_lamp(_scene((r, g, b), STONES[stone]))
    assert reading.lamp is lamp
    assert reading.confidence > (0.7 if exposure < 1 else 0.9)


def test_stone_that_glows_red_in_blue_light() -> None:
    """Ruby fluoresces at 694 nm when lit with blue."""
    picture = _scene(BLUE, STONES["colourless"])
    picture[90:210, 150:250, 0] = 200
    assert recognise_lamp(picture).lamp is Lamp.BLUE


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_white_label_under_a_blue_photograph(depth: type[np.unsignedinteger]) -> None:
    picture = _scene(BLUE, STONES["colourless"]).astype(depth)
    picture[270:] = 128
    picture[275:295, 20:200] = 255
    picture *= depth(np.iinfo(depth).max // 255)
    assert recognise_lamp(picture).lamp is Lamp.BLUE


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (np.repeat(np.random.default_rng(1).integers(0, 255, (99, 99, 1), np.uint8), 3, axis=2), "grey"),
        (np.full((99, 99, 3), 3, np.uint8), "dark"),
        (np.full((99, 99, 3), 255, np.uint8), "grey"),
        (np.full((1, 1, 3), 7, np.uint8), "dark"),
    ],
)
def test_nothing_is_claimed_without_colour(picture: NDArray[np.uint8], said: str) -> None:
    reading = recognise_lamp(picture)
    assert (reading.lamp, reading.confidence) == (Lamp.OTHER, 0)
    assert said in reading.why
    assert contradiction(Lamp.BLUE, picture) is None


def test_other_light_is_never_contradicted() -> None:
    assert contradiction(Lamp.OTHER, _scene(BLUE, STONES["red"])) is None


def test_green_light_is_neither() -> None:
    reading = recognise_lamp(_scene((0.05, 1.0, 0.1), STONES["colourless"]))
    assert reading.lamp is Lamp.OTHER
    assert reading.confidence < 0.5
