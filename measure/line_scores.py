"""Scores of lines: sums over small decision trees, as trained by benchmarks/train_line_scores.py."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from setstone.measure.line_features import NAMES
from setstone.measure.line_trees import FIRST, FIRST_BASE, OFFSET, SECOND, SECOND_BASE, SLOPE

Values = NDArray[np.float64]

#: Lines of less than this share of the stone's diameter count half, and those after so many better ones.
SHORT, MANY = 0.03, 12
#: What is left of the score of a line at the culet. The girdle is so far away, in diameters, and the line so nearly
#: radial (mean cosine) and straight (share of its length).
AT_CULET, FAR_INSIDE, RADIAL, STRAIGHT = 0.2, 0.44, 0.85, 0.03
#: Columns the second look adds to those of `line_features`.
SECOND_NAMES = (*NAMES, "first", "good_near", "best_near", "good_elsewhere", "better")


class Trees(NamedTuple):
    """Complete trees of depth three: seven questions, eight answers each.

    Question q at node n is ``features[feature[n]] > threshold[n]``; the answer no leads to node 2 n + 1,
    yes to 2 n + 2. The score is the logistic function of the sum of the answers.
    """

    base: float
    feature: NDArray[np.int64]
    threshold: Values
    answer: Values


def evaluate(trees: Trees, features: Values) -> Values:
    """Probability for each row of `features`, by the logistic function of the trees' sum.

    Parameters
    ----------
    trees : Trees
        Arrays of shape (T, 7), (T, 7), (T, 8).
    features : (N, K) float64 array

    Returns
    -------
    (N,) float64 array
        In 0..1.
    """
    rows = np.arange(len(features))[:, None]
    tree = np.arange(len(trees.feature))[None]
    node = np.zeros((len(features), len(trees.feature)), np.int64)
    for _ in range(3):
        node = 2 * node + 1 + (features[rows, trees.feature[tree, node]] > trees.threshold[tree, node])
    total = trees.base + trees.answer[tree, node - 7].sum(axis=1)
    return np.asarray(expit(total), np.float64)


def _trees(base: float, rows: Sequence[tuple[tuple[tuple[str, float], ...], tuple[float, ...]]]) -> Trees:
    columns = {name: column for column, name in enumerate(SECOND_NAMES)}
    return Trees(
        base=base,
        feature=np.array([[columns[name] for name, _ in questions] for questions, _ in rows]),
        threshold=np.array([[limit for _, limit in questions] for questions, _ in rows]),
        answer=np.array([answers for _, answers in rows]),
    )


FIRST_TREES = _trees(FIRST_BASE, FIRST)
SECOND_TREES = _trees(SECOND_BASE, SECOND)


def first_scores(features: Values) -> Values:
    """What each line looks like by itself: (N, len(NAMES)) features to (N,) scores in 0..1."""
    return evaluate(FIRST_TREES, features)


def second_scores(features: Values, first: Values, around: Values) -> Values:
    """Look again, knowing what was thought of the neighbours.

    Parameters
    ----------
    features : (N, len(NAMES)) float64 array
    first : (N,) float64 array
        Scores of the first look.
    around : (N, 4) float64 array
        See `setstone.measure.judge_lines.neighbours`.

    Returns
    -------
    (N,) float64 array
        In 0..1, of both looks, not calibrated.
    """
    return both_looks(first, evaluate(SECOND_TREES, second_features(features, first, around)))


def final_scores(pooled: Values, features: Values) -> Values:
    """What is told of each line.

    Parameters
    ----------
    pooled : (N,) float64 array
        Of both looks at every size (`setstone.measure.line_sizes`).
    features : (N, len(NAMES)) float64 array

    Returns
    -------
    (N,) float64 array
        In 0..1: the share of lines so scored that were fissures on held-out stones, times `taken_at`.
    """
    score = calibrated(pooled, SLOPE, OFFSET)
    return score * taken_at(score, features)


def both_looks(first: Values, second: Values) -> Values:
    """Mean of two probabilities on the scale of log odds (logarithmic pool; Genest & Zidek 1986, Stat. Sci. 1:114)."""
    return np.asarray(expit((odds(first) + odds(second)) / 2), np.float64)


def second_features(features: Values, first: Values, around: Values) -> Values:
    """Columns of the second look, in the order of `SECOND_NAMES`."""
    return np.column_stack([features, odds(first), around])


def calibrated(score: Values, slope: float, offset: float) -> Values:
    """Turn scores into the share that was real among held-out lines (Platt 1999, Adv. Large Margin Class.:61)."""
    return np.asarray(expit(slope * odds(score) + offset), np.float64)


def taken_at(score: Values, features: Values) -> Values:
    """Share of its score at which each line of a stone is taken: 1, or less for what the trees see too few of.

    Very short ones, right or wrong, show next to nothing of a fissure. Where many lines look like fissures, most
    are reflections of a few. Straight lines that run to the middle of the stone are mostly worn edges meeting at the
    culet (docs/accuracy.md has the shares that are real).
    """
    short = features[:, NAMES.index("length")] < math.log(SHORT)
    return np.where(short | after_many(score), 0.5, 1.0) * np.where(at_culet(features), AT_CULET, 1.0)


def after_many(score: Values) -> NDArray[np.bool_]:
    """Which lines of a stone `MANY` others look more like fissures than."""
    rank = np.empty(len(score), np.int64)
    rank[np.argsort(-score, kind="stable")] = np.arange(len(score))
    return np.asarray(rank >= MANY)


def at_culet(features: Values) -> NDArray[np.bool_]:
    """Which lines run straight to the middle of the stone, as the edges of the pavilion do: (..., K) to (...)."""
    inside, radial, bend = (
        features[..., NAMES.index(name)] for name in ("inside", "radial", "off_straight_share")
    )
    return np.asarray((inside > FAR_INSIDE) & (radial > RADIAL) & (bend < math.log(0.001 + STRAIGHT)))


def odds(score: Values) -> Values:
    """Logarithm of the odds, kept within 1e-4 and 1 - 1e-4."""
    sure = np.clip(score, 1e-4, 1 - 1e-4)
    return np.asarray(logit(sure), np.float64)
