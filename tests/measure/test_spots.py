"""Finding spots: on analytic discs, against scikit-image, and on open data."""

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
from skimage.feature import blob_log

from setstone.measure.light import Plane
from setstone.measure.spots import find_spots

SMEAR = Path(__file__).resolve().parents[3] / "shared" / "realdata" / "blobs-blood-smear"


def edge(distance: NDArray[np.float64], blur: float) -> NDArray[np.float64]:
    """A sharp edge blurred by a Gaussian: exact for straight edges, and near enough for wide discs."""
    return np.asarray(0.5 * (1 - erf(distance / (math.sqrt(2) * blur))), np.float64)


def disc(
    x: float, y: float, radius: float, *, blur: float = 0.8, size: int = 160, depth: float = 100.0
) -> Plane:
    ys, xs = np.mgrid[:size, :size].astype(np.float64)
    return (200 - depth * edge(np.hypot(xs - x, ys - y) - radius, blur)).astype(np.float32)


@pytest.mark.parametrize("radius", [4.0, 6.5, 11.0, 24.0])
@pytest.mark.parametrize("offset", [0.0, 0.3, 0.5])
def test_a_disc_is_measured_to_two_per_cent_and_a_fifth_of_a_pixel(radius: float, offset: float) -> None:
    # Analytic edge, as advised for sub-pixel code: drawn discs are themselves not exact.
    (spot,) = find_spots(disc(80 + offset, 75 - offset, radius), um_per_px=1, smallest_um=3, largest_um=80)
    assert spot.diameter_px == pytest.approx(2 * radius, rel=0.02)
    assert math.dist(spot.centre, (80 + offset, 75 - offset)) < 0.2
    assert spot.elongation == pytest.approx(1, abs=0.03)
    assert spot.contrast == pytest.approx(100, rel=0.05)


def test_the_outline_lies_on_the_disc() -> None:
    (spot,) = find_spots(disc(80.3, 75.6, 9), um_per_px=1)
    away = np.hypot(spot.outline[:, 0] - 80.3, spot.outline[:, 1] - 75.6)
    assert np.abs(away - 9).max() < 0.2


def test_an_ellipse_keeps_its_elongation_and_area() -> None:
    ys, xs = np.mgrid[:160, :160].astype(np.float64)
    u, v = (xs - 80) / 14, (ys - 80) / 8
    r = np.hypot(u, v)
    # First-order distance from an ellipse: value over gradient.
    gradient = np.hypot(u / 14, v / 8) / np.maximum(r, 1e-9)
    plane = (200 - 100 * edge((r - 1) / np.maximum(gradient, 1e-9), 0.8)).astype(np.float32)
    (spot,) = find_spots(plane, um_per_px=1)
    assert spot.elongation == pytest.approx(14 / 8, rel=0.03)
    assert spot.diameter_px == pytest.approx(2 * math.sqrt(14 * 8), rel=0.02)


@pytest.mark.parametrize("shape", ["line", "edge", "corner", "wedge", "ramp", "flat"])
def test_lines_edges_and_corners_are_no_spots(shape: str) -> None:
    ys, xs = np.mgrid[:160, :160].astype(np.float64)
    slanted = 0.8 * (xs - 80) + 0.6 * (ys - 80)
    across = -0.6 * (xs - 80) + 0.8 * (ys - 80)
    dark = {
        "line": edge(np.abs(slanted) - 2.5, 0.8),
        "edge": edge(slanted, 0.8),
        "corner": edge(slanted, 0.8) * edge(across, 0.8),
        "wedge": edge(slanted, 0.8) * edge(0.5 * slanted + across, 0.8),
        "ramp": xs / 160,
        "flat": np.zeros_like(xs),
    }[shape]
    assert find_spots((200 - 100 * dark).astype(np.float32), um_per_px=1, smallest_um=3, largest_um=60) == ()


def test_bright_spots_are_found_when_asked_for() -> None:
    plane = 255 - disc(80, 80, 7)
    (spot,) = find_spots(plane, um_per_px=1, dark=False)
    assert spot.contrast > 0
    # An empty picture apart from that: nothing dark in it.
    assert not [s for s in find_spots(plane, um_per_px=1) if s.contrast > 10]


def test_sizes_are_in_micrometres() -> None:
    plane = disc(80, 80, 7)
    assert find_spots(plane, um_per_px=4, smallest_um=30, largest_um=100)
    assert find_spots(plane, um_per_px=4, smallest_um=10, largest_um=25) == ()


