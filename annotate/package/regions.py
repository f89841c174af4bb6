"""Findings as regions of a photograph: what Web Annotation, OME-TIFF and others draw from."""

from dataclasses import dataclass

import numpy as np

from setstone.annotate.overlay import mapped, to_photograph
from setstone.annotate.shapes import Points
from setstone.measure.candidates import LampName
from setstone.record.entries import CandidateEntry, ExaminationEntry


@dataclass(frozen=True, eq=False)
class Found:
    """A finding on one photograph.

    Parameters
    ----------
    entry : CandidateEntry
    points : (N, 2) float64 array
        In pixels of the upright photograph; (0, 0) is the corner of the first pixel, as in SVG, Media
        Fragments and OME.
    closed : bool
        Whether they enclose an area; else they are a line.
    """

    entry: CandidateEntry
    points: Points
    closed: bool

    @property
    def kind(self) -> str:
        """What a person said it shows."""
        return kind_of(self.entry)


def kind_of(finding: CandidateEntry) -> str:
    """What a person said a finding shows."""
    decision = finding.decision
    return str(decision.kind) if decision is not None and decision.kind is not None else "other"


def findings_on(entry: ExaminationEntry, lamp: LampName) -> tuple[Found, ...]:
    """Findings of an examination on the photograph in this light; none where it could not be aligned."""
    matrix = to_photograph(entry, lamp)
    if matrix is None:
        return ()
    return tuple(
        Found(c, mapped(c.candidate.path, matrix) + 0.5, c.candidate.kind == "spot")
        for c in sorted(entry.candidates, key=lambda c: c.number)
        if c.is_finding
    )


def girdle_on(entry: ExaminationEntry, lamp: LampName) -> Points | None:
    """Outline of the girdle on the photograph in this light, in the same pixels; None without one."""
    matrix = to_photograph(entry, lamp)
    if matrix is None or entry.result.outline is None:
        return None
    return np.asarray(mapped(entry.result.outline.points, matrix) + 0.5, np.float64)
