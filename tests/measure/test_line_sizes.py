"""What is thought of a line at several sizes is averaged, and only along that line."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.line_scores import both_looks
from setstone.measure.line_sizes import NEAR, Look, pooled
from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

DIAMETER = 800.0
share = st.floats(0.001, 0.999)


def line(y: float, x0: float = 100.0, x1: float = 200.0) -> NDArray[np.float64]:
    x = np.arange(x0, x1)
    return np.column_stack([x, np.full(len(x), y)])


def look(*lines: tuple[NDArray[np.float64], float]) -> Look:
    return Look(tuple(path for path, _ in lines), np.array([score for _, score in lines]))


@given(share, share, share)
def test_the_mean_of_log_odds_counts(own: float, smaller: float, larger: float) -> None:
    """Of two looks it is the logarithmic pool (Genest & Zidek 1986); of three it lies between the least and the greatest."""
    here = look((line(50), own))
    two = pooled(here, [look((line(51), smaller))], DIAMETER)
    assert two == pytest.approx(both_looks(np.array([own]), np.array([smaller])))
    (three,) = pooled(here, [look((line(51), smaller)), look((line(49), larger))], DIAMETER)
    assert min(own, smaller, larger) - 1e-9 <= three <= max(own, smaller, larger) + 1e-9


@given(share, share)
def test_a_look_without_the_line_says_nothing_of_it(own: float, other: float) -> None:
    here = look((line(50), own))
    elsewhere = look((line(50 + 1.5 * NEAR * DIAMETER), other))
    for looks in ([], [look()], [elsewhere]):
        assert pooled(here, looks, DIAMETER) == pytest.approx([own])


def test_pieces_of_a_line_count_by_their_length() -> None:
    here = look((line(50), 0.5), (line(300), 0.5))
    pieces = look((line(50, 100, 120), 0.9), (line(50, 140, 200), 0.1))
    first, second = pooled(here, [pieces], DIAMETER)
    assert second == 0.5
    # 20 px and 2 px beyond each end for the one, 60 and as much for the other, as far as the line goes.
    weight = (20 + NEAR * DIAMETER) / (80 + 2 * NEAR * DIAMETER)
    odds = weight * np.log(0.9 / 0.1) + (1 - weight) * np.log(0.1 / 0.9)
    assert np.log(first / (1 - first)) == pytest.approx(odds / 2, abs=0.02)


def test_a_stone_without_lines_has_no_scores() -> None:
    assert pooled(look(), [look((line(50), 0.5))], DIAMETER).shape == (0,)


@given(st.floats(0.5, 2.0))
def test_a_resized_scene_shows_the_same_stone(factor: float) -> None:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    points = np.column_stack([60 + 40 * np.cos(angle), 50 + 40 * np.sin(angle)])
    y, x = np.mgrid[:100, :120]
    stone = np.hypot(x - 60, y - 50) < 40
    white = np.repeat((90 + 60 * stone).astype(np.uint8)[..., None], 3, 2)
    scene = Scene(white, None, Outline(points, np.ones(60, np.bool_), 0.5), stone, 3.0)
    resized, ratio = scene.resized(factor)
    assert resized.um_per_px is not None
    assert resized.diameter_px * resized.um_per_px == pytest.approx(scene.diameter_px * 3.0, rel=0.02)
    assert resized.outline.centre == pytest.approx((np.array([60, 50]) + 0.5) * ratio - 0.5, abs=0.5)
    assert resized.white is not None
    assert resized.white.shape[:2] == resized.stone.shape
    inside = resized.white[..., 0] > 120
    assert (inside == resized.stone).mean() > 0.97
    assert resized.blue is None
