"""How candidates and findings look on the canvas: colours, widths, labels, shapes."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.bench.geometry import ellipse_corners
from setstone.annotate.casing import around
from setstone.record.entries import CandidateEntry

Points = NDArray[np.float64]

# Colours of Okabe & Ito, "Color Universal Design" (2008), as in setstone.annotate.style; what a mark means
# is told by its label and its width too.
CANDIDATE = "#f0e442"
FINDING = "#ffffff"
REJECTED = "#999999"
GIRDLE = "#56b4e9"
LOOKED_AT = "#e69f00"
MEASURED = "#cc79a7"

#: Widths of strokes in thousandths of the picture's longer side.
_WIDTHS = {CANDIDATE: 1.2, FINDING: 2.0, REJECTED: 0.7}
#: A path drawn with fewer points departs from the full one by at most this, in px: it can be dragged.
_TOLERANCE_PX = 1.0


def colour(entry: CandidateEntry) -> str:
    """Colour of a mark."""
    if entry.decision is None:
        return CANDIDATE
    return FINDING if entry.is_finding else REJECTED


def width(entry: CandidateEntry, size: tuple[int, int]) -> float:
    """Width of a mark's stroke, in px."""
    return max(1.0, _WIDTHS[colour(entry)] * max(size) / 1000)


def label(entry: CandidateEntry) -> str:
    """Number with a sign: ? for a candidate, ✓ for a finding, × for a rejected one."""
    sign = "?" if entry.decision is None else "✓" if entry.is_finding else "×"
    return f"{entry.number}{sign}"


def drawn(entry: CandidateEntry) -> tuple[Points, str]:
    """Shape of a candidate for a shapes layer: vertices (N, 2) as row, column, and what they form."""
    path = entry.candidate.path
    if entry.candidate.kind == "spot":
        return ellipse_corners(path)[:, ::-1], "ellipse"
    thin = cv2.approxPolyDP(path.astype(np.float32)[:, None], _TOLERANCE_PX, False)[:, 0]
    if len(thin) < 2:
        thin = path[[0, -1]]
    return np.asarray(thin[:, ::-1], np.float64), "path"


def ring(entry: CandidateEntry, size: tuple[int, int]) -> Points:
    """Line around a candidate that leaves it free to be seen: vertices (N, 2) as row, column."""
    clear = max(4.0, 9 * max(size) / 1000)
    closed = entry.candidate.kind == "spot"
    return np.asarray(around(entry.candidate.path, clear, closed=closed)[:, ::-1], np.float64)


def text_settings() -> dict[str, Any]:
    """Text of a shapes layer that shows the feature ``label`` beside each shape."""
    return {
        "string": "{label}",
        "anchor": "upper_left",
        "color": {"feature": "colour", "encoding_type": "DirectColorEncoding", "fallback": CANDIDATE},
        "size": 10,
        "translation": [-4, 0],
    }
