"""Colour against published tables and general-purpose libraries; haze against its own model."""

import json
from pathlib import Path
from typing import Any

import colour as colour_science
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from setstone.measure.colour import delta_e_2000, stone_colour, stone_haze
from setstone.measure.colour_names import colour_name
from setstone.measure.errors import MeasurementError
from setstone.measure.light import srgb_to_linear

DATA = Path(__file__).parents[1] / "data"
HAZE = Path(__file__).parents[1] / "data" / "haze"
STONES = Path(__file__).parents[3] / "shared" / "stones"
needs_stones = pytest.mark.skipif(not STONES.is_dir(), reason="the test stones are not beside the checkout")

EVERYWHERE = np.ones((120, 120), np.bool_)
D65 = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]


def rows(name: str) -> list[list[str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return [line.split(",") for line in lines if not line.startswith("#")][1:]


def plain(*rgb: int) -> NDArray[np.uint8]:
    return np.full((120, 120, 3), rgb, np.uint8)


@pytest.mark.parametrize("pair", rows("ciede2000.csv"), ids=lambda row: row[0])
def test_ciede2000_gives_the_published_differences(pair: list[str]) -> None:
    """Sharma, Wu & Dalal 2005, table 1."""
    number, *values = pair
    l1, a1, b1, l2, a2, b2, expected = map(float, values)
    both = delta_e_2000((l1, a1, b1), (l2, a2, b2)), delta_e_2000((l2, a2, b2), (l1, a1, b1))
    # Pair 14 has hues exactly 180 degrees apart but for rounding: the mean hue may fall on either side.
    allowed = [expected, 4.7461] if number == "14" else [expected]
    for found in both:
        assert min(abs(found - value) for value in allowed) < 1e-4


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 255, 255), (100.0, 0.008, 0.004)),
        ((118, 118, 118), (49.637, 0.004, 0.002)),
        ((255, 0, 0), (53.233, 80.111, 67.224)),
        ((0, 255, 0), (87.737, -86.183, 83.188)),
        ((0, 0, 255), (32.303, 79.198, -107.850)),
        ((230, 200, 120), (81.559, 0.340, 43.715)),
        ((240, 232, 205), (91.974, -1.705, 14.114)),
    ],
)
def test_plain_colours(rgb: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    """Computed with the four-digit matrix of IEC 61966-2-1 and the white x 0.3127, y 0.3290.

    scikit-image has six digits and the tabulated white: 0.021 apart in b* of full red, less elsewhere.
    """
    np.testing.assert_allclose(stone_colour(plain(*rgb), EVERYWHERE).lab, lab, atol=0.025)


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_agrees_with_colour_science(rgb: tuple[int, int, int]) -> None:
    """General-purpose reference: colour-science, sRGB to CIELAB."""
    xyz = colour_science.sRGB_to_XYZ(np.array(rgb) / 255)
    expected = colour_science.XYZ_to_Lab(xyz, D65)
    np.testing.assert_allclose(stone_colour(plain(*rgb), EVERYWHERE).lab, expected, atol=0.05)


def test_sixteen_bit_pictures_have_the_same_colour() -> None:
    deep = plain(120, 30, 50).astype(np.uint16) * 257
    eight = stone_colour(plain(120, 30, 50), EVERYWHERE).lab
    np.testing.assert_allclose(stone_colour(deep, EVERYWHERE).lab, eight, atol=1e-3)


def test_glints_and_shadows_do_not_count() -> None:
    picture = plain(120, 30, 50)
    picture[:30, :40] = 255
    picture[-30:, :40] = 0
    clean = stone_colour(plain(120, 30, 50), EVERYWHERE)
    assert stone_colour(picture, EVERYWHERE).lab == clean.lab


def test_only_the_stone_counts() -> None:
    picture, stone = plain(220, 180, 90), np.zeros((120, 120), np.bool_)
    picture[30:90, 30:90], stone[30:90, 30:90] = (20, 40, 160), True
    assert stone_colour(picture, stone).hue == stone_colour(plain(20, 40, 160), EVERYWHERE).hue


def test_nothing_seen_is_refused() -> None:
    with pytest.raises(MeasurementError, match="check its outline"):
        stone_colour(plain(1, 2, 3), np.zeros((120, 120), np.bool_))


def test_unevenness_is_the_difference_of_two_halves() -> None:
    picture = plain(150, 40, 60)
    picture[:, 60:] = (150, 80, 60)
    found = stone_colour(picture, EVERYWHERE).unevenness
    halves = [stone_colour(plain(*rgb), EVERYWHERE).lab for rgb in ((150, 40, 60), (150, 80, 60))]
    assert found is not None
    assert found > 0.3 * delta_e_2000(halves[0], halves[1])
    assert stone_colour(plain(150, 40, 60), EVERYWHERE).unevenness == pytest.approx(0, abs=0.01)


def test_names_stand_at_the_published_places() -> None:
    """Kelly 1958, table of centroids, by the Munsell renotation of colour-science."""
    white_c = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
    for name, munsell in rows("iscc_nbs.csv")[::5]:
        value = float(munsell.replace("/", " ").split()[1])
        if value < 1:  # below the renotation
            continue
        xyy = colour_science.munsell_colour_to_xyY(munsell.replace("N ", "N"))
        xyz = colour_science.chromatic_adaptation(
            colour_science.xyY_to_XYZ(xyy),
            colour_science.xy_to_XYZ(white_c),
            colour_science.xy_to_XYZ(D65),
            transform="Bradford",
        )
        lightness, a, b = colour_science.XYZ_to_Lab(xyz, D65)
        assert colour_name((float(lightness), float(a), float(b))) == name


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("moderate blue", "436b95"),
        ("moderate red", "ab4e52"),
        ("deep red", "841b2d"),
        ("dark green", "1b4d3e"),
        ("strong purplish blue", "545aa7"),
        ("deep purplish red", "78184a"),
        ("light yellow", "f8de7e"),
        ("moderate yellow", "c9ae5d"),
        ("dark grayish blue", "36454f"),
        ("light gray", "b9b8b5"),
        ("medium gray", "848482"),
        ("black", "222222"),
    ],
)
def test_names_of_screen_colours(name: str, code: str) -> None:
    """Second source: sRGB centroids made from NBS Special Publication 440 (A. Jaffer, as kept in a library)."""
    rgb = [int(code[i : i + 2], 16) for i in (0, 2, 4)]
    assert stone_colour(plain(*rgb), EVERYWHERE).hue == name


