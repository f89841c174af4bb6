"""Three-bar elements: pitches of the standard, bars drawn from exact error functions, an open photograph."""

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import erf

from setstone.measure.bars import three_bars, usaf_1951_pitch_um
from setstone.measure.errors import MeasurementError

TARGETS = Path(__file__).parents[3] / "shared" / "realdata" / "rulers-targets"

Box = tuple[float, float, float, float]


def drawn(
    pitch: float, *, turned: bool = False, degrees: float = 0.0, height: float = 60.0, noise: float = 2.0
) -> tuple[NDArray[np.float32], Box]:
    """Three bars with edges blurred by 0.9 px, and the box around them."""
    rng = np.random.default_rng(7)
    side = round(2.5 * pitch) + 41
    yy, xx = np.mgrid[:side, :side] - (side - 1) / 2 + 0.37
    t = math.radians(degrees)
    u, v = xx * math.cos(t) + yy * math.sin(t), -xx * math.sin(t) + yy * math.cos(t)

    def slab(w: NDArray[np.float64], half: float) -> NDArray[np.float64]:
        return np.asarray(
            (erf((w + half) / (0.9 * math.sqrt(2))) - erf((w - half) / (0.9 * math.sqrt(2)))) / 2
        )

    bars = sum(slab(u - k * pitch, pitch / 4) for k in (-1, 0, 1)) * slab(v, 1.25 * pitch)
    plane = 80 + height * bars + rng.normal(0, noise, xx.shape)
    plane = plane.T if turned else plane
    half, middle = 1.25 * pitch, (side - 1) / 2 - 0.37
    return np.asarray(plane, np.float32), (middle - half, middle - half, middle + half, middle + half)


# Line pairs per millimetre as tabled in MIL-STD-150A (values as commonly reprinted; from memory).
@pytest.mark.parametrize(
    ("group", "element", "per_mm"),
    [(-2, 1, 0.250), (0, 1, 1.00), (0, 6, 1.78), (2, 4, 5.66), (4, 3, 20.16), (5, 5, 50.8), (7, 6, 228.1)],
)
def test_pitches_are_those_of_the_standard(group: int, element: int, per_mm: float) -> None:
    assert 1000 / usaf_1951_pitch_um(group, element) == pytest.approx(per_mm, rel=3e-3)


def test_there_is_no_seventh_element() -> None:
    with pytest.raises(MeasurementError, match="elements 1 to 6, not 7"):
        usaf_1951_pitch_um(4, 7)


@settings(max_examples=5, deadline=None)
@given(
    pitch=st.floats(9, 22),
    turned=st.booleans(),
    degrees=st.floats(-3, 3),
    bright=st.booleans(),
    jitter=st.floats(-0.06, 0.06),
)
def test_pitch_of_exact_bars(pitch: float, turned: bool, degrees: float, bright: bool, jitter: float) -> None:
    plane, (x0, y0, x1, y1) = drawn(pitch, turned=turned, degrees=degrees, height=60 if bright else -60)
    shift = jitter * pitch
    found = three_bars(plane, (x0 + shift, y0 - shift, x1 + 1.5 * shift, y1))
    assert found is not None
    assert abs(found.pitch_px.value - pitch) <= 4 * found.pitch_px.u
    assert found.pitch_px.value == pytest.approx(pitch, rel=4e-3)
    assert found.angle_deg == pytest.approx(90 - degrees if turned else degrees, abs=0.5)


def test_exposure_does_not_move_the_pitch() -> None:
    plane, box = drawn(20.0, noise=0.5)
    fat = np.clip(3 * (plane - 80), 0, 60).astype(np.float32)
    thin, wide = three_bars(plane, box), three_bars(fat, box)
    assert thin is not None
    assert wide is not None
    assert wide.width_px > thin.width_px + 0.3
    assert wide.pitch_px.value == pytest.approx(thin.pitch_px.value, abs=0.03)


@pytest.mark.parametrize("kind", ["noise", "flat", "one step", "tiny"])
def test_nothing_is_read_where_there_are_no_bars(kind: str) -> None:
    plane = np.random.default_rng(0).normal(90, 5, (80, 80)).astype(np.float32)
    if kind == "flat":
        plane[:] = 90
    if kind == "one step":
        plane[:, 40:] += 60
    box = (20.0, 20.0, 24.0, 24.0) if kind == "tiny" else (15.0, 15.0, 65.0, 65.0)
    assert three_bars(plane, box) is None


@pytest.mark.skipif(
    not TARGETS.exists(), reason="open photographs of resolution targets are not beside the project"
)
def test_elements_of_a_photographed_target_agree_with_the_standard() -> None:
    # Source: LAB-UMK/usaf1951 (MIT), boxes read by eye; pitches by MIL-STD-150A, calibrated on the first element.
    truth = json.loads((TARGETS / "truth.json").read_text(encoding="utf-8"))["usaf1951_1.png"]
    picture = cv2.imread(str(TARGETS / "usaf1951_1.png"), cv2.IMREAD_COLOR)
    assert picture is not None
    plane = picture[..., 1].astype(np.float32)
    scales = []
    for name, element in truth["vertical_bar_triplets"].items():
        found = three_bars(plane, tuple(element["bbox_px"]))
        assert found is not None
        scales.append(usaf_1951_pitch_um(int(name[1]), int(name[3])) / found.pitch_px.value)
    assert np.abs(np.array(scales) / scales[0] - 1).max() <= 0.01
