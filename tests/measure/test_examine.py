"""The chain on the sample images, whole and maimed."""

import math
from dataclasses import replace
from functools import cache
from importlib import import_module
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from setstone.capture.open import open_photograph
from setstone.measure.errors import MeasurementError
from setstone.measure.examine import examine
from setstone.measure.scale import Scale
from setstone.sample_images import sample_stones

examine_module = import_module("setstone.measure.examine")

#: Truth of the computed stone lid-8, as received: µm per pixel, mean diameter in mm.
UM_PER_PX, MEAN_MM = 3.028, 2.80171


@cache
def pictures() -> tuple[NDArray[Any], NDArray[Any]]:
    folder = sample_stones()[2].folder
    return (
        open_photograph(folder / "before_white.jpg").pixels,
        open_photograph(folder / "before_blue.jpg").pixels,
    )


def test_a_pair_of_photographs_is_examined_whole() -> None:
    steps: list[str] = []
    result = examine(*pictures(), progress=steps.append)
    assert result.scale is not None
    assert result.scale.um_per_px == pytest.approx(UM_PER_PX, rel=0.005)
    assert result.diameters is not None
    assert result.diameters.mean.value == pytest.approx(MEAN_MM, rel=0.01)
    assert result.colour is not None
    assert result.flags == ()
    assert [c.score for c in result.candidates] == sorted((c.score for c in result.candidates), reverse=True)
    assert all(0 <= c.score <= 1 and c.reasons and c.sizes for c in result.candidates)
    assert steps[0] == "reading the scale"


