"""Examinations that no photograph stands behind, for the tests of record/ and annotate/."""

import numpy as np

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.examination import Examination, Flag
from setstone.measure.outline import Outline, diameters
from setstone.measure.quantity import Quantity
from setstone.measure.scale import Scale


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
