"""How the outline, candidates and findings look on the canvas."""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.bench.geometry import ellipse_corners, ellipse_points, thinned
from setstone.annotate.bench.strokes import Stroke, dashes
from setstone.annotate.casing import around
from setstone.annotate.style import INK
from setstone.measure.outline import Outline
from setstone.record.entries import CandidateEntry

Points = NDArray[np.float64]

# Colours of Okabe & Ito, "Color Universal Design" (2008). What a mark means is told without its colour too: by
# dashes (candidate), a broad line (finding), a hair line (rejected), and by the sign at its number.
CANDIDATE = "#f0e442"
FINDING = "#ffffff"
REJECTED = "#cccccc"
GIRDLE = "#56b4e9"
LOOKED_AT = "#e69f00"
MEASURED = "#cc79a7"
#: All colours the marks are drawn with.
INKS = (INK, CANDIDATE, FINDING, REJECTED, GIRDLE, LOOKED_AT)

# In pixels of the screen; the functions below are told how large one is in pixels of the photograph, `unit`.
_WIDTHS = {CANDIDATE: 1.8, FINDING: 2.8, REJECTED: 1.0, GIRDLE: 1.6, LOOKED_AT: 1.8}
_HALO = 1.8
#: Of what is drawn or dragged.
WIDTH_IN_HAND = 2.0
_DASH, _GAP = 8.0, 5.0
_CLEAR, _BESIDE = 10.0, 5.0
_ROOM = 15.0, 34.0
#: A path drawn with fewer points departs from the full one by at most this, in px: it can be dragged.
_TOLERANCE_PX = 1.0
#: Vertices of a free outline that can be dragged.
_HANDLES = 48
#: Vertices a spot is drawn with.
_ROUND = 48


class Shape(NamedTuple):
    """One shape of a napari shapes layer, there to be dragged.

    Parameters
    ----------
    points : (N, 2) float64 array
        Vertices as row, column in pixels; the corners of its box for an ellipse.
    form : {"path", "polygon", "ellipse"}
    """

    points: Points
    form: Literal["path", "polygon", "ellipse"]

    def same_as(self, other: "Shape") -> bool:
        """Whether both are the same."""
        return self.form == other.form and np.array_equal(self.points, other.points)


def girdle_shape(outline: Outline) -> Shape:
    """Outline of the stone, to be dragged."""
    if outline.shape == "ellipse":
        return Shape(ellipse_corners(outline.points)[:, ::-1], "ellipse")
    return Shape(thinned(outline.points, _HANDLES)[:, ::-1], "polygon")


def shape(entry: CandidateEntry) -> Shape:
    """Candidate or finding, to be dragged."""
    path = entry.candidate.path
    if entry.candidate.kind == "spot":
        return Shape(ellipse_corners(path)[:, ::-1], "ellipse")
    return Shape(_thin(path)[:, ::-1], "path")


def girdle(outline: Outline, unit: float, *, in_hand: bool) -> list[Stroke]:
    """Outline of the stone; only its dark ground where it is in hand, for it is shown as what is dragged then."""
    return _stroke(_closed(outline.points), GIRDLE, unit, in_hand=in_hand)


def mark(entry: CandidateEntry, unit: float, *, in_hand: bool) -> list[Stroke]:
    """Candidate or finding, a candidate in dashes."""
    path = entry.candidate.path
    colour = _colour(entry)
    if entry.candidate.kind == "spot":
        return _stroke(_closed(ellipse_points(ellipse_corners(path), _ROUND)), colour, unit, in_hand=in_hand)
    thin = _thin(path)
    ground, *line = _stroke(thin, colour, unit, in_hand=in_hand)
    if colour == CANDIDATE and line:
        line = [
            Stroke(piece[:, ::-1], line[0].width, line[0].ink)
            for piece in dashes(thin, _DASH * unit, _GAP * unit)
        ]
    return [ground, *line]


def ring(entry: CandidateEntry, unit: float) -> list[Stroke]:
    """Line around the candidate looked at, which leaves it free to be seen."""
    clear = max(4.0, _CLEAR * unit)
    path = around(entry.candidate.path, clear, closed=entry.candidate.kind == "spot")
    return _stroke(_closed(path), LOOKED_AT, unit, in_hand=False)


def end(points: Points, unit: float) -> list[Stroke]:
    """Dashes around the end of a line by which it is longer than on the day before."""
    path = around(points, max(3.0, _BESIDE * unit), closed=False)
    return [
        Stroke(piece[:, ::-1], _WIDTHS[LOOKED_AT] * unit, INKS.index(LOOKED_AT))
        for piece in dashes(_closed(path), _DASH * unit, _GAP * unit)
    ]


def label(entry: CandidateEntry) -> str:
    """Number with a sign: ? for a candidate, ✓ for a finding, × for a rejected one."""
    sign = "?" if entry.decision is None else "✓" if entry.is_finding else "×"
    return f"{entry.number}{sign}"


def labelled(entries: Sequence[CandidateEntry], unit: float) -> list[tuple[str, float, float]]:
    """Labels that have room at this zoom, those that come first first.

    Returns
    -------
    list of (str, float, float)
        The label, and where it stands, above the upper end: row, column in pixels.
    """
    there: list[tuple[str, float, float]] = []
    for entry in entries:
        x, y = entry.candidate.path[entry.candidate.path[:, 1].argmin()]
        row, column = float(y) - 1.4 * _CLEAR * unit, float(x)
        if all(abs(row - r) > _ROOM[0] * unit or abs(column - c) > _ROOM[1] * unit for _, r, c in there):
            there.append((label(entry), row, column))
    return there


def _colour(entry: CandidateEntry) -> str:
    if entry.decision is None:
        return CANDIDATE
    return FINDING if entry.is_finding else REJECTED


def _thin(path: Points) -> Points:
    thin = cv2.approxPolyDP(path.astype(np.float32)[:, None], _TOLERANCE_PX, False)[:, 0]
    return np.asarray(thin if len(thin) > 1 else path[[0, -1]], np.float64)


def _closed(points: Points) -> Points:
    return np.concatenate([points, points[:1]])


def _stroke(points: Points, colour: str, unit: float, *, in_hand: bool) -> list[Stroke]:
    """A line on a dark ground that keeps it visible on any picture."""
    width, row_column = _WIDTHS[colour], points[:, ::-1]
    ground = Stroke(row_column, (width + _HALO) * unit, INKS.index(INK))
    return [ground] if in_hand else [ground, Stroke(row_column, width * unit, INKS.index(colour))]
