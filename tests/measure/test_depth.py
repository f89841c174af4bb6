"""Depth hints from a series through the focus, against computed frames of known depth."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf

from setstone.measure.candidates import Candidate
from setstone.measure.depth import Index, sharpest, with_depths
from setstone.measure.errors import MeasurementError

Picture = NDArray[np.uint8]
STEP = 40.0  # µm
FRAMES = 9


def blur(frame: int, depth: float) -> float:
    """Width of the point spread, px: that of the lens and the circle of confusion, which grows with the distance."""
    return float(np.hypot(0.9, 1.1 * (frame - depth)))


def line_frames(depth: float, *, noise: float = 2.0, seed: int = 0, drift: float = 0.0) -> list[Picture]:
    """Bright line of 1 px (sigma) along x = 40.3, blurred as its depth says, with a dust line at frame 1 beside it."""
    rng = np.random.default_rng(seed)
    x = np.arange(120, dtype=float)[None, :] + np.zeros((80, 1))
    frames = []
    for k in range(FRAMES):
        grey = np.full(x.shape, 90.0)
        for at, z in ((40.3, depth), (85.0, 1.0)):
            width = np.hypot(1.0, blur(k, z))
            grey += 60 / width * np.exp(-((x - at - drift * k) ** 2) / 2 / width**2)
        grey += rng.normal(0, noise, grey.shape)
        frames.append(np.repeat(np.clip(np.round(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    return frames


def spot_frames(depth: float, radius: float = 9.0) -> list[Picture]:
    """Dark disc with an edge blurred as its depth says (error function of the distance to the edge)."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:80, :80].astype(float)
    inside = radius - np.hypot(x - 40, y - 40)
    frames = []
    for k in range(FRAMES):
        grey = 140 - 35 * (1 + erf(inside / np.sqrt(2) / blur(k, depth))) + rng.normal(0, 2, x.shape)
        frames.append(np.repeat(np.clip(np.round(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    return frames


def line(x: float) -> Candidate:
    return Candidate("line", np.column_stack([np.full(61, x), np.arange(10.0, 71)]), "blue", 0.5, (), 20.0)


def spot(radius: float = 9.0) -> Candidate:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return Candidate(
        "spot", 40 + radius * np.column_stack([np.cos(turn), np.sin(turn)]), "white", 0.5, (), -40.0
    )


@pytest.mark.parametrize("depth", [2.0, 3.37, 4.5, 6.81])
def test_the_depth_of_a_line_and_of_a_spot(depth: float) -> None:
    (found,) = with_depths([line(40.3)], line_frames(depth), step_um=STEP)
    below = found.sizes["below_first_frame"]
    assert below.value == pytest.approx(depth * STEP, abs=0.1 * STEP)
    assert abs(below.value - depth * STEP) <= below.expanded < 0.6 * STEP
    (found,) = with_depths([spot()], spot_frames(depth), step_um=-STEP)
    below = found.sizes["below_first_frame"]
    assert below.value == pytest.approx(-depth * STEP, abs=0.1 * STEP)


def test_stated_intervals_hold_the_truth() -> None:
    """Of 40 depths and noises about 95 % of the intervals (k = 2) hold the true depth (JCGM 100:2008, 6.3.3)."""
    rng = np.random.default_rng(7)
    within = 0
    for seed in range(40):
        depth = rng.uniform(1.5, 6.5)
        (found,) = with_depths(
            [line(40.3)], line_frames(depth, noise=rng.uniform(1, 8), seed=seed), step_um=STEP
        )
        below = found.sizes["below_first_frame"]
        within += abs(below.value - depth * STEP) <= below.expanded
    assert within >= 36


def test_what_lies_on_the_table_and_what_inside() -> None:
    inside, dust = with_depths(
        [line(40.3), line(85.0)],
        line_frames(4.6),
        step_um=STEP,
        table=1.0,
        index=Index(1.762, 1.770, "claimed: ruby"),
    )
    assert [r.code for r in (*inside.reasons, *dust.reasons)] == ["below-table", "at-table"]
    assert (inside.reasons[0].speaks_for, dust.reasons[0].speaks_for) == (True, False)
    # Straight through the table the true depth is n times the apparent one: 3.6 steps of 40 µm, times 1.766.
    assert inside.sizes["depth"].value == pytest.approx(3.6 * STEP * 1.766, rel=0.03)
    assert abs(inside.sizes["depth"].value - 3.6 * STEP * 1.766) <= inside.sizes["depth"].expanded
    assert "depth" not in dust.sizes
    assert "1.77 (claimed: ruby)" in inside.reasons[0].text
    (plain,) = with_depths([line(40.3)], line_frames(4.6), step_um=STEP, table=1.0)
    assert "depth" not in plain.sizes
    assert "times the refractive index" in plain.reasons[0].text
    (above,) = with_depths([line(85.0)], line_frames(4.6), step_um=STEP, table=5.0)
    assert above.reasons[0].code == "above-table"


def test_frames_that_moved() -> None:
    frames = line_frames(5.2, drift=0.8)
    motions = np.array([[[1, 0, 0.8 * k], [0, 1, 0]] for k in range(FRAMES)], float)
    (found,) = with_depths([line(40.3)], frames, step_um=STEP, motions=motions)
    assert found.sizes["below_first_frame"].value == pytest.approx(5.2 * STEP, abs=0.1 * STEP)


def test_no_depth_is_invented() -> None:
    beyond, nothing = with_depths([line(40.3), line(15.0)], line_frames(-2.0), step_um=STEP)
    assert not beyond.sizes
    assert not nothing.sizes
    peak, u = sharpest(np.ones((2, 5, FRAMES)))
    assert np.isnan(peak).all()
    assert np.isnan(u).all()
    assert with_depths([], line_frames(2.0), step_um=STEP) == ()
    with pytest.raises(MeasurementError, match="at least 5 frames"):
        with_depths([line(40.3)], line_frames(2.0)[:4], step_um=STEP)
    with pytest.raises(MeasurementError, match="other than zero"):
        with_depths([line(40.3)], line_frames(2.0), step_um=0.0)


def test_a_line_that_runs_downwards_says_so_by_its_uncertainty() -> None:
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:80, :80].astype(float)
    frames = []
    for k in range(FRAMES):
        width = np.hypot(1.0, np.hypot(0.9, 1.1 * (k - 4 - (y - 40) / 15)))
        grey = 90 + 60 / width * np.exp(-((x - 40.3) ** 2) / 2 / width**2) + rng.normal(0, 2, x.shape)
        frames.append(np.repeat(np.round(grey).astype(np.uint8)[..., None], 3, axis=2))
    (steep,) = with_depths([line(40.3)], frames, step_um=STEP)
    (level,) = with_depths([line(40.3)], line_frames(4.0), step_um=STEP)
    assert steep.sizes["below_first_frame"].u > 3 * level.sizes["below_first_frame"].u
