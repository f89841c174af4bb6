"""Judging spots: opaque bodies against facets, noise and dust, on pictures whose truth is known."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.judge_spots import judge_spots, weigh
from setstone.measure.light import Pixels
from setstone.measure.outline import Outline
from setstone.measure.scene import Scene
from setstone.measure.spot_features import NAMES

SIZE, RADIUS, UM_PER_PX = 500, 230, 4.0


def stone(bodies: tuple[tuple[float, float, float], ...] = (), *, facets: int = 12, seed: int = 1) -> Scene:
    """A ruby-red wheel of facets of different tone, with black discs in it, softened and with noise."""
    rng = np.random.default_rng(seed)
    fine = 4  # drawn four times finer and averaged, so that edges lie between pixels
    picture = np.full((SIZE * fine, SIZE * fine, 3), 30, np.uint8)
    middle = SIZE * fine / 2
    for k in range(facets):
        turn = 2 * math.pi * np.array([k, k + 1]) / facets
        rim = middle + RADIUS * fine * np.column_stack([np.cos(turn), np.sin(turn)])
        tone = rng.uniform(70, 230)
        wedge = np.vstack([[[middle, middle]], rim]).astype(np.int32)
        cv2.fillPoly(picture, [wedge], (tone, 0.3 * tone, 0.35 * tone))
    for x, y, diameter in bodies:
        at = (round((x + 0.5) * fine - 0.5), round((y + 0.5) * fine - 0.5))
        cv2.circle(picture, at, round(diameter * fine / 2), (34, 30, 28), -1)
    small = cv2.resize(picture, (SIZE, SIZE), interpolation=cv2.INTER_AREA).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 0.6) + rng.normal(0, 1.5, small.shape)
    white = np.clip(np.round(small), 0, 255).astype(np.uint8)
    ys, xs = np.mgrid[:SIZE, :SIZE]
    turn = np.linspace(0, 2 * math.pi, 90, endpoint=False)
    points = (SIZE - 1) / 2 + RADIUS * np.column_stack([np.cos(turn), np.sin(turn)])
    return Scene(
        white=white,
        blue=np.ascontiguousarray(white[..., ::-1]),
        outline=Outline(points, np.ones(90, np.bool_), 0.5),
        stone=np.hypot(xs - (SIZE - 1) / 2, ys - (SIZE - 1) / 2) < RADIUS - 4,
        um_per_px=UM_PER_PX,
    )


#: In the middle of facets of the wheel above, well inside.
BODIES = tuple(
    (SIZE / 2 + r * math.cos(a), SIZE / 2 + r * math.sin(a), d)
    for r, a, d in ((150, math.pi / 12, 12.0), (160, 7 * math.pi / 12, 9.0), (140, 15 * math.pi / 12, 14.0))
)


def believed(scene: Scene) -> list[Candidate]:
    return [c for c in judge_spots(scene) if c.score >= 0.5]


def test_bodies_in_facets_are_found_and_facets_are_not() -> None:
    found = believed(stone(BODIES))
    assert len(found) == len(BODIES)
    for x, y, diameter in BODIES:
        near = min(found, key=lambda c: math.dist(c.position, (x, y)))
        assert math.dist(near.position, (x, y)) < 1
        size = near.sizes["diameter"]
        assert size.unit == "µm"
        assert abs(size.value - diameter * UM_PER_PX) < max(size.expanded, 0.1 * diameter * UM_PER_PX)
        assert near.contrast < 0
        assert near.kind == "spot"
        assert near.lamp == "white"


def test_nothing_in_a_clean_stone_is_a_result() -> None:
    assert believed(stone()) == []


def test_an_even_picture_has_no_candidates() -> None:
    scene = stone()
    plain = np.full((SIZE, SIZE, 3), 128, np.uint8)
    assert judge_spots(replace(scene, white=plain, blue=plain)) == ()


@pytest.mark.parametrize("half", [6, 8, 10])
def test_a_dark_triangle_is_found_called_angular_and_not_believed(half: int) -> None:
    scene = stone(BODIES)
    assert scene.white is not None
    white = scene.white.copy()
    x, y = SIZE // 2 - 140, SIZE // 2 + 36
    corners = np.array([[x - half, y + 0.75 * half], [x + half, y + 0.75 * half], [x, y - 1.1 * half]])
    cv2.fillPoly(white, [corners.astype(np.int32)], (70, 20, 24))
    candidates = judge_spots(replace(scene, white=white))
    (found,) = (c for c in candidates if math.dist(c.position, (x, y)) < 10)
    assert found.score < 0.25
    assert "angular" in {r.code for r in found.reasons if not r.speaks_for}
    # Beside it, the bodies are believed as before.
    assert sum(c.score >= 0.5 for c in candidates) == len(BODIES)


def beside(count: int) -> tuple[tuple[float, float, float], ...]:
    """So many discs of 9 px in one facet, 24 px apart."""
    x, y, _ = BODIES[0]
    return tuple((x + 24 * (k % 2) - 12, y + 24 * (k // 2) - 24, 9.0) for k in range(count))


def test_an_inclusion_seen_through_two_facets_is_counted_once() -> None:
    candidates = [c for c in judge_spots(stone(beside(2))) if c.sizes["diameter"].value > 6 * UM_PER_PX][:2]
    again = [c for c in candidates if "seen-again" in {r.code for r in c.reasons}]
    assert len(again) == 1
    (original,) = (c for c in candidates if c is not again[0])
    assert original.score > again[0].score


def test_pinpoints_close_together_are_a_cloud() -> None:
    candidates = [c for c in judge_spots(stone(beside(5))) if "cloud" in {r.code for r in c.reasons}]
    assert len(candidates) == 5
    assert all(any(r.code == "cloud" and "5 alike" in r.text for r in c.reasons) for c in candidates)


def test_dust_shines_under_blue_light_and_says_so() -> None:
    scene = stone(BODIES[:1])
    assert scene.white is not None
    assert scene.blue is not None
    white, blue = scene.white.copy(), (0.35 * scene.blue).astype(np.uint8)
    x, y = (round(v) for v in BODIES[1][:2])
    cv2.circle(white, (x, y), 4, (165, 58, 66), -1, cv2.LINE_AA)  # half of the light goes through
    cv2.circle(blue, (x, y), 4, (160, 170, 230), -1, cv2.LINE_AA)
    dusty = replace(scene, white=white, blue=blue)
    (found,) = (c for c in judge_spots(dusty) if math.dist(c.position, (x, y)) < 6)
    assert found.score < LIKELY
    assert "dust" in {r.code for r in found.reasons if not r.speaks_for}


@pytest.mark.parametrize("missing", ["white", "blue"])
def test_one_photograph_is_enough(missing: str) -> None:
    scene = stone(BODIES)
    # The test's blue photograph is the white one with red and blue exchanged: as good as it.
    candidates = judge_spots(replace(scene, **{missing: None}))  # type: ignore[arg-type]
    assert candidates
    assert {c.lamp for c in candidates} == {"blue" if missing == "white" else "white"}


def test_without_a_scale_there_are_no_micrometres() -> None:
    found = believed(replace(stone(BODIES), um_per_px=None))
    assert found
    assert all(set(c.sizes) == {"elongation"} for c in found)


def test_sixteen_bits_give_the_same_as_eight() -> None:
    scene = stone(BODIES)

    def deeper(pixels: Pixels | None) -> Pixels:
        assert pixels is not None
        return pixels.astype(np.uint16) * 257

    eight, sixteen = (
        judge_spots(scene),
        judge_spots(replace(scene, white=deeper(scene.white), blue=deeper(scene.blue))),
    )
    assert len(eight) == len(sixteen)
    assert np.allclose([c.position for c in eight], [c.position for c in sixteen], atol=0.05)
    assert [c.score for c in eight] == pytest.approx([c.score for c in sixteen], abs=0.02)


def test_every_candidate_says_what_its_score_rests_on() -> None:
    for candidate in judge_spots(stone(BODIES)):
        assert candidate.reasons
        assert 0 <= candidate.score <= 1
        # What it rests on comes first, what speaks against it last.
        sides = [r.speaks_for == (candidate.score >= 0.5) for r in candidate.reasons]
        assert sides[0]
        assert sides == sorted(sides, reverse=True)


def test_what_is_judged_in_one_light_alone_says_so() -> None:
    found = judge_spots(replace(stone(BODIES), white=None))
    assert found
    assert all("one-light" in {r.code for r in c.reasons} for c in found)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6), min_size=len(NAMES), max_size=len(NAMES)))
def test_scores_are_shares_whatever_the_features(values: list[float]) -> None:
    scores, summands = weigh(np.array([values], np.float64))
    assert 0 <= float(scores[0]) <= 1
    assert np.isfinite(summands).all()


@settings(max_examples=4, deadline=None)
@given(turns=st.integers(1, 3))
def test_a_turned_photograph_gives_the_same_spots(turns: int) -> None:
    scene = stone(BODIES)

    def turned(plane: NDArray[np.generic] | None) -> NDArray[np.generic] | None:
        return None if plane is None else np.ascontiguousarray(np.rot90(plane, turns))

    there = replace(scene, white=turned(scene.white), blue=turned(scene.blue), stone=turned(scene.stone))  # type: ignore[arg-type]
    assert len(believed(there)) == len(BODIES)
