"""What looks like a fissure and is none: each is listed with a low score and with the reason that names it.

Drawn on a wheel of facets of known course, after the list of what misleads in a set stone: facet junctions, glints, dust
and fibres, scratches, the rim with setting and glue. Those of spots are in test_judge_spots.py, what the depth tells of
dust in test_depth.py.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure import judge_lines as judging
from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.judge_lines import OFF_MAP, judge_lines
from setstone.measure.light import Pixels
from setstone.measure.outline import Outline
from setstone.measure.scene import Scene

SIZE, RADIUS, UM_PER_PX, FACETS = 600, 270.0, 4.0, 12
MIDDLE = (SIZE - 1) / 2
#: Drawn so many times finer and averaged, so that edges lie between pixels.
FINE = 4

Points = NDArray[np.float64]


class Stroke(NamedTuple):
    """A drawn line: course in pixels, width in pixels, colour."""

    course: Points
    width: float
    colour: tuple[int, int, int]


def polar(radius: float, degrees: float) -> tuple[float, float]:
    turn = math.radians(degrees)
    return MIDDLE + radius * math.cos(turn), MIDDLE + radius * math.sin(turn)


def straight(one: tuple[float, float], other: tuple[float, float]) -> Points:
    return np.linspace(one, other, 50)


def curved(radii: tuple[float, float], degrees: tuple[float, float], bend: float = 0.0) -> Points:
    steps = np.linspace(0, 1, 60)
    return np.array(
        [
            polar(np.interp(u, [0, 1], radii), np.interp(u, [0, 1], degrees) + bend * math.sin(2 * u))
            for u in steps
        ]
    )


def waving(radius: float, height: float, degrees: tuple[float, float], waves: float) -> Points:
    """Round the middle, in and out by so many pixels."""
    return np.array(
        [
            polar(radius + height * math.sin(math.radians(waves * (turn - degrees[0]))), turn)
            for turn in np.linspace(*degrees, 100)
        ]
    )


#: Two pictures of what misleads, by the code of the reason that names it. All are seen in both lights.
PICTURES = (
    {
        "glint": Stroke(straight(polar(90, 15), polar(180, 15)), 3, (255, 255, 255)),
        # A fibre that lies across the setting as well.
        "outside": Stroke(curved((150, 300), (80, 80), 3), 1.6, (200, 210, 220)),
        "scratch": Stroke(straight(polar(220, 150), polar(200, 250)), 1.2, (150, 160, 190)),
        "rim": Stroke(curved((264, 264), (280, 320)), 2, (150, 170, 220)),
        "facet-edge": Stroke(straight(polar(60, 330), polar(250, 330)), 1.2, (120, 140, 180)),
    },
    {
        # A fibre on the stone alone.
        "surface": Stroke(waving(150, 25, (95, 165), 4), 1.6, (200, 210, 220)),
        # The edge of old glue, uneven, along the girdle.
        "rim": Stroke(waving(258, 2.5, (185, 225), 19), 2.5, (180, 190, 160)),
        # A reflected lamp.
        "band": Stroke(straight(polar(100, 285), polar(180, 292)), 12, (200, 205, 230)),
    },
)
#: Which of them, and how many times brighter its blue channel is made: at four times most of the stone is clipped there.
LIT = [(0, 1.0), (1, 1.0), (0, 4.0)]
#: In blue light alone, and within one facet.
FISSURE = Stroke(curved((120, 180), (40, 40), 9), 1.4, (110, 130, 200))


def photograph(strokes: Sequence[Stroke], tint: tuple[float, float, float], seed: int) -> Pixels:
    rng = np.random.default_rng(1)
    picture = np.full((SIZE * FINE, SIZE * FINE, 3), 35, np.uint8)
    middle = SIZE * FINE / 2
    for k in range(FACETS):
        turn = 2 * math.pi * np.array([k, k + 1]) / FACETS
        rim = middle + RADIUS * FINE * np.column_stack([np.cos(turn), np.sin(turn)])
        tone = rng.uniform(70, 170)
        wedge = np.vstack([[[middle, middle]], rim]).astype(np.int32)
        cv2.fillPoly(picture, [wedge], tuple(tone * share for share in tint))
    for stroke in strokes:
        course = np.rint((stroke.course + 0.5) * FINE - 0.5).astype(np.int32)
        cv2.polylines(picture, [course], False, stroke.colour, round(stroke.width * FINE))
    small = cv2.resize(picture, (SIZE, SIZE), interpolation=cv2.INTER_AREA).astype(np.float32)
    noise = np.random.default_rng(seed).normal(0, 1.5, small.shape)
    return np.clip(np.rint(1.2 * cv2.GaussianBlur(small, (0, 0), 0.6) + noise), 0, 255).astype(np.uint8)


@cache
def scene(at: int = 0) -> Scene:
    strokes = list(PICTURES[at].values())
    turn = np.linspace(0, 2 * math.pi, 360, endpoint=False)
    outline = MIDDLE + RADIUS * np.column_stack([np.cos(turn), np.sin(turn)])
    ys, xs = np.mgrid[:SIZE, :SIZE]
    return Scene(
        white=photograph(strokes, (1.0, 0.4, 0.45), 2),
        blue=photograph([*strokes, FISSURE], (0.15, 0.22, 0.5), 3),
        outline=Outline(outline, np.ones(360, np.bool_), 0.5),
        stone=np.hypot(xs - MIDDLE, ys - MIDDLE) < RADIUS - 1,
        um_per_px=UM_PER_PX,
    )


def lies_on(candidate: Candidate, course: Points) -> bool:
    away = np.asarray(cKDTree(course).query(candidate.path)[0])
    return float((away < 4).mean()) > 0.7


def along(stroke: Stroke, candidates: Sequence[Candidate]) -> Candidate:
    """The longest candidate that lies on a stroke."""
    on = [c for c in candidates if lies_on(c, stroke.course)]
    return max(on, key=lambda c: len(c.path))


@cache
def judged(at: int, blue_gain: float = 1.0) -> tuple[Candidate, ...]:
    drawn = scene(at)
    assert drawn.blue is not None
    brighter = np.clip(drawn.blue * np.array([1, 1, blue_gain]), 0, 255).astype(np.uint8)
    return judge_lines(replace(drawn, blue=brighter))


@pytest.mark.parametrize(
    ("at", "blue_gain", "code"), [(*lit, code) for lit in LIT for code in PICTURES[lit[0]]]
)
def test_what_is_no_fissure_stays_with_a_low_score_and_its_name(at: int, blue_gain: float, code: str) -> None:
    candidate = along(PICTURES[at][code], judged(at, blue_gain))
    assert candidate.score < LIKELY
    assert code in {reason.code for reason in candidate.reasons if not reason.speaks_for}


@pytest.mark.parametrize(("at", "blue_gain"), LIT)
def test_a_fissure_among_them_is_thought_most_likely(at: int, blue_gain: float) -> None:
    candidates = judged(at, blue_gain)
    assert along(FISSURE, candidates) is candidates[0]
    assert {"one-lamp", "bent"} <= {reason.code for reason in candidates[0].reasons if reason.speaks_for}


def test_clipped_blue_is_clipped() -> None:
    drawn = scene()
    assert drawn.blue is not None
    assert (drawn.blue[..., 2][drawn.stone] >= 255 / LIT[-1][1]).mean() > 0.7


def test_steps_between_facets_are_no_candidates() -> None:
    # Edges of the wheel without a stroke on them, away from the culet.
    found = [c for c in judged(0) if c.score >= LIKELY]
    for k in range(FACETS):
        edge = straight(polar(60, 30 * k), polar(250, 30 * k))
        assert not [c for c in found if lies_on(c, edge)]


def test_what_the_map_of_lines_does_not_bear_out_counts_half(monkeypatch: pytest.MonkeyPatch) -> None:
    before = judge_lines(scene())
    assert not any("off-map" in {r.code for r in c.reasons} for c in before if c.score >= LIKELY)
    monkeypatch.setattr(judging, "LEAST_ON_MAP", 1.1)
    after = judge_lines(scene())
    assert [c.score for c in after] == pytest.approx([OFF_MAP * c.score for c in _all_borne_out(monkeypatch)])
    assert all("off-map" in {r.code for r in c.reasons} for c in after)


def _all_borne_out(monkeypatch: pytest.MonkeyPatch) -> tuple[Candidate, ...]:
    monkeypatch.setattr(judging, "LEAST_ON_MAP", 0.0)
    return judge_lines(scene())
