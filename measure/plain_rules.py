"""Scores by plain rules alone: what the trained scores are measured against, and what is left without them.

Nothing here is learned. Each rule is one a technician can check with the eye; a candidate gains for every one that
speaks for it and loses for every one that speaks against it. Such scores order candidates; they are no
probabilities.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from setstone.measure.line_reasons import counted_reasons
from setstone.measure.spot_features import NAMES

Values = NDArray[np.float64]

#: Lines, in log odds: without any reason, for each that speaks for it, for each that speaks against it.
_LINE, _SPEAKS, _AGAINST = -2.0, 0.7, -1.5
#: A spot that obeys all rules but one stands at even odds; each rule counts that much.
_RULE = 2.0

_SPOT_RULES: tuple[tuple[str, Callable[[Values], NDArray[np.bool_]]], ...] = (
    ("depth", lambda v: v > 0.7),
    ("blackness", lambda v: v < 0.15),
    ("against_grain", lambda v: v > 8),
    ("ring_spread", lambda v: v < 0.25),
    ("off_ellipse", lambda v: v < 0.06),
    ("edge_evenness", lambda v: v > 0.7),
    ("cornered", lambda v: v < 0.7),
    ("rim_distance", lambda v: v > 0.04),
    ("centre_distance", lambda v: v > 0.03),
)


def line_rules(features: Values) -> Values:
    """Score lines by the reasons that are shown with them.

    Parameters
    ----------
    features : (N, len(line_features.NAMES)) float64 array

    Returns
    -------
    (N,) float64 array
        In 0..1.
    """
    counts = np.array([counted_reasons(row) for row in features], np.float64).reshape(-1, 2)
    return np.asarray(expit(_LINE + counts @ np.array([_SPEAKS, _AGAINST])), np.float64)


def spot_rules(vectors: Values) -> Values:
    """Score spots: opaque, clear of the grain, on an even ground, smooth, sharp all round, not at the rim or the culet.

    Parameters
    ----------
    vectors : (N, len(spot_features.NAMES)) float64 array

    Returns
    -------
    (N,) float64 array
        In 0..1.
    """
    broken = sum(~holds(vectors[:, NAMES.index(name)]) for name, holds in _SPOT_RULES)
    return np.asarray(expit(_RULE * (1 - np.asarray(broken, np.float64))), np.float64)
