"""How likely a line that only the later day shows is a new fissure.

Most are none. A stone set anew leans a little otherwise and is turned under the lamps: facets light up or go dark and show other parts of the
inside, and with them old fissures, reflected where nothing was before. The line itself does not tell, for it is as truly absent
before as a new one; what lies around it does, since a new fissure comes into a picture that stays as it was: figures tell how much, and
a network that has seen many stones set anew (`setstone.measure.new_places`). And a new fissure is seldom seen once: it has pieces
and reflections in other facets, which are new too.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.special import expit

from setstone.measure.candidates import LIKELY, Candidate
from setstone.measure.line_scores import odds
from setstone.measure.new_places import along, new_places
from setstone.measure.sights import Lines, Points, Sights

Values = NDArray[np.float64]

#: What a line is judged by, see `features`.
NAMES = ("score", "length", "ground", "around", "company", "sight")
#: Logistic regression by benchmarks/train_changes.py.
BASE, WEIGHTS = -2.46, np.array([0.33, -0.68, -0.78, 0.40, 0.16, 0.88])
#: Ground and surroundings where one of the days has no photograph under the lamp: as they are for half of the lines.
_USUAL = (0.17, 0.7)
#: Log odds by the network where the days have no photograph under the same lamp: as they are for half of the likely lines.
_UNSEEN = -0.35
#: Distances from the line, px of the frame, of the ground it lies on, and of its surroundings.
_GROUND = np.array([*range(-10, -4), *range(5, 11)], np.float64)
_AROUND = np.array([*range(-30, -9, 2), *range(10, 31, 2)], np.float64)
#: Points over which the direction of a line is averaged.
_POINTS = 9
#: Added before logarithms: a change of the ground, and a company, that say nothing yet.
_SAME, _ALONE = 0.3, 0.02


def chances(lines: Sequence[Candidate], paths: Sequence[Points], both: Sights) -> Values:
    """Probability that each line is a new fissure.

    Parameters
    ----------
    lines : sequence of Candidate
        All lines that are seen after and not before, weak ones too, and those of which an end is.
    paths : sequence of (N, 2) float64 arrays
        What is new of each in the frame, points evenly apart.
    both : Sights

    Returns
    -------
    (len(lines),) float64 array
        0 to 1; how many of the lines so judged were new on stones held out: docs/before_and_after.md.
    """
    return np.asarray(expit(BASE + features(lines, paths, both) @ WEIGHTS), np.float64)


def features(lines: Sequence[Candidate], paths: Sequence[Points], both: Sights) -> Values:
    """Describe new lines in the order of `NAMES`.

    Parameters
    ----------
    lines, paths, both
        As for `chances`.

    Returns
    -------
    (len(lines), 6) float64 array
        Log odds of the score; logarithms of the length in diameters, of how much lighter or darker the ground has become (as a
        natural logarithm), and of the length of the other likely new lines times their scores; how alike the surroundings are (-1 to 1); log odds by the network.
    """
    score = np.array([line.score for line in lines], np.float64)
    length = np.array([np.hypot(*np.diff(path, axis=0).T).sum() for path in paths]) / both.diameter_px
    found = [_place(line, path, both) for line, path in zip(lines, paths, strict=True)]
    ground, around = np.array(found).reshape(-1, 2).T
    likely = score * length * (score >= LIKELY)
    others = likely.sum() - likely
    places = new_places(both) if lines else None
    sight = [_UNSEEN if places is None else along(places, path, both) for path in paths]
    return np.column_stack(
        [
            odds(score),
            np.log(np.maximum(length, 1 / both.diameter_px)),
            np.log(_SAME + ground),
            around,
            np.log(_ALONE + others),
            np.array(sight, np.float64),
        ]
    )


def _place(line: Candidate, path: Points, both: Sights) -> tuple[float, float]:
    """How much the ground beside a line has changed, and how alike its surroundings are."""
    before, after = (day.get(line.lamp) for day in both.lines)
    if before is None or after is None or len(path) < 2:
        return _USUAL
    tangent = np.gradient(uniform_filter1d(path, _POINTS, axis=0, mode="nearest"), axis=0)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    change = _beside(after, path, normal, _GROUND) - _beside(before, path, normal, _GROUND)
    first, second = (_beside(day, path, normal, _AROUND) for day in (before, after))
    first, second = first - first.mean(), second - second.mean()
    alike = (first * second).sum() / max(1e-6, float(np.linalg.norm(first) * np.linalg.norm(second)))
    return float(abs(change.mean())), float(alike)


def _beside(day: Lines, path: Points, normal: Values, distances: Values) -> Values:
    """Light beside a line: (len(path), len(distances))."""
    x, y = np.moveaxis(path[:, None] + distances[:, None] * normal[:, None], -1, 0).astype(np.float32)
    return np.asarray(
        cv2.remap(day.light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float64
    )
