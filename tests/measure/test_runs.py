"""Values of many lines in one array, against numpy and scipy line by line."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d, map_coordinates

from setstone.measure import runs

LENGTHS = (2, 3, 7, 9, 40, 120)


@pytest.fixture
def paths() -> list[np.ndarray]:
    rng = np.random.default_rng(3)
    return [rng.normal(0, 1, (n, 2)).cumsum(axis=0) + 30 for n in LENGTHS]


def each(paths: list[np.ndarray], function: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    return np.concatenate([np.atleast_1d(function(path)) for path in paths])


def joined_by_scipy(path: np.ndarray, sigma: float) -> np.ndarray:
    n = min(len(path) - 1, int(4 * sigma + 0.5))
    around = np.concatenate([2 * path[0] - path[n:0:-1], path, 2 * path[-1] - path[-2 : -n - 2 : -1]])
    return gaussian_filter1d(around, sigma, axis=0)[n : n + len(path)]


def test_statistics_are_those_of_numpy(paths: list[np.ndarray]) -> None:
    values, starts = np.concatenate(paths)[:, 0], runs.starts_of(paths)
    columns = [path[:, 0] for path in paths]
    np.testing.assert_allclose(runs.mean_each(values, starts), each(columns, np.mean))
    np.testing.assert_allclose(runs.median_each(values, starts), each(columns, np.median))
    for share, found in zip((5, 37, 100), runs.percentile_each(values, starts, (5, 37, 100)), strict=True):
        np.testing.assert_allclose(found, [np.percentile(column, share) for column in columns])


def test_slopes_and_smoothing_are_those_of_numpy_and_scipy(paths: list[np.ndarray]) -> None:
    points, starts = np.concatenate(paths), runs.starts_of(paths)
    np.testing.assert_allclose(
        runs.gradient_each(points, starts), each(paths, lambda p: np.gradient(p, axis=0))
    )
    steps, step_starts = runs.differences_each(points, starts)
    np.testing.assert_allclose(steps, each(paths, lambda p: np.diff(p, axis=0)))
    assert [b - a for a, b in itertools.pairwise(step_starts)] == [n - 1 for n in LENGTHS]
    np.testing.assert_allclose(
        runs.smooth_each(points, starts, 2.3),
        each(paths, lambda p: gaussian_filter1d(p, 2.3, axis=0, mode="nearest")),
    )
    np.testing.assert_allclose(
        runs.smooth_paths(points, starts, 2.0), each(paths, lambda p: joined_by_scipy(p, 2.0))
    )


def test_evenly_spaced_points_lie_on_the_path(paths: list[np.ndarray]) -> None:
    even, even_starts = runs.evenly(np.concatenate(paths), runs.starts_of(paths))
    for path, (a, b) in zip(paths, itertools.pairwise(even_starts), strict=True):
        at = np.concatenate(([0], np.hypot(*np.diff(path, axis=0).T).cumsum()))
        where = np.linspace(0, at[-1], b - a)
        assert abs(at[-1] / (b - a - 1) - 1) < 0.5
        for column in range(2):
            np.testing.assert_allclose(even[a:b, column], np.interp(where, at, path[:, column]))


def test_grey_values_are_interpolated_as_scipy_does(paths: list[np.ndarray]) -> None:
    plane = np.random.default_rng(1).random((50, 60)).astype(np.float32)
    points = np.concatenate(paths)
    normals = runs.unit(np.random.default_rng(2).normal(size=points.shape))
    offsets = np.array([-40.0, -1.5, 0.0, 2.0, 60.0])
    at = points[:, None] + offsets[None, :, None] * normals[:, None]
    expected = map_coordinates(plane.astype(np.float64), [at[..., 1], at[..., 0]], order=1, mode="nearest")
    np.testing.assert_allclose(runs.across(plane, points, normals, offsets), expected)
