"""The motion that most tiles support, by Tukey's biweight.

Under another lamp many tiles are wrong, each in its own way; those that see the same edge agree. A simpler motion is
preferred: none, then a shift, then a similarity. More freedom would bend under glare.
"""

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.robust import biweight
from setstone.measure.tiles import TOLERANCE, Matrix, Votes, lengths

#: A less simple motion must have this many times the support of a simpler one.
CLEARLY_BETTER = 1.2
#: Fewer tiles tell no motion.
LEAST_TILES = 12


class Motion:
    """A motion and what speaks for it."""

    def __init__(self, matrix: Matrix, votes: Votes) -> None:
        self.matrix = matrix
        self.votes = votes
        distance = np.hypot(*votes.shifts.T)
        self.agrees = distance < TOLERANCE
        self.support = votes.support(np.eye(3))
        self.residual = float(np.sqrt((distance[self.agrees] ** 2).mean())) if self.agrees.any() else np.inf

    @property
    def share(self) -> float:
        """Share of the tiles heard that agree."""
        return float(self.agrees.mean()) if len(self.agrees) else 0.0

    @property
    def moved(self) -> bool:
        """Whether anything moves."""
        return not np.array_equal(self.matrix, np.eye(3))

    @property
    def turned(self) -> bool:
        """Whether it is more than a shift."""
        return not np.allclose(self.matrix[:2, :2], np.eye(2))

    @property
    def merit(self) -> float:
        """Support, with the advantage of the simpler motion."""
        if not self.moved:
            return self.support * CLEARLY_BETTER**2
        return self.support if self.turned else self.support * CLEARLY_BETTER


def resizing(source: tuple[int, ...], target: tuple[int, ...]) -> Matrix:
    """Map pixel centres of a picture to those of the same picture in another size."""
    y, x = target[0] / source[0], target[1] / source[1]
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1]])


def refined(
    votes: Callable[[Matrix], Votes], motion: Motion, *, similarity: bool = False, steps: int = 4
) -> Motion:
    """Improve a motion until its tiles no longer ask for a change.

    Parameters
    ----------
    votes : callable
        Asks every tile how far it still is from its place after a motion.
    motion : Motion
        Where to begin.
    similarity : bool, optional
        Whether it may turn and zoom even where a shift does nearly as well.
    steps : int, optional
        How often at most.
    """
    for _ in range(steps):
        step = _step(motion.votes, similarity or motion.turned)
        if step is None:
            break
        better = Motion(step @ motion.matrix, votes(step @ motion.matrix))
        if better.support <= motion.support:
            break
        motion = better
    return motion


def _step(votes: Votes, turned: bool) -> Matrix | None:
    """Motion that most tiles ask for: a shift, or a similarity if turned already or clearly better."""
    if len(votes.points) < LEAST_TILES:
        return None
    # Start from the displacement that most others share, not from a mean that the wrong ones pull away.
    apart = lengths(votes.sharpness, votes.shifts[:, None] - votes.shifts)
    shared = biweight(apart, 4 * TOLERANCE) @ votes.weights
    shift = _fitted(votes, moved_by(votes.shifts[int(shared.argmax())]), similarity=False)
    sampled, _ = cv2.estimateAffinePartial2D(
        votes.points, votes.points + votes.shifts, method=cv2.RANSAC, ransacReprojThreshold=2 * TOLERANCE
    )
    if np.shape(sampled) != (2, 3):  # no two tiles agree
        return shift
    similarity = _fitted(votes, np.vstack([sampled, [0, 0, 1]]), similarity=True)
    clearly = turned or votes.support(similarity) > CLEARLY_BETTER * votes.support(shift)
    return similarity if clearly else shift


def _fitted(votes: Votes, start: Matrix, *, similarity: bool) -> Matrix:
    """Reweighted least squares from a start, the tolerance closing in (Tukey's biweight)."""
    middle = votes.points.mean(0)
    x, y = (votes.points - middle).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    parameters = [[one, zero], [zero, one]] + ([[x, y], [-y, x]] if similarity else [])
    design = votes.sharpness @ np.moveaxis(
        np.array(parameters), (0, 1, 2), (2, 1, 0)
    )  # tile, coordinate, parameter
    wanted = np.einsum("nij,nj->ni", votes.sharpness, votes.shifts)
    matrix = start
    for width in (4, 4, 2, 2, 1, 1, 1, 1):
        weight = votes.weights * biweight(votes.distances(matrix), width * TOLERANCE)
        if np.count_nonzero(weight) < 3:
            break
        root = np.sqrt(weight)[:, None]
        rows = (design * root[..., None]).reshape(-1, len(parameters))
        found = np.linalg.lstsq(rows, (wanted * root).ravel())[0]
        linear = np.eye(3)
        if similarity:
            linear[:2, :2] += [[found[2], -found[3]], [found[3], found[2]]]
        matrix = moved_by(middle + found[:2]) @ linear @ moved_by(-middle)
    return matrix


def moved_by(shift: NDArray[np.float64]) -> Matrix:
    """Motion by a shift x, y."""
    matrix = np.eye(3)
    matrix[:2, 2] = shift
    return matrix
