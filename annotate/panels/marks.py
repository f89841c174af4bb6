"""How the outline, candidates and findings look on the canvas."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.bench.geometry import ellipse_corners, thinned
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
UNSEEN = "#00000000"
_GROUND = f"{INK}bf"

# In pixels of the screen; the functions below are told how large one is in pixels of the photograph, `unit`.
_WIDTHS = {CANDIDATE: 1.8, FINDING: 2.8, REJECTED: 1.0, GIRDLE: 1.6}
_HALO = 1.8
_DASH, _GAP = 8.0, 5.0
_CLEAR = 10.0
_ROOM = 15.0, 34.0
#: A path drawn with fewer points departs from the full one by at most this, in px: it can be dragged.
_TOLERANCE_PX = 1.0
#: Vertices of a free outline that can be dragged.
_HANDLES = 48


@dataclass(frozen=True, eq=False)
class Mark:
    """One shape of a napari shapes layer.

    Parameters
    ----------
    points : (N, 2) float64 array
        Vertices as row, column in pixels; the corners of its box for an ellipse.
    form : {"path", "polygon", "ellipse", "line"}
    colour : str
    width : float
        Of its stroke, in pixels.
    """

    points: Points
    form: Literal["path", "polygon", "ellipse", "line"]
    colour: str
    width: float

    def same_as(self, other: "Mark") -> bool:
        """Whether both look the same."""
        return (self.form, self.colour, self.width) == (other.form, other.colour, other.width) and (
            np.array_equal(self.points, other.points)
        )


def girdle(outline: Outline, unit: float) -> Mark:
    """Outline of the stone."""
    width = _WIDTHS[GIRDLE] * unit
    if outline.shape == "ellipse":
        return Mark(ellipse_corners(outline.points)[:, ::-1], "ellipse", GIRDLE, width)
    return Mark(thinned(outline.points, _HANDLES)[:, ::-1], "polygon", GIRDLE, width)


def mark(entry: CandidateEntry, unit: float, *, seen: bool) -> Mark:
    """Candidate or finding; where it is not to be seen, it is there all the same to be dragged."""
    colour = _colour(entry)
    width = _WIDTHS[colour] * unit
    path = entry.candidate.path
    if entry.candidate.kind == "spot":
        return Mark(ellipse_corners(path)[:, ::-1], "ellipse", colour if seen else UNSEEN, width)
    return Mark(_thin(path)[:, ::-1], "path", colour if seen else UNSEEN, width)


def halo(of: Mark, unit: float) -> Mark:
    """Dark ground that keeps a mark visible on any picture."""
    return Mark(of.points, of.form, _GROUND, of.width + _HALO * unit)


def ring(entry: CandidateEntry, unit: float) -> Mark:
    """Line around the candidate looked at, which leaves it free to be seen."""
    clear = max(4.0, _CLEAR * unit)
    closed = around(entry.candidate.path, clear, closed=entry.candidate.kind == "spot")
    return Mark(np.asarray(closed[:, ::-1], np.float64), "polygon", LOOKED_AT, _WIDTHS[CANDIDATE] * unit)


def gaps(entries: Sequence[CandidateEntry], unit: float) -> NDArray[np.float64]:
    """Dark pieces that make dashes of the lines of candidates nobody has judged.

    Returns
    -------
    (N, 2, 2) float64 array
        Begin and direction of each piece, as row, column in pixels.
    """
    dash, gap = _DASH * unit, _GAP * unit
    pieces = [
        piece
        for entry in entries
        if entry.decision is None and entry.candidate.kind == "line"
        for piece in _pieces(_thin(entry.candidate.path), dash, gap)
    ]
    return np.array(pieces, np.float64).reshape(-1, 2, 2)[:, :, ::-1]


def gap_width(unit: float) -> float:
    """Width of the pieces `gaps` gives, in pixels."""
    return _WIDTHS[CANDIDATE] * unit * 1.1


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


def _pieces(path: Points, dash: float, gap: float) -> list[tuple[Points, Points]]:
    steps = np.hypot(*np.diff(path, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    pieces = []
    begin = dash
    while begin < along[-1]:
        ends = np.array([begin, min(begin + gap, along[-1])])
        a, b = np.column_stack([np.interp(ends, along, path[:, 0]), np.interp(ends, along, path[:, 1])])
        pieces.append((a, b - a))
        begin += dash + gap
    return pieces
