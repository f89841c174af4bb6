"""What lies around a line, against counting by a library's tree."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from setstone.measure.line_company import company
from setstone.measure.line_edges import crossings, on_segments
from setstone.measure.runs import gradient_each, starts_of, unit

DIAMETER, SIGMA = 300.0, 1.3


@pytest.fixture
def paths() -> list[np.ndarray]:
    rng = np.random.default_rng(5)
    tips = rng.uniform(0, DIAMETER, (40, 2, 2))
    return [np.linspace(a, b, max(2, int(np.hypot(*(b - a))))) for a, b in tips]


def test_neighbours_are_counted_as_by_a_tree(paths: list[np.ndarray]) -> None:
    path, starts = np.concatenate(paths), starts_of(paths)
    owner = np.repeat(np.arange(len(paths)), [len(p) for p in paths])
    length = np.array([np.hypot(*(p[-1] - p[0])) for p in paths])
    tangent = unit(gradient_each(path, starts))
    found = company(path, tangent, starts, length, diameter=DIAMETER, sigma=SIGMA)
    tree, reach = cKDTree(path), 0.06 * DIAMETER
    for i, own in enumerate(paths):
        near = {j for several in tree.query_ball_point(own[::8], reach) for j in several if owner[j] != i}
        assert found["crowd"][i] == pytest.approx(len(near) / (len(own) + 2 * reach))
        ends = [len({*owner[tree.query_ball_point(own[e], 5 * SIGMA)]} - {i}) for e in (0, -1)]
        assert (found["met_least"][i], found["met_most"][i]) == (min(ends), max(ends))


def test_pieces_of_one_straight_line_know_each_other() -> None:
    paths = [np.linspace([x, 50], [x + 20, 50], 21) for x in (0, 30, 60)]
    paths.append(np.linspace([30, 53], [50, 53], 21))
    path, starts = np.concatenate(paths), starts_of(paths)
    tangent = unit(gradient_each(path, starts))
    found = company(path, tangent, starts, np.full(4, 20.0), diameter=DIAMETER, sigma=SIGMA)
    assert np.exp(found["collinear"][:3]) - 0.02 == pytest.approx([42 / 20, 42 / 20, 42 / 20], rel=0.5)
    assert found["parallel"][1] == pytest.approx(1)
    assert found["parallel"][0] < 0.1


def test_a_line_on_an_edge_and_one_across_it() -> None:
    edge = np.array([[10.0, 40.0, 90.0, 40.0]])
    paths = [np.linspace([20, 41], [60, 41], 41), np.linspace([50, 10], [50, 70], 61)]
    path, starts = np.concatenate(paths), starts_of(paths)
    on, longest = on_segments(path, unit(gradient_each(path, starts)), starts, edge, 2.0)
    assert on[: starts[1]].all()
    assert not on[starts[1] :].any()
    assert longest == pytest.approx([80, 0])
    assert crossings(path, starts, edge, 2, 5.0) == pytest.approx([0, 1])