def test_a_girdle_that_cannot_be_told_gets_a_sentence_and_no_diameter(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The expanded uncertainty of the mean diameter is beyond a tenth of it."""
    _, blue = pictures()
    outline = examine_module.find_girdle(blue)
    assert outline is not None
    for share, given in ((0.02, True), (0.06, False)):
        doubtful = replace(outline, u_px=share * MEAN_MM * 1000 / UM_PER_PX / 2)
        monkeypatch.setattr(examine_module, "find_girdle", lambda _pixels, found=doubtful: found)
        result = examine(None, blue)
        assert result.outline is not None
        assert (result.diameters is not None) == given
        assert ("girdle-unsure" in [f.code for f in result.flags]) != given
    (told,) = (f.text for f in result.flags if f.code == "girdle-unsure")
    assert "photograph it under white light" in told


def test_the_same_photographs_give_the_same_result() -> None:
    first, second = examine(*pictures()), examine(*pictures())
    assert first.diameters == second.diameters
    assert [c.score for c in first.candidates] == [c.score for c in second.candidates]


def test_plain_rules_score_the_same_candidates_otherwise() -> None:
    trained, plain = examine(*pictures()), examine(*pictures(), learned=False)
    assert (plain.scale, plain.diameters, plain.colour) == (trained.scale, trained.diameters, trained.colour)
    best = max((c for c in plain.candidates if c.kind == "line"), key=lambda c: c.score)
    assert any(r.speaks_for for r in best.reasons)
    assert [c.score for c in plain.candidates] != [c.score for c in trained.candidates]


def test_one_thread_and_two_give_the_same_result() -> None:
    two = examine(*pictures(), threads=2)
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        one = examine(*pictures(), threads=1)
    finally:
        cv2.setNumThreads(before)
    assert (one.scale, one.diameters, one.colour) == (two.scale, two.diameters, two.colour)
    assert one.outline is not None
    assert two.outline is not None
    np.testing.assert_array_equal(one.outline.points, two.outline.points)
    for a, b in zip(one.candidates, two.candidates, strict=True):
        assert (a.kind, a.score, a.contrast, a.reasons, a.sizes) == (
            b.kind,
            b.score,
            b.contrast,
            b.reasons,
            b.sizes,
        )
        np.testing.assert_array_equal(a.path, b.path)


def test_more_pixels_of_the_same_stone_change_little() -> None:
    """A camera of three times the pixels a side: the same stone, sizes and best candidates."""
    small = examine(*pictures(), scale=Scale(UM_PER_PX, 0.01, "given"))
    enlarged = [cv2.resize(p, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC) for p in pictures()]
    large = examine(enlarged[0], enlarged[1], scale=Scale(UM_PER_PX / 3, 0.01 / 3, "given"))
    assert small.diameters is not None
    assert large.diameters is not None
    assert large.diameters.mean.value == pytest.approx(small.diameters.mean.value, rel=0.002)
    assert small.colour is not None
    assert large.colour is not None
    np.testing.assert_allclose(large.colour.lab, small.colour.lab, atol=0.5)
    # A line may end elsewhere, and so have its middle elsewhere: it lies on one of the large ones.
    places = np.concatenate([c.path for c in large.candidates if c.score > 0.1])
    for candidate in [c for c in small.candidates if c.score > 0.6]:
        there = 3 * (np.array(candidate.position) + 0.5) - 0.5
        assert np.hypot(*(places - there).T).min() < 20


def test_a_round_stone_seen_aslant_is_asked_about() -> None:
    """Squeezed by the cosine of 20 degrees, as a girdle tilted so far is seen."""
    aslant = [
        cv2.resize(p, None, fx=1, fy=math.cos(math.radians(20)), interpolation=cv2.INTER_AREA)
        for p in pictures()
    ]
    flags = {f.code: f.text for f in examine(aslant[0], aslant[1]).flags}
    assert "leans by 20°" in flags["perhaps-tilted"] or "leans by 19°" in flags["perhaps-tilted"]


def test_a_blue_photograph_of_half_the_size_agrees() -> None:
    white, blue = pictures()
    small = cv2.resize(blue, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    result = examine(white, small)
    assert result.flags == ()
    # Half a pixel before the first: a point p of the half-size picture lies at 2 p + 0.5.
    seen = result.seen_in("blue", np.array([[400.5, 300.5]]))
    assert seen is not None
    np.testing.assert_allclose(seen, [[200, 150]], atol=1.0)


def test_lengths_inside_the_stone_hold_the_doubt_about_scale_and_tilt(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """JCGM 100:2008, 5.1.2: each adds as squares do to what is there without it."""
    exact = Scale(UM_PER_PX, 0.0, "given")
    level, scaled = (
        examine(*pictures(), scale=replace(exact, u_um_per_px=u * UM_PER_PX)) for u in (0.0, 0.01)
    )
    monkeypatch.setattr(examine_module, "SHORTENING", 0.02)
    leaning = examine(*pictures(), scale=exact)
    for one, other, third in zip(level.candidates, scaled.candidates, leaning.candidates, strict=True):
        for name, size in one.sizes.items():
            if size.unit:
                assert other.sizes[name].u == pytest.approx(math.hypot(size.u, 0.01 * size.value))
                assert third.sizes[name].u == pytest.approx(math.hypot(size.u, 0.02 * size.value), rel=1e-2)
                assert third.sizes[name].u > size.u or not size.value


def test_what_is_given_goes_before_what_is_read_and_a_contradiction_is_said() -> None:
    result = examine(*pictures(), scale=Scale(4.0, 0.01, "given"))
    assert result.scale is not None
    assert result.scale.um_per_px == 4.0
    assert [f.code for f in result.flags] == ["scales-disagree"]


def test_blue_light_of_another_stone_is_not_laid_on() -> None:
    white, _ = pictures()
    other = open_photograph(sample_stones()[0].folder / "before_blue.jpg").pixels
    result, alone = examine(white, other), examine(white, None)
    assert "not-aligned" in {f.code for f in result.flags}
    assert result.blue_to_white is None
    assert result.seen_in("blue", np.zeros((1, 2))) is None
    assert [(c.lamp, c.score) for c in result.candidates] == [(c.lamp, c.score) for c in alone.candidates]


@pytest.mark.parametrize("size", [(1, 1), (20, 20), (3, 500), (300, 300)])
def test_where_no_stone_can_be_a_sentence_says_so(size: tuple[int, int]) -> None:
    noise = np.random.default_rng(0).integers(0, 255, (*size, 3), dtype=np.uint8)
    with pytest.raises(MeasurementError, match="stone"):
        examine(noise, None)


def test_without_photographs_a_sentence_says_so() -> None:
    with pytest.raises(MeasurementError, match="no photograph"):
        examine(None, None)


@pytest.mark.parametrize(
    "wrong",
    [
        np.zeros((90, 90), np.uint8),
        np.zeros((90, 90, 1), np.uint8),
        np.zeros((90, 90, 4), np.uint8),
        np.zeros((90, 90, 3), np.float32),
        np.zeros((90, 90, 3), np.int64),
        np.zeros((0, 0, 3), np.uint8),
        np.zeros((1, 1, 3), np.uint8),
    ],
    ids=lambda a: f"{a.dtype} {a.shape}",
)
@pytest.mark.parametrize("lamp", ["white", "blue"])
def test_of_what_is_no_photograph_a_sentence_says_so_beside_a_good_one_too(
    wrong: NDArray[Any], lamp: str
) -> None:
    white, blue = pictures()
    with pytest.raises(MeasurementError, match=f"under {lamp} light"):
        examine(*((wrong, blue) if lamp == "white" else (white, wrong)))


def test_a_long_strip_ends_in_a_sentence() -> None:
    strip = np.random.default_rng(0).integers(0, 255, (20000, 64, 3), dtype=np.uint8)
    with pytest.raises(MeasurementError, match="No stone"):
        examine(strip, pictures()[1])