def test_only_inside_the_mask() -> None:
    plane = np.minimum(disc(50, 50, 7), disc(110, 110, 7))
    mask = np.zeros(plane.shape, np.bool_)
    mask[:80, :80] = True
    assert [round(s.centre[0]) for s in find_spots(plane, um_per_px=1, mask=mask)] == [50]


def scattered(seed: int) -> tuple[Plane, NDArray[np.float64]]:
    rng = np.random.default_rng(seed)
    plane = np.full((300, 300), 200, np.float32)
    truth: list[tuple[float, float, float]] = []
    while len(truth) < 15:
        x, y, r = rng.uniform(30, 270), rng.uniform(30, 270), rng.uniform(3, 10)
        if all(math.hypot(x - a, y - b) > 30 for a, b, _ in truth):
            truth.append((x, y, r))
            plane = np.minimum(plane, disc(x, y, r, size=300, depth=float(rng.uniform(40, 120))))
    return plane + rng.normal(0, 3, plane.shape).astype(np.float32), np.array(truth)


def test_as_good_as_a_general_purpose_library() -> None:
    # scikit-image's blob_log on discs in noise: the same discs found, and sizes at least as true.
    plane, truth = scattered(3)
    ours = [s for s in find_spots(plane, um_per_px=1, smallest_um=4, largest_um=30) if s.contrast > 20]
    theirs = blob_log((255 - plane) / 255, min_sigma=2, max_sigma=8, num_sigma=10, threshold=0.05)
    assert len(ours) == len(truth)
    errors_ours, errors_theirs = [], []
    for x, y, r in truth:
        near = min(ours, key=lambda s: math.dist(s.centre, (x, y)))
        assert math.dist(near.centre, (x, y)) < 0.5
        errors_ours.append(abs(near.diameter_px / (2 * r) - 1))
        blob = min(theirs, key=lambda b: math.hypot(b[1] - x, b[0] - y))
        errors_theirs.append(abs(math.sqrt(2) * blob[2] / r - 1))
    assert np.median(errors_ours) < 0.03
    assert np.median(errors_ours) <= np.median(errors_theirs)


@settings(max_examples=20, deadline=None)
@given(dx=st.integers(0, 30), dy=st.integers(0, 30), gain=st.floats(0.2, 5))
def test_spots_move_with_the_picture_and_ignore_its_unit(dx: int, dy: int, gain: float) -> None:
    plane = disc(70.2, 69.7, 6, size=140)
    moved = cv2.copyMakeBorder(plane, dy, 0, dx, 0, cv2.BORDER_REPLICATE) * np.float32(gain)
    (before,) = find_spots(plane, um_per_px=1)
    (after,) = find_spots(moved, um_per_px=1)
    assert after.centre == pytest.approx((before.centre[0] + dx, before.centre[1] + dy), abs=0.1)
    assert after.diameter_px == pytest.approx(before.diameter_px, rel=0.02)
    assert after.contrast == pytest.approx(before.contrast * gain, rel=0.02)


def test_the_same_on_any_number_of_threads() -> None:
    plane, _ = scattered(5)
    threads = cv2.getNumThreads()
    try:
        cv2.setNumThreads(1)
        one = find_spots(plane, um_per_px=1)
        cv2.setNumThreads(2)
        two = find_spots(plane, um_per_px=1)
    finally:
        cv2.setNumThreads(threads)
    assert [s.centre for s in one] == [s.centre for s in two]


@pytest.mark.skipif(not SMEAR.exists(), reason="the open data sets are not beside the project")
def test_platelets_in_blood_smears() -> None:
    # BCCD data set (Shenggan et al. 2017, MIT): boxes around platelets, small violet specks. The
    # watershed baseline of the collection finds 14 of 65.
    truth = json.loads((SMEAR / "truth.json").read_text(encoding="utf-8"))
    boxes = {
        name: [b["bbox"] for b in entry if b["class"].lower() == "platelets"]
        for name, entry in (truth.get("images", truth)).items()
        if isinstance(entry, list)
    }
    found = total = 0
    for name in [n for n in sorted(boxes) if boxes[n]][:6]:
        path = next((SMEAR / "images").glob(f"{Path(name).stem}.*"))
        green = np.asarray(cv2.imread(str(path), cv2.IMREAD_COLOR), np.float32)[..., 1]
        centres = [s.centre for s in find_spots(green, um_per_px=1, smallest_um=10, largest_um=50)[:60]]
        for x0, y0, x1, y1 in boxes[name]:
            total += 1
            found += any(x0 <= x <= x1 and y0 <= y <= y1 for x, y in centres)
    assert total > 0
    assert found / total > 0.7
