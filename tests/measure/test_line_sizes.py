"""What is thought of a line at several sizes is averaged, and only along that line."""

from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.describe_lines import (
    describe_lines,
    describe_resized,
    maps_of_lines,
    straight_edges_of,
)
from setstone.measure.judge_lines import judge_lines
from setstone.measure.judge_lines import look as look_at
from setstone.measure.line_scores import both_looks
from setstone.measure.line_sizes import NEAR, SIZES, Look, pooled
from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

DIAMETER = 800.0
share = st.floats(0.001, 0.999)


def line(y: float, x0: float = 100.0, x1: float = 200.0) -> NDArray[np.float64]:
    x = np.arange(x0, x1)
    return np.column_stack([x, np.full(len(x), y)])


def look(*lines: tuple[NDArray[np.float64], float]) -> Look:
    scores = np.array([score for _, score in lines])
    return Look(tuple(path for path, _ in lines), np.ones(len(lines), np.bool_), scores)


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
    # Each piece counts as far as a point is near it: NEAR beyond its ends, but not beyond those of the line.
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


@cache
def stone_with_a_line(bright: bool, lamps: tuple[str, ...]) -> Scene:
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:240, :240]
    grey = 90 + 20 * (np.arctan2(y - 120, x - 120) // (np.pi / 4) % 2) + rng.normal(0, 2, (240, 240))
    curve = np.column_stack([np.linspace(80, 160, 200), 100 + 15 * np.sin(np.linspace(0, 3, 200))])
    drawn = np.zeros((240, 240), np.uint8)
    cv2.polylines(drawn, [np.rint(curve * 8).astype(np.int32)], False, (255,), 2, cv2.LINE_AA, 3)
    grey += (60 if bright else -60) * (drawn / 255.0)
    picture = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, 2)
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    points = np.column_stack([120 + 110 * np.cos(angle), 120 + 110 * np.sin(angle)])
    outline = Outline(points, np.ones(60, np.bool_), 0.5)
    photographs = {lamp: picture if lamp in lamps else None for lamp in ("white", "blue")}
    return Scene(**photographs, outline=outline, stone=np.hypot(x - 120, y - 120) < 108, um_per_px=4.0)


@pytest.mark.parametrize("size", SIZES)
def test_a_line_found_at_another_size_lies_where_it_is(size: float) -> None:
    scene = stone_with_a_line(True, ("white", "blue"))
    edges = straight_edges_of(scene)
    own, other = describe_lines(scene, edges).lines[0], describe_resized(scene, edges, size).lines[0]
    assert own.length_px > 60
    far = cKDTree(own.path).query(other.path)[0]
    assert np.sqrt(np.mean(far**2)) < 0.6
    assert np.median(other.width_px) == pytest.approx(np.median(own.width_px), abs=0.6)


def test_judging_takes_the_mean_of_three_sizes() -> None:
    scene = stone_with_a_line(True, ("white", "blue"))
    edges = straight_edges_of(scene)
    described, maps = describe_lines(scene, edges), maps_of_lines(scene)
    looks = [look_at(scene, edges, size) for size in SIZES]
    whole = judge_lines(scene)
    given_all = judge_lines(scene, described=described, looks=looks, maps=maps)
    alone = judge_lines(scene, described=described, looks=[], maps=maps)
    assert [c.score for c in whole] == [c.score for c in given_all]
    assert [c.score for c in whole] != [c.score for c in alone]


def test_a_dark_line_is_no_look_at_a_bright_one() -> None:
    """Under white light alone both are looked for; each has a flank of the other kind beside it."""
    here = Look((line(50),), np.array([True]), np.array([0.4]))
    dark = Look((line(51),), np.array([False]), np.array([0.9]))
    assert pooled(here, [dark], DIAMETER) == pytest.approx([0.4])
    scene = stone_with_a_line(False, ("white",))
    best = judge_lines(scene)[0]
    assert best.contrast < 0
    assert best.lamp == "white"
