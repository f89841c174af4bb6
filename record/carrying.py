"""What a person decided on one examination holds for the next one of the same stone and occasion."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import DEPTHS, Candidate
from setstone.measure.examination import Examination
from setstone.measure.outline import Outline
from setstone.measure.quantity import Quantity
from setstone.record.entries import CandidateEntry, ExaminationEntry

#: Two candidates are the same when their paths lie this near each other on average, as a share of the
#: stone's size: a line drawn by the program shifts by less from one version to the next, and two
#: neighbouring facet junctions lie farther apart (common practice, no source).
_NEAR = 0.01
#: Points along a path at which distances are taken.
_POINTS = 64

Path = NDArray[np.float64]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Carried:
    """A candidate of the earlier examination that a person decided on, drew, or drew again.

    Parameters
    ----------
    earlier : CandidateEntry
        As it stood in the earlier examination.
    candidate : Candidate
        The same in the pixels and the scale of the new examination; as a person drew it, where one did.
    number : int
        Its number there.
    found_again : bool
        Whether `number` is that of a candidate the new examination found itself.
    """

    earlier: CandidateEntry
    candidate: Candidate
    number: int
    found_again: bool


def carried_over(
    earlier: ExaminationEntry, result: Examination, motion: Matrix | None = None
) -> tuple[Carried, ...]:
    """Match what a person decided on earlier with the candidates of a new examination.

    Nothing is lost: what was not found again, and whatever was drawn by hand, is carried as it was and
    numbered after all that was found.

    Parameters
    ----------
    earlier : ExaminationEntry
    result : Examination
        Its candidates count from 1.
    motion : (3, 3) float64 array, optional
        Maps pixels (x, y, 1) of the earlier reference photograph to those of the new one; they are the
        same when not given.

    Returns
    -------
    tuple of Carried
        In the order of the earlier numbers.
    """
    motion = np.eye(3) if motion is None else motion
    reach = _NEAR * _size(result)
    free = {
        number: (candidate, _sampled(candidate))
        for number, candidate in enumerate(result.candidates, start=1)
    }
    number = len(result.candidates)
    carried = []
    for entry in earlier.candidates:
        if entry.decision is None and entry.origin == "program" and entry.first_drawn is None:
            continue
        candidate = _moved(entry.candidate, motion, earlier.result, result)
        first = candidate
        if entry.first_drawn is not None:
            first = _moved(entry.first_drawn, motion, earlier.result, result)
        match = None if entry.origin == "hand" else _nearest(first, free, reach)
        if match is None:
            number += 1
            carried.append(Carried(entry, candidate, number, found_again=False))
        else:
            found = free.pop(match)[0]
            kept = found if entry.first_drawn is None else candidate
            carried.append(Carried(entry, kept, match, found_again=True))
    return tuple(carried)


def outline_carried_over(earlier: ExaminationEntry, motion: Matrix) -> Outline | None:
    """Return the outline a person drew on an earlier examination as it lies on the new photographs.

    Parameters
    ----------
    earlier : ExaminationEntry
    motion : (3, 3) float64 array
        Maps pixels (x, y, 1) of the earlier reference photograph to those of the new one.

    Returns
    -------
    Outline or None
        None when no person drew it.
    """
    outline = earlier.result.outline
    if outline is None or not earlier.outline_redrawn:
        return None
    zoom = float(np.sqrt(abs(np.linalg.det(motion[:2, :2]))))
    return replace(outline, points=_mapped(outline.points, motion), u_px=outline.u_px * zoom)


def _mapped(points: Path, motion: Matrix) -> Path:
    x, y, w = motion @ np.column_stack([points, np.ones(len(points))]).T
    return np.column_stack([x / w, y / w])


def _nearest(candidate: Candidate, among: dict[int, tuple[Candidate, Path]], reach: float) -> int | None:
    """Return the number of the nearest candidate of the same kind and lamp within `reach` pixels."""
    path = _sampled(candidate)
    distances = {
        number: _distance(path, other_path)
        for number, (other, other_path) in among.items()
        if (other.kind, other.lamp) == (candidate.kind, candidate.lamp)
        # Only what is near on average can have its middle so near the box around the path: saves most of the work.
        and (path.min(axis=0) - reach <= other_path.mean(axis=0)).all()
        and (other_path.mean(axis=0) <= path.max(axis=0) + reach).all()
    }
    best = min(distances, key=distances.__getitem__, default=None)
    return best if best is not None and distances[best] < reach else None


def _distance(a: Path, b: Path) -> float:
    """Greater of the two mean distances from one path to the nearest points of the other, in pixels."""
    between = np.hypot(*(a[:, None] - b).transpose(2, 0, 1))
    return float(max(between.min(axis=0).mean(), between.min(axis=1).mean()))


def _sampled(candidate: Candidate) -> Path:
    """Points at equal steps along the path: its own vertices may be few and far between."""
    path = candidate.path
    if candidate.kind == "spot":  # its outline is closed
        path = np.concatenate([path, path[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    steps = np.linspace(0, along[-1], _POINTS)
    return np.column_stack([np.interp(steps, along, path[:, i]) for i in (0, 1)])


def _moved(candidate: Candidate, motion: Matrix, old: Examination, new: Examination) -> Candidate:
    """Return the same candidate on the new reference photograph, measured with the new scale."""
    if np.array_equal(motion, np.eye(3)) and old.scale == new.scale:
        return candidate
    sizes: dict[str, Quantity] = {}
    for name, size in candidate.sizes.items():
        if not size.unit or name in DEPTHS:
            sizes[name] = size
        elif old.scale is not None and new.scale is not None:
            zoom = float(np.sqrt(abs(np.linalg.det(motion[:2, :2]))))
            ratio = zoom * new.scale.um_per_px / old.scale.um_per_px
            sizes[name] = Quantity(size.value * ratio, size.u * ratio, size.unit)
    return replace(candidate, path=_mapped(candidate.path, motion), sizes=sizes)


def _size(result: Examination) -> float:
    """Size of the stone, else of the picture, in pixels."""
    if result.outline is None:
        return float(min(result.size))
    return float(np.ptp(result.outline.points, axis=0).max())
