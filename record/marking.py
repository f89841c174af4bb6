"""Findings drawn by hand: from millimetres on the picture to a candidate of the book."""

import math
import re

import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate, LampName, Reason
from setstone.measure.examination import Examination
from setstone.measure.quantity import Quantity, combine
from setstone.record.errors import BookError

#: How well a person places a point, as a standard uncertainty in pixels (common practice, no source).
_HAND_PX = 2.0

_POINT = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)\s*")


def points_mm(text: str) -> NDArray[np.float64]:
    """Read points as typed: ``"1.20,0.85 1.31,0.92"``.

    Parameters
    ----------
    text : str
        Pairs of millimetres right and down, a comma within and blanks between pairs.

    Returns
    -------
    (N, 2) float64 array

    Raises
    ------
    BookError
        When it is anything else.

    Examples
    --------
    >>> points_mm("1.20,0.85 1.31,0.92").tolist()
    [[1.2, 0.85], [1.31, 0.92]]
    """
    matches = [_POINT.fullmatch(pair) for pair in text.split()]
    if not matches or any(m is None for m in matches):
        raise BookError(
            f"'{text}' is no list of points; write millimetres right and down, as '1.20,0.85' or '1.20,0.85 1.31,0.92'."
        )
    return np.array([[float(m[1]), float(m[2])] for m in matches if m is not None])


def drawn_by_hand(
    result: Examination,
    points: NDArray[np.float64],
    *,
    diameter_um: float | None = None,
    lamp: LampName | None = None,
) -> Candidate:
    """Make a candidate of what a person drew.

    Parameters
    ----------
    result : Examination
        Whose reference photograph it was drawn on.
    points : (N, 2) float64 array
        Millimetres right and down from the upper left corner of the reference photograph: one point
        for a spot, more for a line.
    diameter_um : float, optional
        Of a spot; needed for one.
    lamp : {"white", "blue"}, optional
        The light under which it was seen; that of the reference photograph when not given.

    Returns
    -------
    Candidate
        With its sizes; its contrast is not a number, because nobody measured it.

    Raises
    ------
    BookError
        When the scale is not known, a point lies outside the picture, or a spot has no diameter.
    """
    scale = result.scale
    if scale is None:
        raise BookError("The scale of the photograph is not known; examine the stone with a scale first.")
    # (0, 0) px is the centre of the first pixel, whose upper left corner is at -0.5 px.
    path = points * 1000 / scale.um_per_px - 0.5
    width, height = (side * scale.um_per_px / 1000 for side in result.size)
    if not ((path >= -0.5) & (path <= np.array(result.size) - 0.5)).all():
        raise BookError(
            f"A point lies outside the picture, which is {width:.2f} mm wide and {height:.2f} mm high."
        )
    lamp = lamp or result.reference
    drawn = (Reason("drawn", "Marked by a person.", speaks_for=True),)
    u_mm = _HAND_PX * scale.um_per_px / 1000
    if len(path) > 1:
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
        u = combine(math.sqrt(2) * u_mm, length * scale.relative_u)
        sizes = {"length": Quantity(length, u, "mm")}
        return Candidate("line", path, lamp, 1.0, drawn, math.nan, sizes)
    if diameter_um is None:
        raise BookError(
            "A single point is a spot; give its diameter in micrometres, or more points for a line."
        )
    if not 0 < diameter_um < 1000 * max(width, height):
        raise BookError(
            f"A diameter of {diameter_um:g} µm is not possible in this picture; give that of the spot."
        )
    angle = np.linspace(0, 2 * math.pi, 32, endpoint=False)
    radius = diameter_um / scale.um_per_px / 2
    circle = path + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    u = combine(math.sqrt(2) * u_mm * 1000, diameter_um * scale.relative_u)
    return Candidate("spot", circle, lamp, 1.0, drawn, math.nan, {"diameter": Quantity(diameter_um, u, "µm")})
