"""A stone's fingerprint does not depend on how it is turned, placed, lit or enlarged; two stones differ."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from setstone.measure.candidates import Candidate
from setstone.measure.errors import MeasurementError
from setstone.measure.fingerprint import (
    ORDERS,
    RADII,
    Fingerprint,
    Likeness,
    fingerprint,
    likeness,
    likeness_of_waves,
)
from setstone.measure.outline import Outline
from setstone.measure.same_stone import LEAST, MOST, Strength, meaning, same_stone, weighed

TURNS = np.linspace(0, 2 * np.pi, 180, endpoint=False)
ROUND = np.column_stack([np.cos(TURNS), np.sin(TURNS)])


def stone(seed: int, findings: int = 4) -> tuple[list[Candidate], NDArray[np.float64]]:
    """Candidates of a made-up stone in girdle radii, and the corners of its facets."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(findings):
        start, way = rng.uniform(-0.55, 0.55, 2), rng.uniform(0, 2 * np.pi)
        if k % 2:
            path = start + 0.02 * ROUND
            found.append(Candidate("spot", path, "white", 0.8, (), -20.0))
        else:
            along = np.linspace(0, 0.4, 30)[:, None]
            path = start + along * (np.cos(way), np.sin(way))
            found.append(Candidate("line", path, "blue", 0.8, (), 20.0))
    return found, rng.uniform(-0.8, 0.8, (12, 3, 2))


def seen(
    made: tuple[list[Candidate], NDArray[np.float64]],
    *,
    turn: float = 0.0,
    radius: float = 200.0,
    centre: tuple[float, float] = (320.0, 300.0),
    light: float = 1.0,
) -> Fingerprint:
    """Photograph it: turned by degrees from x towards y, enlarged, moved, lit."""
    angle = np.radians(turn)
    matrix = radius * np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    candidates, facets = made
    moved = [Candidate(c.kind, c.path @ matrix + centre, c.lamp, c.score, (), c.contrast) for c in candidates]
    picture = np.full((600, 640, 3), 70 * light, np.uint8)
    for k, corners in enumerate(facets):
        cv2.fillPoly(
            picture, [np.rint(corners @ matrix + centre).astype(np.int32)], (light * (40 + 12 * k),) * 3
        )
    noisy = picture + np.random.default_rng(5).normal(0, 3, picture.shape)
    outline = Outline(ROUND @ matrix + centre, np.ones(len(ROUND), np.bool_), 1.0)
    return fingerprint(outline, moved, np.clip(noisy, 0, 255).astype(np.uint8), None)


@pytest.mark.parametrize("turn", [0, 33, 151, 290])
def test_turned_moved_enlarged_and_darker_it_is_the_same(turn: float) -> None:
    made = stone(1)
    one, other = seen(made), seen(made, turn=turn, radius=231, centre=(300, 310), light=0.6)
    (found,) = likeness(one, [other])
    assert min(found.layers[:3]) > 0.6
    assert (found.turn_deg + turn + 3) % 360 == pytest.approx(3, abs=2)
    assert same_stone(one, other).strength is Strength.STRONG


def test_the_turn_as_an_independent_library_finds_it() -> None:
    """scikit-image's phase correlation of the polar pictures of the candidates, along the angle."""
    made = stone(2, 6)
    one, other = seen(made), seen(made, turn=47)
    (found,) = likeness(one, [other])
    angles = np.arange(360) * np.pi / 180
    waves = np.exp(1j * np.outer(np.arange(-ORDERS, ORDERS + 1), angles))
    polar = [np.abs(p.waves[1] @ waves) for p in (one, other)]
    shift, _, _ = phase_cross_correlation(*polar, normalization=None)
    assert found.turn_deg % 360 == pytest.approx(float(shift[1]) % 360, abs=3)


def test_no_two_of_many_stones_are_taken_for_one() -> None:
    prints = [seen(stone(k), turn=29 * k) for k in range(12)]
    for k, one in enumerate(prints):
        for other in prints[:k]:
            assert same_stone(one, other).strength in (Strength.OPEN, Strength.AGAINST)


def test_a_clean_stone_cannot_be_told() -> None:
    made = stone(3, 0)
    result = same_stone(seen(made), seen(made, turn=12))
    assert result.strength is Strength.OPEN
    assert result.likelihood_ratio == 1
    assert "no likely finding" in result.why
    assert "do not decide" in meaning(result)


def test_two_findings_are_not_enough_for_a_strong_word() -> None:
    most = Likeness((1, 1, 1, 1), 0)
    assert weighed(most, 2).strength is Strength.SOME
    assert weighed(most, 3).strength is Strength.STRONG


@pytest.mark.parametrize(("lights", "words"), [(1, "Only one light"), (0, "No light")])
def test_without_both_lights_in_common_unlikeness_says_nothing(lights: int, words: str) -> None:
    unlike = Likeness((0, 0, 0, 0), 0)
    assert weighed(unlike, 3).strength is Strength.AGAINST
    result = weighed(unlike, 3, lights=lights)
    assert (result.strength, result.likelihood_ratio) == (Strength.OPEN, 1.0)
    assert words in result.why


def test_no_more_is_claimed_than_was_compared() -> None:
    assert weighed(Likeness((1, 1, 1, 1), 0), 3).likelihood_ratio == MOST
    assert weighed(Likeness((-1, -1, -1, -1), 0), 3).likelihood_ratio == LEAST
    assert "at least 1,000" in meaning(weighed(Likeness((1, 1, 1, 1), 0), 3))


def test_many_at_once_are_as_one_by_one() -> None:
    prints = [seen(stone(k)) for k in range(5)]
    layers, turns = likeness_of_waves(prints[0].waves, np.stack([p.waves for p in prints]))
    for k, other in enumerate(prints):
        (found,) = likeness(prints[0], [other])
        assert found.layers == pytest.approx(layers[k], abs=1e-4)
        assert found.turn_deg == turns[k]
    assert likeness(prints[0], []) == ()


def test_an_outline_of_nothing_is_refused() -> None:
    flat = Outline(np.zeros((8, 2)), np.ones(8, np.bool_), 1.0)
    with pytest.raises(MeasurementError, match="draw it again"):
        fingerprint(flat, [], None, None)


def test_rings_stay_inside_the_rim() -> None:
    """Glue and setting change at the rim; it must not count."""
    assert RADII.max() < 0.95
