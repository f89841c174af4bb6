"""Findings drawn by hand: from millimetres on the picture to a candidate of the book."""

import math
import re
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate, LampName, Reason
from setstone.measure.examination import Examination
from setstone.measure.outline import SHORTENING, Outline
from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale
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
    if len(path) > 1:
        return Candidate("line", path, lamp, 1.0, drawn, math.nan, {"length": length_of(path, scale)})
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
    diameter = Quantity(diameter_um, _u_by_hand_um(diameter_um, scale), "µm")
    return Candidate("spot", circle, lamp, 1.0, drawn, math.nan, {"diameter": diameter})


def length_of(path: NDArray[np.float64], scale: Scale) -> Quantity:
    """Length of a line a person drew, in millimetres.

    Parameters
    ----------
    path : (N, 2) float64 array
        Its points in pixels.
    scale : Scale

    Returns
    -------
    Quantity
    """
    length = float(np.hypot(*np.diff(path, axis=0).T).sum()) * scale.um_per_px
    return Quantity(length / 1000, _u_by_hand_um(length, scale) / 1000, "mm")


def scale_between(ends: NDArray[np.float64], length_um: float) -> Scale:
    """Scale from a length between two points a person placed on the picture.

    Parameters
    ----------
    ends : (2, 2) float64 array
        Pixels x, y of both ends.
    length_um : float
        What lies between them, in micrometres.

    Returns
    -------
    Scale

    Raises
    ------
    BookError
        When the ends are too close to one another to give a scale.
    MeasurementError
        When the scale is not possible for a photograph of a stone.
    """
    length_px = float(np.hypot(*(ends[1] - ends[0])))
    u_px = math.sqrt(2) * _HAND_PX
    if length_px < 10 * u_px:
        raise BookError("The two ends are too close to one another; drag them to the ends of the scale bar.")
    um_per_px = length_um / length_px
    detail = f"{length_um:g} µm between two ends set by hand"
    return Scale(um_per_px, um_per_px * u_px / length_px, "given", detail)


def candidate_redrawn(candidate: Candidate, path: NDArray[np.float64], scale: Scale | None) -> Candidate:
    """Return a candidate along the path a person drew for it, with the sizes that follow from the path.

    Parameters
    ----------
    candidate : Candidate
    path : (N, 2) float64 array
        Centre line of a line, closed outline of a spot, in pixels of the reference photograph.
    scale : Scale or None

    Returns
    -------
    Candidate
        The width of a line stays as it was measured.

    Raises
    ------
    BookError
        When the path is too short to be a line, or encloses nothing.
    """
    sizes = dict(candidate.sizes)
    if candidate.kind == "line":
        if len(path) < 2 or not np.ptp(path, axis=0).any():
            raise BookError("A line needs two different points; draw it longer, or reject it.")
        if scale is not None:
            sizes["length"] = length_of(path, scale)
        return replace(candidate, path=path, sizes=sizes)
    x, y = (path - path.mean(axis=0)).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = float(cross.sum()) / 2
    if len(path) < 3 or abs(area) < 1e-6:
        raise BookError("A spot needs an area; draw it larger, or reject it.")
    if scale is not None:
        diameter = 2 * math.sqrt(abs(area) / math.pi) * scale.um_per_px
        sizes["diameter"] = Quantity(diameter, _u_by_hand_um(diameter, scale), "µm")
    axes = np.linalg.eigvalsh(_second_moments(x, y, cross, area))
    longest_by_shortest = math.sqrt(max(1.0, float(axes[1] / max(float(axes[0]), 1e-9))))
    sizes["elongation"] = Quantity(longest_by_shortest, 0.1 * longest_by_shortest, "")
    return replace(candidate, path=path, sizes=sizes)


def outline_redrawn(outline: Outline, points: NDArray[np.float64], *, ellipse: bool) -> Outline:
    """Return an outline along the points a person drew, as sure as a person places points.

    Parameters
    ----------
    outline : Outline
        The one drawn again.
    points : (N, 2) float64 array
        Vertices in order, in pixels.
    ellipse : bool
        Whether they lie on an ellipse.

    Returns
    -------
    Outline
        Seen where the nearest point of the earlier one was.
    """
    apart = np.hypot(*(points[:, None] - outline.points).transpose(2, 0, 1))
    seen = outline.seen[apart.argmin(axis=1)]
    return Outline(points, seen, max(outline.u_px, _HAND_PX), "ellipse" if ellipse else "free")


def _second_moments(
    x: NDArray[np.float64], y: NDArray[np.float64], cross: NDArray[np.float64], area: float
) -> NDArray[np.float64]:
    """Second moments of a polygon's area about its vertices' mean (Green's theorem), by its area."""
    u, v = np.roll(x, -1), np.roll(y, -1)
    xx = float((cross * (x * x + x * u + u * u)).sum()) / 12
    yy = float((cross * (y * y + y * v + v * v)).sum()) / 12
    xy = float((cross * (x * v + 2 * x * y + 2 * u * v + u * y)).sum()) / 24
    return np.array([[xx, xy], [xy, yy]]) / area


def _u_by_hand_um(length_um: float, scale: Scale) -> float:
    """Standard uncertainty of a length between two points a person placed: hand, scale, tilt (JCGM 100:2008, 5.1.2)."""
    return combine(
        math.sqrt(2) * _HAND_PX * scale.um_per_px, length_um * scale.relative_u, length_um * SHORTENING
    )