def facets(seed: int) -> NDArray[np.float64]:
    """Stone of 100 facets in linear light."""
    light = np.random.default_rng(seed).uniform(0.02, 0.45, (10, 10, 3))
    return np.asarray(np.kron(light, np.ones((24, 24, 1))), np.float64)


def photograph(light: NDArray[np.float64]) -> NDArray[np.uint16]:
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(np.clip(value, 0, 1) * 65535).astype(np.uint16)


@given(st.floats(0.1, 1.0), st.floats(0.05, 0.9), st.floats(0.2, 0.8))
def test_haze_grows_with_the_veil_whatever_its_brightness(through: float, more: float, veil: float) -> None:
    """I' = I t + A (1 - t); the answer cannot fall as t falls."""
    stone = np.ones((240, 240), np.bool_)
    light, other = facets(1), facets(2)

    def haze(t: float) -> float:
        hazy, hazy_other = (x * t + veil * x.mean() * (1 - t) for x in (light, other))
        return stone_haze(photograph(hazy), stone, blue=photograph(hazy_other))

    assert haze(through * (1 - more)) > haze(through)


@pytest.mark.parametrize("stops", [-1, 1])
def test_haze_does_not_depend_on_exposure(stops: int) -> None:
    stone = np.ones((240, 240), np.bool_)
    once = stone_haze(photograph(facets(1)), stone, blue=photograph(facets(2)))
    light = 2.0**stops
    other = stone_haze(photograph(facets(1) * light), stone, blue=photograph(facets(2) * light))
    assert other == pytest.approx(once, abs=0.01)


@pytest.mark.parametrize("stone", ["r3001", "r3004"])
def test_haze_follows_rendered_haze_at_any_exposure(stone: str) -> None:
    """Stones of benchmarks/haze.py at optical depths 0, 0.1, 0.2, 0.4, 0.8 and 1.6, side by side, 160 px each."""
    white, blue = (
        np.asarray(Image.open(HAZE / f"{stone}-{lamp}.jpg").convert("RGB")) for lamp in ("white", "blue")
    )
    seen = white[:, 800:].max(axis=2) > 25  # the haziest is bright all over, and all have one outline

    def haze(k: int, stops: float, *, lamps: int = 2) -> float:
        tile = np.s_[:, 160 * k : 160 * (k + 1)]
        first, second = (photograph(srgb_to_linear(p[tile] / 255) * 2.0**stops) for p in (white, blue))
        return stone_haze(first, seen, blue=second if lamps == 2 else None)

    for lamps in (1, 2):
        values = [haze(k, 0, lamps=lamps) for k in range(6)]
        assert (np.diff(values) > 0).all(), values
    for k in range(6):
        for stops in (-1, 1):
            assert haze(k, stops) == pytest.approx(haze(k, 0), abs=0.035)


def test_haze_of_a_uniform_stone_is_one_and_of_a_black_and_white_one_nothing() -> None:
    stone = np.ones((240, 240), np.bool_)
    assert stone_haze(photograph(np.full((240, 240, 3), 0.2)), stone) == pytest.approx(1)
    checks = np.kron(np.indices((4, 4)).sum(0) % 2, np.ones((60, 60)))[..., None] * np.full(3, 0.5)
    assert stone_haze(photograph(checks), stone) < 0.02


def test_exposure_test_uses_the_standard_encoding() -> None:
    """IEC 61966-2-1: decoding gives back what was encoded."""
    light = np.linspace(0, 1, 50)
    np.testing.assert_allclose(srgb_to_linear(photograph(light) / 65535), light, atol=2e-5)


@needs_stones
@pytest.mark.parametrize(
    ("case", "words"), [("s01", "red"), ("s09", "blue"), ("s05", "green"), ("s04", "gray"), ("s10", "red")]
)
def test_stones_are_named_as_they_were_made(case: str, words: str) -> None:
    """The truth names the material's colour; a colourless stone shows as gray."""
    truth: dict[str, Any] = json.loads((STONES / case / "truth.json").read_text())
    white = np.asarray(Image.open(STONES / case / truth["images"]["white"]["image"]).convert("RGB"))
    mask = Image.new("1", (white.shape[1], white.shape[0]))
    ImageDraw.Draw(mask).polygon([tuple(p) for p in truth["stone"]["visible_outline_px"]], fill=1)
    found = stone_colour(white, np.asarray(mask, np.bool_))
    assert found.hue.endswith(words)
