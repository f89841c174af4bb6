"""The few shapes every drawing is made of; SVG and PNG draw the same list.

Coordinates are pixels of the photograph: x right, y down, (0, 0) the centre of the first pixel.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Role = Literal["outline", "finding", "candidate", "legend"]
Layer = Literal["girdle", "lines", "spots"]


@dataclass(frozen=True, eq=False)
class Path:
    """A line through points, or the area it encloses.

    Parameters
    ----------
    points : (N, 2) float64 array
    closed : bool
        The last point joins the first.
    stroke, fill : str
        Colours as ``"#rrggbb"``; empty for none.
    width : float
        Of the stroke, in pixels.
    dashes : tuple of float
        Lengths drawn and left out in turn, in pixels; empty for a solid line.
    """

    points: Points
    closed: bool
    stroke: str = ""
    width: float = 0.0
    dashes: tuple[float, ...] = ()
    fill: str = ""


@dataclass(frozen=True)
class Text:
    """One line of text.

    Parameters
    ----------
    text : str
    x, y : float
        Where the baseline starts, has its middle or ends (see `anchor`), in pixels.
    size : float
        Height of the font, in pixels.
    colour : str
        As ``"#rrggbb"``.
    bold : bool
    anchor : {"start", "middle", "end"}
    """

    text: str
    x: float
    y: float
    size: float
    colour: str
    bold: bool = False
    anchor: Literal["start", "middle", "end"] = "start"


Shape = Path | Text


@dataclass(frozen=True, eq=False)
class Group:
    """Shapes that belong together.

    Parameters
    ----------
    role : {"outline", "finding", "candidate", "legend"}
    title : str
        What they show, in words, for people who cannot see them.
    shapes : tuple of Shape
        In the order of drawing.
    tag : tuple of Shape
        The numbered label, drawn after the shapes of all groups.
    number : int or None
        The number of the finding or candidate.
    layer : {"girdle", "lines", "spots"} or None
        What a reader can switch on and off together.
    """

    role: Role
    title: str
    shapes: tuple[Shape, ...]
    tag: tuple[Shape, ...] = ()
    number: int | None = None
    layer: Layer | None = None


@dataclass(frozen=True, eq=False)
class Overlay:
    """Everything drawn over one photograph, and the strip below it.

    Parameters
    ----------
    width, height : int
        Of the photograph, in pixels.
    strip : int
        Height of the legend below the photograph, in pixels; 0 for none.
    title, description : str
        For people who cannot see the drawing.
    groups : tuple of Group
    """

    width: int
    height: int
    strip: int
    title: str
    description: str
    groups: tuple[Group, ...]


def box(left: float, top: float, right: float, bottom: float) -> Points:
    """Corners of a rectangle, shape (4, 2)."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float64)


def pill(x: float, y: float, width: float, height: float) -> Points:
    """Outline of a rectangle with round ends about (x, y), shape (N, 2).

    The width is never less than the height: then it is a disc.
    """
    radius = height / 2
    reach = max(width / 2 - radius, 0.0)
    turn = np.linspace(-np.pi / 2, np.pi / 2, 13)
    right = np.column_stack((x + reach + radius * np.cos(turn), y + radius * np.sin(turn)))
    left = np.column_stack((x - reach - radius * np.cos(turn), y - radius * np.sin(turn)))
    return np.concatenate((right, left))
