"""Cuts across lines on pictures whose grey levels are known exactly."""

import numpy as np
import pytest

from setstone.measure.line_profiles import ACROSS, PROFILE_NAMES, WHITE_PROFILE_NAMES, profile_features
from setstone.measure.lines import Line

SIGMA = 1.5


def straight(contrast: float = 30.0, angle: float = 0.3) -> Line:
    along = np.arange(-40, 41.0)
    path = np.stack([100 + along * np.cos(angle), 80 + along * np.sin(angle)], axis=1)
    return Line(path, np.full(len(path), 3.5), np.full(len(path), contrast))


def picture(line: Line, *, ridge: float, step: float = 0.0) -> np.ndarray:
    """A ridge of Gaussian profile along the line's direction, and a step of brightness at it."""
    yy, xx = np.mgrid[:160, :200]
    way = line.path[-1] - line.path[0]
    way /= np.hypot(*way)
    across = (xx - 100) * -way[1] + (yy - 80) * way[0]
    return (60 + ridge * np.exp(-0.5 * (across / SIGMA) ** 2) + step * (across > 0)).astype(np.float32)


def described(line: Line, plane: np.ndarray, white: np.ndarray | None = None) -> dict[str, float]:
    grain = np.ones_like(plane)
    found = profile_features([line], plane, grain, white, None if white is None else grain, sigma=SIGMA)
    return {name: float(values[0]) for name, values in found.items()}


def test_a_ridge_on_one_ground_rises_equally_on_both_sides() -> None:
    line = straight()
    found = described(line, picture(line, ridge=30))
    for k in range(len(ACROSS)):
        assert found[f"cut_bright_{k}"] == pytest.approx(found[f"cut_dark_{k}"], abs=0.05)
    assert found["part_least"] == pytest.approx(1, abs=0.02)
    assert found["far_step"] == pytest.approx(0, abs=0.05)
    assert found["outshone"] == 0


def test_a_facet_edge_is_told_by_its_two_levels() -> None:
    line = straight()
    found = described(line, picture(line, ridge=30, step=80))
    assert np.sinh(found["far_step"]) == pytest.approx(80, rel=0.02)
    assert found["cut_bright_5"] < 0 < found["cut_dark_5"]
    assert found["outshone"] == 1


def test_the_side_does_not_depend_on_the_direction_of_the_path() -> None:
    line = straight()
    turned = Line(line.path[::-1], line.width_px, line.contrast)
    plane = picture(line, ridge=20, step=15)
    one, other = described(line, plane, plane), described(turned, plane, plane)
    assert one == pytest.approx(other, abs=0.02)


def test_without_white_light_nothing_is_said_of_it() -> None:
    line = straight()
    plane = picture(line, ridge=30)
    assert set(described(line, plane)) == set(PROFILE_NAMES)
    assert set(described(line, plane, plane)) == {*PROFILE_NAMES, *WHITE_PROFILE_NAMES}
