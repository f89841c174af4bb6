"""From lines to a calibration: the GUM's own example, pixel shape, repeats."""

import math

import numpy as np
import pytest
from ruled import ruled

from setstone.measure.calibration import (
    Certificate,
    Contribution,
    calibrate,
    coverage_factor,
    effective_degrees,
)
from setstone.measure.errors import MeasurementError
from setstone.measure.micrometer import Bend, MicrometerLines, find_micrometer


def _lines(period: float, angle: float = 0.0, *, u: float = 1e-4, longer: int | None = 5) -> MicrometerLines:
    n = np.arange(50)
    flat = Bend(0.0, 1e-5, 0.0, 1e-5)
    return MicrometerLines(period, u * period, angle, n, np.zeros((50, 2)), np.zeros(50), flat, longer)


def test_gum_annex_h1() -> None:
    """JCGM 100:2008, H.1: end gauge; combined 32 nm, 16 effective degrees of freedom, k99 2.92."""
    budget = [
        Contribution("standard", 25, 18),
        Contribution("comparison", 9.7, 25.6),
        Contribution("difference in expansion", 2.9, 50),
        Contribution("difference in temperature", 16.6, 2),
    ]
    assert math.sqrt(sum(c.relative_u**2 for c in budget)) == pytest.approx(32, abs=0.5)
    assert math.floor(effective_degrees(budget)) == 16
    assert coverage_factor(effective_degrees(budget), 0.99) == pytest.approx(2.92, abs=0.005)


def test_rectangular_limits_and_expanded_uncertainty() -> None:
    """GUM 4.3.7: half-width over the root of three; certificate with k = 2: half of it."""
    assert Certificate(1e-3).relative_u == pytest.approx(1e-3 / math.sqrt(3))
    assert Certificate(1e-3, expanded=True).relative_u == pytest.approx(5e-4)


def test_one_photograph() -> None:
    found = calibrate([_lines(11.8)], 10.0, Certificate(1e-3))
    assert found.um_per_px == pytest.approx(10 / 11.8)
    assert found.relative_u == pytest.approx(math.hypot(1e-4, 1e-3 / math.sqrt(3)))
    assert [c.name for c in found.contributions] == ["fit of the lines", "micrometer"]
    assert found.pixel_aspect is None
    assert any("not checked" in r for r in found.remarks)
    scale = found.scale("60x")
    assert (scale.source, scale.detail) == ("calibration", "60x")


def test_few_repeats_widen_the_interval() -> None:
    """Two repeats leave one degree of freedom; Student's factor for 95 % is then 12.7 (GUM table G.2)."""
    found = calibrate([_lines(10.0), _lines(10.02)], 10.0, Certificate(1e-6))
    repeats = next(c for c in found.contributions if c.name == "repeated photographs")
    assert repeats.degrees == 1
    assert found.coverage == pytest.approx(12.71, abs=0.01)
    scale = found.scale("60x")
    assert scale.relative_u == pytest.approx(found.relative_u * found.coverage / 2)


def test_pixels_that_are_not_square() -> None:
    photographs = []
    for angle in (3.0, 48.0, 92.0):
        lines = find_micrometer(ruled(11, angle, aspect=1.01))
        assert lines is not None
        photographs.append(lines)
    found = calibrate(photographs, 11.0, Certificate(1e-4))
    assert found.pixel_aspect is not None
    assert found.pixel_aspect.value == pytest.approx(1.01, abs=3e-4)
    assert found.um_per_px == pytest.approx(math.sqrt(1.01), rel=3e-4)
    assert any("wider than square" in r for r in found.remarks)
    assert "shape of the pixels" in [c.name for c in found.contributions]
    assert found.is_square is False


def test_the_scale_over_the_field() -> None:
    """Drawn with a cubic bend b: the local scale is 1 + b t² of that in the middle, t from -1 to 1 over the lines."""
    bent, even = (find_micrometer(ruled(12, 20, bend=b)) for b in (0.02, 0.0))
    assert bent is not None
    assert even is not None
    found = calibrate([bent], 12.0, Certificate(1e-4))
    assert len(found.field) == 5
    changes = [part.change for part in found.field]
    t = np.array([-0.8, -0.4, 0, 0.4, 0.8]) * 0.93  # two lines are left out at each end
    expected = t**2 * 0.02
    assert np.ptp(changes) == pytest.approx(np.ptp(expected), rel=0.25)
    assert abs(changes[0] - changes[2]) > 5 * found.field[0].u
    assert not found.is_even
    assert 0.8 < found.covered <= 1
    assert found.field[2].x == pytest.approx(0.5, abs=0.05)
    flat = calibrate([even], 12.0, Certificate(1e-4))
    assert flat.is_even
    assert flat.is_square is None
    assert all(abs(part.change) < max(5e-4, 4 * part.u) for part in flat.field)


def test_square_pixels_are_called_so() -> None:
    found = calibrate([_lines(10, 0), _lines(10.0005, 90)], 10.0)
    assert found.pixel_aspect is not None
    assert not any("square" in r for r in found.remarks)
    assert found.is_square
    assert any("No certificate" in r for r in found.remarks)


def test_doubt_that_every_line_was_seen() -> None:
    assert any("every fifth line" in r for r in calibrate([_lines(10, longer=2)], 10.0).remarks)


@pytest.mark.parametrize("division", [0.0, -1.0, math.nan])
def test_impossible_division(division: float) -> None:
    with pytest.raises(MeasurementError, match="division"):
        calibrate([_lines(10)], division)


def test_photographs_of_different_setups() -> None:
    with pytest.raises(MeasurementError, match="not of one setup"):
        calibrate([_lines(10), _lines(12)], 10.0)
    with pytest.raises(MeasurementError, match="no photograph"):
        calibrate([], 10.0)
