"""What changed in a stone from one day to another: lines and spots of both, laid on one another.

A candidate of one day that lies along one of the other, however weak, is in both: what was hardly seen before may be
plain after cleaning, and is no new damage. What has no counterpart counts as changed only where the other day's
photograph could have shown it; in glare, beneath a claw or beyond the girdle as seen nothing can be told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from setstone.measure.candidates import Candidate
from setstone.measure.girdle import visible_stone
from setstone.measure.light import Pixels
from setstone.measure.outline import Outline

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: How near to one another the same thing lies on both days, as a share of the girdle's diameter, and at least px: a stone set
#: anew leans by some tenths of a degree, and what lies deep moves against the girdle.
_NEAR, _NEAR_PX = 0.012, 4.0
#: Share of a path that must lie along others to be the same; and that must be comparable to have changed.
_ALONG, _COMPARABLE = 0.35, 0.5
#: Weakest candidate that counts as seen, and the least score of a line that may be new damage.
_SEEN, DAMAGE = 0.02, 0.5
#: Brightness, of 255, from which a place is glare, and how far around it nothing can be told, px.
_GLARE, _AROUND_PX = 250, 9
#: Distance between points along a path, px.
_STEP_PX = 2.0


class Where(StrEnum):
    """On which of two days a candidate is seen."""

    AFTER = "only after"
    BEFORE = "only before"
    UNKNOWN = "not comparable"
    BOTH = "in both"


@dataclass(frozen=True, eq=False)
class Change:
    """A candidate, and on which days it is seen.

    Parameters
    ----------
    where : Where
    of_after : bool
        Whether `index` counts the candidates after the work; else those before.
    index : int
        Which of them, from 0.
    share : float
        Share of its path that lies along candidates of the other day.
    comparable : float
        Share of its path where the other day's photograph could have shown it.
    possible_damage : bool
        Whether it is a likely line that is seen only after.
    """

    where: Where
    of_after: bool
    index: int
    share: float
    comparable: float
    possible_damage: bool


def comparable(pixels: Pixels, outline: Outline) -> Mask:
    """Where a photograph could show what is inside the stone: in view, and not in glare.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph.
    outline : Outline
        Girdle in it.

    Returns
    -------
    (H, W) bool array
    """
    least = pixels.min(axis=2)
    glare = (least >= _GLARE / 255 * np.iinfo(pixels.dtype).max).astype(np.uint8)
    side = 2 * _AROUND_PX + 1
    around = cv2.dilate(glare, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    return visible_stone(pixels, outline) & (around == 0)


def changes(
    before: Sequence[Candidate],
    after: Sequence[Candidate],
    after_to_before: NDArray[np.float64],
    *,
    shown_before: Sequence[int],
    shown_after: Sequence[int],
    comparable_before: Mask,
    comparable_after: Mask,
    diameter_px: float,
) -> tuple[Change, ...]:
    """Say of the candidates of two days where each is seen.

    Parameters
    ----------
    before, after : sequence of Candidate
        All of each day, weak ones too; paths in the pixels of the reference photograph of the day.
    after_to_before : (3, 3) float64 array
        Maps the photograph after to that before (`setstone.measure.register`).
    shown_before, shown_after : sequence of int
        Those to be told of, by their places in `before` and `after`.
    comparable_before, comparable_after : (H, W) bool arrays
        Of each day (`comparable`).
    diameter_px : float
        Mean diameter of the girdle in the photograph before.

    Returns
    -------
    tuple of Change
        Possible damage first, then what is seen only after, only before, what cannot be compared, and what is in both.
    """
    near = max(_NEAR_PX, _NEAR * diameter_px)
    paths_before = [_dense(c) for c in before]
    paths_after = [_moved(after_to_before, _dense(c)) for c in after]
    back = np.asarray(np.linalg.inv(after_to_before), np.float64)
    found = []
    for index in shown_after:
        share = _along(paths_after[index], _seen(after[index], before, paths_before), near)
        could = _share(comparable_before, paths_after[index])
        found.append(_change(after[index], index, share, could, of_after=True))
    told = set(shown_after)
    for index in shown_before:
        path, kind = paths_before[index], before[index].kind
        listed = [paths_after[i] for i in told if after[i].kind == kind]
        if listed and _along(path, np.concatenate(listed), near) >= _ALONG:
            continue  # in both: told of with those after
        share = _along(path, _seen(before[index], after, paths_after), near)
        could = _share(comparable_after, _moved(back, path))
        found.append(_change(before[index], index, share, could, of_after=False))
    order = list(Where)
    return tuple(sorted(found, key=lambda c: (not c.possible_damage, order.index(c.where), c.index)))


def _change(candidate: Candidate, index: int, share: float, could: float, *, of_after: bool) -> Change:
    if share >= _ALONG:
        where = Where.BOTH
    elif could < _COMPARABLE:
        where = Where.UNKNOWN
    else:
        where = Where.AFTER if of_after else Where.BEFORE
    damage = where is Where.AFTER and candidate.kind == "line" and candidate.score >= DAMAGE
    return Change(where, of_after, index, share, could, damage)


def _seen(like: Candidate, others: Sequence[Candidate], paths: Sequence[Points]) -> Points:
    """Points of the other day's candidates of the same kind that count as seen."""
    of_kind = [
        path
        for other, path in zip(others, paths, strict=True)
        if other.kind == like.kind and other.score >= _SEEN
    ]
    return np.concatenate(of_kind) if of_kind else np.empty((0, 2))


def _along(path: Points, others: Points, near: float) -> float:
    if not len(others):
        return 0.0
    apart = np.asarray(KDTree(others).query(path)[0])
    return float(np.mean(apart < near))


def _share(mask: Mask, path: Points) -> float:
    """Share of a path that lies where a mask holds."""
    x, y = np.round(path).astype(np.int64).T
    inside = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    return float((mask[y[inside], x[inside]]).sum() / len(path))


def _dense(candidate: Candidate) -> Points:
    """Points along a line; the middle of a spot."""
    path = candidate.path
    if candidate.kind == "spot":
        return path.mean(0)[None]
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0.0, run[-1] + 1e-9, _STEP_PX)
    return np.column_stack([np.interp(at, run, path[:, 0]), np.interp(at, run, path[:, 1])])


def _moved(matrix: NDArray[np.float64], points: Points) -> Points:
    moved: Points = points @ matrix[:2, :2].T + matrix[:2, 2]
    return moved
