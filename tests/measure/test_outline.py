"""Diameters of outlines of known size, and the girdle of synthetic discs and of test stones."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import erf
from skimage.measure import EllipseModel

from setstone.capture.open import open_photograph
from setstone.measure.girdle import find_girdle, visible_stone
from setstone.measure.outline import Outline, diameters
from setstone.measure.scale import Scale

STONES = Path(__file__).parents[2].parent / "shared" / "stones"
SCALE = Scale(4.0, 0.004, "given")


def ellipse(
    a: float, b: float, angle: float = 0.0, centre: tuple[float, float] = (0, 0)
) -> NDArray[np.float64]:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return np.column_stack([a * np.cos(t), b * np.sin(t)]) @ turn.T + centre


def outline(points: NDArray[np.float64], u_px: float = 0.5) -> Outline:
    return Outline(points, np.ones(len(points), np.bool_), u_px, "ellipse")


def set_stone(a: float, b: float, angle: float, centre: tuple[float, float]) -> NDArray[np.uint8]:
    """A stone of flat facets in a grey ring, with exact erf edges: never drawn by a library."""
    yy, xx = np.mgrid[:600, :640].astype(float)
    x, y = xx - centre[0], yy - centre[1]
    u, v = x * math.cos(angle) + y * math.sin(angle), -x * math.sin(angle) + y * math.cos(angle)
    radius = np.hypot(u / a, v / b)
    # Distance to the ellipse to first order (Sampson 1982).
    gradient = np.hypot(u / a**2, v / b**2) / np.maximum(radius, 1e-9)

    def inside(factor: float) -> NDArray[np.float64]:
        return 0.5 * (1 - erf((radius - factor) / np.maximum(gradient, 1e-9) / math.sqrt(2)))

    sector = np.floor((np.arctan2(v / b, u / a) / (2 * np.pi) + 0.5) * 16) + 16 * np.floor(radius * 3)
    facets = 60 + 140 * np.random.default_rng(5).random(200)[sector.astype(int) % 200]
    red = np.stack([facets, 0.25 * facets, 0.35 * facets], axis=-1)
    ring = np.full_like(red, 1.0) * np.array([150, 150, 145])
    ground = np.full_like(red, 1.0) * np.array([205, 200, 190])
    lip, body = inside(1.25)[..., None], inside(1.0)[..., None]
    picture = ground * (1 - lip) + lip * (ring * (1 - body) + red * body)
    noise = np.random.default_rng(1).normal(0, 2, picture.shape)
    return (picture + noise).clip(0, 255).astype(np.uint8)


@given(st.floats(50, 900), st.floats(0.5, 1.0), st.floats(0, 3.1))
def test_diameters_of_an_ellipse_are_its_axes(a: float, ratio: float, angle: float) -> None:
    found = diameters(outline(ellipse(a, a * ratio, angle)), SCALE)
    mm = 2 * a * SCALE.um_per_px / 1000
    assert found.greatest.value == pytest.approx(mm, rel=1e-4)
    assert found.least.value == pytest.approx(ratio * mm, rel=1e-4)
    assert found.least.value <= found.mean.value + 1e-9 <= found.greatest.value + 2e-9


def test_mean_width_of_a_convex_outline_is_its_perimeter_by_pi() -> None:
    """Cauchy's theorem (Cauchy 1832): the mean width of a convex figure is its perimeter divided by pi."""
    square = np.array([[0, 0], [300, 0], [300, 200], [0, 200]], np.float64)
    found = diameters(Outline(square, np.ones(4, np.bool_), 0.5, "polygon"), SCALE)
    assert found.mean.value == pytest.approx(1000 / math.pi * SCALE.um_per_px / 1000, rel=1e-3)


def test_uncertainty_combines_edge_and_scale() -> None:
    """JCGM 100:2008, 5.1.2: 2 x 0.5 px at 4 µm and 0.1 % of 4 mm, in quadrature."""
    found = diameters(outline(ellipse(500, 500)), SCALE)
    assert found.mean.u == pytest.approx(math.hypot(0.004, 0.004), rel=1e-2)


@pytest.mark.parametrize(
    ("a", "b", "angle", "centre"), [(170, 170, 0.0, (320, 300)), (200, 150, 0.6, (310.3, 295.7))]
)
def test_a_synthetic_stone_of_known_size_is_measured(
    a: float, b: float, angle: float, centre: tuple[float, float]
) -> None:
    found = find_girdle(set_stone(a, b, angle, centre))
    assert found is not None
    measured, true = diameters(found, SCALE), diameters(outline(ellipse(a, b, angle)), SCALE)
    assert measured.mean.value == pytest.approx(true.mean.value, rel=0.01)
    assert found.centre == pytest.approx(centre, abs=2.0)
    # The same outline by scikit-image's ellipse fit, a general-purpose library.
    fit = EllipseModel.from_estimate(found.points)
    assert sorted(fit.axis_lengths) == pytest.approx(sorted((a, b)), rel=0.015)


@pytest.mark.parametrize("level", [0, 128, 255])
def test_where_there_is_no_stone_none_is_found(level: int) -> None:
    assert find_girdle(np.full((300, 400, 3), level, np.uint8)) is None


@pytest.mark.skipif(not STONES.exists(), reason="the computed test stones are not beside the project")
@pytest.mark.parametrize("case", ["s01", "s05", "s12", "s15"])
def test_girdles_of_computed_stones(case: str) -> None:
    """Source: the exact truth of the computed stones: round, oval, step cut, oval in claws."""
    truth = json.loads((STONES / case / "truth.json").read_text(encoding="utf-8"))
    pixels = open_photograph(next((STONES / case).glob("white.*"))).pixels
    found = find_girdle(pixels)
    assert found is not None
    scale = Scale(truth["um_per_px"], 1e-6, "given")
    mean = truth["stone"]["diameter_mm"]["mean"]
    assert diameters(found, scale).mean.value == pytest.approx(mean, rel=0.015)
    seen = visible_stone(pixels, found)
    area = float(seen.sum()) * (truth["um_per_px"] / 1000) ** 2
    assert area == pytest.approx(
        math.pi / 4 * truth["stone"]["diameter_mm"]["area_equivalent"] ** 2, rel=0.06
    )
