"""What is thought of the same line in the photographs at other sizes.

Which pixels a line is traced through, and where it is broken and joined, hangs on chance, and its score with it. In the
photographs a little smaller and a little larger other chances are at work, so the mean of what is thought there is surer than any one
of them (on held-out stones: docs/accuracy.md). Log odds are averaged, as in `setstone.measure.line_scores.both_looks`.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import expit

from setstone.measure.line_scores import odds
from setstone.measure.runs import starts_of, sum_each

Values = NDArray[np.float64]

#: How many times as large the photographs are looked at besides.
SIZES = (0.88, 1.13)
#: Lines so near are the same, in diameters of the stone, and in pixels at least.
NEAR, NEAR_PX = 0.004, 2.0
#: Farther than any picture is wide, px.
_APART = 1e6


class Look(NamedTuple):
    """Lines found at one size.

    Parameters
    ----------
    paths : tuple of (M, 2) float64 array
        N centre lines, in the pixels of the scene itself, whatever the size.
    bright : (N,) bool array
        Which of them are brighter than what is around them.
    scores : (N,) float64 array
    """

    paths: tuple[Values, ...]
    bright: NDArray[np.bool_]
    scores: Values

    @property
    def points(self) -> Values:
        """All points one after the other, (M, 3): x, y, and a third that keeps bright lines away from dark ones."""
        apart = np.repeat(np.where(self.bright, 0.0, _APART), [len(path) for path in self.paths])
        return np.column_stack([np.concatenate(self.paths), apart])


def pooled(own: Look, others: Sequence[Look], diameter_px: float) -> Values:
    """Mean, on the scale of log odds, of a line's score and of those of the lines along it at other sizes, bright or dark as it is.

    Parameters
    ----------
    own : Look
        N lines.
    others : sequence of Look
        A look with no line near one says nothing of it.
    diameter_px : float
        Of the stone.

    Returns
    -------
    (N,) float64 array
        In 0..1.
    """
    total, count = odds(own.scores), np.ones(len(own.paths))
    if not own.paths:
        return own.scores
    starts = starts_of(own.paths)
    for look in (look for look in others if look.paths):
        along = np.repeat(odds(look.scores), [len(path) for path in look.paths])
        far, which = cKDTree(look.points).query(
            own.points, distance_upper_bound=max(NEAR_PX, NEAR * diameter_px)
        )
        near = np.isfinite(far)
        there = sum_each(near, starts)
        thought = sum_each(np.where(near, along[np.where(near, which, 0)], 0.0), starts)
        total += thought / np.maximum(there, 1)
        count += there > 0
    return np.asarray(expit(total / count), np.float64)
