"""Examinations that no photograph stands behind, for the tests of record/ and annotate/."""

import numpy as np

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.changes import Change, Where
from setstone.measure.examination import Examination, Flag
from setstone.measure.outline import Outline, diameters
from setstone.measure.quantity import Quantity
from setstone.measure.register import Registration
from setstone.measure.scale import Scale
from setstone.record.before_after import BeforeAfter
from setstone.record.changing import Changed, Comparison
from setstone.record.entries import ExaminationEntry
from setstone.record.two_occasions import Look, TwoOccasions


def line(x: float, score: float = 0.8) -> Candidate:
    path = np.column_stack([np.full(20, x), np.linspace(200, 300, 20)])
    reason = Reason("thin-bright", "Thin and brighter than both sides.", speaks_for=True)
    return Candidate("line", path, "blue", score, (reason,), 21.5, {"length": Quantity(0.4, 0.01, "mm")})


def examination(*candidates: Candidate) -> Examination:
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    points = 400 + 300 * np.column_stack([np.cos(angle), np.sin(angle)])
    outline = Outline(points, np.ones(90, np.bool_), 0.8, "ellipse")
    scale = Scale(4.0, 0.004, "scale bar", "1000 µm")
    return Examination(
        reference="white",
        size=(800, 800),
        scale=scale,
        outline=outline,
        diameters=diameters(outline, scale),
        blue_to_white=np.eye(3),
        candidates=candidates,
        colour=None,
        flags=(Flag("no-blue", "There is no photograph under blue light."),),
    )


def comparison(
    before: ExaminationEntry, after: ExaminationEntry, *where: Where, residual_um: float = 3.0
) -> BeforeAfter:
    """What comparing two days has shown of the candidates after the work, in their order; a new line is possible damage, a longer one grew by its second half."""
    look = Look({"white": np.zeros((8, 8, 3), np.uint8)}, 4.0)
    outline = after.result.outline
    assert outline is not None
    registration = Registration(np.eye(3), 0.0, residual_um / 4, 40, 50, 0.2, True, "they agree")
    changed = []
    for index, (seen, entry) in enumerate(zip(where, after.candidates, strict=False)):
        path = entry.candidate.path
        end = np.stack([path.mean(axis=0), path[-1]]) if seen is Where.LONGER else None
        change = Change(seen, True, index, 0.0, 1.0, seen is Where.AFTER, grown=end)
        changed.append(Changed(change, entry, after.occasion))
    both = TwoOccasions(before, after, (look, look), (outline, outline), registration)
    return BeforeAfter(
        before.occasion,
        after.occasion,
        comparison=Comparison(both, tuple(changed), residual_um, {"white": 1.0}),
    )
