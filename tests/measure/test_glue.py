"""The rim of a stone before and after the work: yellowness, residue, crazing, and when colours are not compared."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from setstone.measure.colour import xyz_of_light
from setstone.measure.errors import MeasurementError
from setstone.measure.glue import _NO_EXPOSURE, Occasion, glue_change, yellowness
from setstone.measure.light import srgb_to_linear

SIZE, RADIUS, CENTRE = 700, 240.0, 350.0
TURNS = np.linspace(0, 2 * np.pi, 360, endpoint=False)
GIRDLE = CENTRE + RADIUS * np.column_stack([np.cos(TURNS), np.sin(TURNS)])


def photograph(
    *,
    film: float = 0.0,
    light: float = 1.0,
    tint: tuple[float, float, float] = (1, 1, 1),
    spots: bool = False,
) -> NDArray[np.uint8]:
    """A grey stone in a grey metal; old glue over the outer `film` of its diameter, yellow and crazed."""
    y, x = np.mgrid[:SIZE, :SIZE]
    far = np.hypot(x - CENTRE, y - CENTRE)
    picture = np.where(far < RADIUS, 0.3, 0.4)[..., None] * np.ones(3)
    if film:
        rng = np.random.default_rng(1)
        seeds = np.full((SIZE, SIZE), 255, np.uint8)
        seeds[rng.integers(0, SIZE, 4000), rng.integers(0, SIZE, 4000)] = 0
        _, owner = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
        cracks = cv2.morphologyEx(owner.astype(np.float32), cv2.MORPH_GRADIENT, np.ones((3, 3))) > 0
        glued = (far < RADIUS) & (far > RADIUS * (1 - 2 * film))
        picture[glued] = (0.5, 0.4, 0.2)
        picture[glued & cracks] *= 0.5
    if spots:
        rng = np.random.default_rng(2)
        outside = far > RADIUS
        blotches = cv2.GaussianBlur(rng.normal(0, 1, (SIZE, SIZE, 3)), (0, 0), 12)
        picture[outside] *= np.exp(blotches * 25)[outside]
    picture = np.clip(picture * light * np.array(tint), 0, 1)
    encoded = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055)
    return np.round(255 * encoded).astype(np.uint8)


def occasion(white: NDArray[np.uint8], *, grey_card: bool = False) -> Occasion:
    """Photographs under white light only, five micrometres to the pixel."""
    return Occasion(white, None, 5.0, grey_card)


@pytest.mark.parametrize(
    ("xyz", "expected"),
    # The first is the test value of the library colour-science 0.4.7 (yellowness_ASTME313, D65, 2°); the next two follow
    # from the coefficients of ASTM E313-20; the last is the white itself.
    [
        ((95, 100, 105), 4.34),
        ((105, 100, 95), 28.66),
        ((100, 100, 100), 16.50),
        ((95.0456, 100, 108.9058), -0.028),
    ],
)
def test_yellowness_by_published_values(xyz: tuple[float, float, float], expected: float) -> None:
    assert_allclose(yellowness(np.array(xyz, float)), expected, atol=0.006)


def test_yellowness_as_an_independent_library_computes_it() -> None:
    colour = pytest.importorskip("colour", reason="colour-science is not installed")
    rng = np.random.default_rng(3)
    xyz = rng.uniform(20, 100, (50, 3))
    expected = colour.colorimetry.yellowness_ASTME313(xyz)
    assert_allclose([yellowness(one) for one in xyz], expected, atol=1e-6)


def test_yellowness_of_glue_as_srgb() -> None:
    """Yellowed glue of sRGB 230, 200, 120: 73.67, and new clear glue of 245, 244, 240: 3.57 (four-digit matrix of IEC 61966-2-1)."""
    light = srgb_to_linear(np.array([[230, 200, 120], [245, 244, 240]]) / 255)
    assert_allclose([yellowness(one) for one in xyz_of_light(light)], [73.67, 3.57], atol=0.05)


def test_nothing_changed_is_no_difference() -> None:
    white = photograph()
    change = glue_change(occasion(white), occasion(white), GIRDLE, np.eye(3))
    assert not change.declined
    assert change.difference is not None
    assert change.difference.value == pytest.approx(0, abs=1e-6)
    assert change.before.residue.value == change.after.residue.value == 0


def test_glue_gone() -> None:
    change = glue_change(occasion(photograph(film=0.06)), occasion(photograph()), GIRDLE, np.eye(3))
    assert change.reference == "metal"
    assert change.near_neutral
    assert change.before.yellowness is not None
    assert change.after.yellowness is not None
    assert change.before.yellowness.value > 50
    assert change.after.yellowness.value == pytest.approx(0, abs=1)
    assert change.before.residue.value > 0.5
    assert change.after.residue.value == 0
    assert change.before.crazing is not None
    assert change.after.crazing is not None
    assert change.before.crazing.value > 5
    assert change.after.crazing.value == 0
    assert change.difference is not None
    assert change.difference.value > 15


def test_a_lamp_of_one_day_only_does_not_count() -> None:
    glued = photograph(film=0.06)
    white = glue_change(occasion(glued), occasion(glued), GIRDLE, np.eye(3))
    with_blue = replace(occasion(glued), blue=photograph())
    change = glue_change(with_blue, occasion(glued), GIRDLE, np.eye(3))
    assert (change.before.crazing, change.before.residue) == (white.after.crazing, white.after.residue)


def test_exposure_and_white_balance_are_taken_out() -> None:
    """The same stone, two thirds of a stop darker and warmer: the metal tells."""
    other = photograph(light=0.63, tint=(1.15, 1, 0.85))
    change = glue_change(occasion(photograph()), occasion(other), GIRDLE, np.eye(3))
    assert change.difference is not None
    assert change.difference.value < 1  # just visible; eight bits are not finer


def test_a_turned_photograph_is_compared_place_by_place() -> None:
    matrix = cv2.getRotationMatrix2D((CENTRE, CENTRE), 33, 1)
    turned = cv2.warpAffine(photograph(film=0.06), matrix, (SIZE, SIZE), borderMode=cv2.BORDER_REPLICATE)
    back = np.linalg.inv(np.vstack([matrix, [0, 0, 1]]))
    change = glue_change(occasion(photograph(film=0.06)), occasion(turned.astype(np.uint8)), GIRDLE, back)
    assert change.difference is not None
    assert change.difference.value < 3


def test_metal_that_changed_declines_the_colours_only() -> None:
    change = glue_change(occasion(photograph(film=0.06)), occasion(photograph(spots=True)), GIRDLE, np.eye(3))
    assert "grey card" in change.declined
    assert change.difference is None
    assert change.before.yellowness is None
    assert change.before.residue.value > change.after.residue.value


def test_a_grey_card_makes_them_comparable() -> None:
    change = glue_change(
        occasion(photograph(), grey_card=True),
        occasion(photograph(spots=True), grey_card=True),
        GIRDLE,
        np.eye(3),
    )
    assert change.reference == "grey card"


def test_an_exposure_the_metal_cannot_tell_is_declined_with_what_to_do() -> None:
    bright = occasion(photograph(light=2.6), grey_card=True)  # the metal is clipped, the stone is not
    change = glue_change(bright, bright, GIRDLE, np.eye(3))
    assert change.declined == _NO_EXPOSURE


def test_an_exposure_of_which_the_metal_is_unsure_makes_the_difference_unsure() -> None:
    cards = occasion(photograph(), grey_card=True), occasion(photograph(spots=True), grey_card=True)
    sure, unsure = (glue_change(cards[0], other, GIRDLE, np.eye(3)).difference for other in cards)
    assert sure is not None
    assert unsure is not None
    assert unsure.u > 0.3
    assert sure.u < 0.05


@pytest.mark.parametrize("day", ["before", "after"])
def test_what_one_day_hides_has_neither_come_nor_gone(day: str) -> None:
    """Glue around half of the rim on both days, and on one of them that half is in glare."""
    half = photograph()
    half[:, : SIZE // 2] = photograph(film=0.06)[:, : SIZE // 2]
    glare = half.copy()
    glare[:, : SIZE // 2] = 255
    days = (glare, half) if day == "before" else (half, glare)
    change = glue_change(occasion(days[0]), occasion(days[1]), GIRDLE, np.eye(3))
    assert change.before.residue.value == change.after.residue.value < 0.05


def test_the_rim_of_a_square_stone_is_the_same_however_it_is_turned() -> None:
    square = CENTRE + RADIUS * np.array([[-0.8, -0.8], [0.8, -0.8], [0.8, 0.8], [-0.8, 0.8]])
    girdle = square[np.arange(4).repeat(90)] + np.linspace(0, 1, 90, endpoint=False).repeat(4).reshape(
        90, 4
    ).T.reshape(-1, 1) * (np.roll(square, -1, axis=0) - square).repeat(90, axis=0)
    matrix = cv2.getRotationMatrix2D((CENTRE, CENTRE), 45, 1)
    picture = photograph(film=0.1)
    turned = cv2.warpAffine(picture, matrix, (SIZE, SIZE), borderMode=cv2.BORDER_REPLICATE).astype(np.uint8)
    back = np.linalg.inv(np.vstack([matrix, [0, 0, 1]]))
    change = glue_change(occasion(picture), occasion(turned), girdle, back)
    assert change.after.residue.value == pytest.approx(change.before.residue.value, abs=0.05)
    assert change.difference is not None
    assert change.difference.value < 1.5
    assert change.before.yellowness is not None
    assert change.after.yellowness is not None
    assert change.after.yellowness.value == pytest.approx(change.before.yellowness.value, rel=0.05)


def test_far_apart_exposures_are_declined() -> None:
    change = glue_change(occasion(photograph()), occasion(photograph(light=0.1)), GIRDLE, np.eye(3))
    assert "two stops" in change.declined


def test_a_stone_outside_the_photograph() -> None:
    with pytest.raises(MeasurementError, match="whole girdle"):
        glue_change(occasion(photograph()), occasion(photograph()), GIRDLE + 5000, np.eye(3))
