"""What a person decided on one examination holds for the next one of the same photographs' occasion."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination
from setstone.record.entries import CandidateEntry, ExaminationEntry

#: Two candidates are the same when their paths lie this near each other on average, as a share of the
#: picture's shorter side.
_NEAR = 0.01


@dataclass(eq=False)
class Carried:
    """A candidate of the earlier examination that a person decided on or drew.

    Parameters
    ----------
    entry : CandidateEntry
        As it stood in the earlier examination.
    match : int or None
        Index of the same candidate in the new one; None when it was not found again.
    number : int
        Its number in the new examination, once it has one.
    """

    entry: CandidateEntry
    match: int | None
    number: int = 0


def carried_over(earlier: ExaminationEntry, result: Examination) -> list[Carried]:
    """Match what a person decided on earlier with the candidates of a new examination.

    Nothing is lost: what was not found again is carried as it was.

    Parameters
    ----------
    earlier : ExaminationEntry
    result : Examination

    Returns
    -------
    list of Carried
        In the order of the earlier numbers.
    """
    reach = _NEAR * min(result.size)
    free = dict(enumerate(result.candidates))
    carried = []
    for entry in earlier.candidates:
        if entry.decision is None and entry.origin == "program":
            continue
        distances = {
            i: _distance(entry.candidate, c)
            for i, c in free.items()
            if entry.origin == "program"
            and (c.kind, c.lamp) == (entry.candidate.kind, entry.candidate.lamp)
            and _boxes_near(entry.candidate.path, c.path, reach)
        }
        best = min(distances, key=distances.__getitem__, default=None)
        if best is not None and distances[best] <= reach:
            del free[best]
            carried.append(Carried(entry, best))
        else:
            carried.append(Carried(entry, None))
    return carried


def _distance(a: Candidate, b: Candidate) -> float:
    """Greater of the two mean distances from one path to the other, in pixels."""
    there = np.mean(cKDTree(b.path).query(a.path)[0])
    back = np.mean(cKDTree(a.path).query(b.path)[0])
    return float(max(there, back))


def _boxes_near(a: NDArray[np.float64], b: NDArray[np.float64], reach: float) -> bool:
    return bool(
        (a.min(axis=0) <= b.max(axis=0) + reach).all() and (b.min(axis=0) <= a.max(axis=0) + reach).all()
    )
