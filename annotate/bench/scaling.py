"""Correcting the scale: the two ends of the bar on the picture, and what a person says lies between them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from setstone.capture.photograph import Pixels
from setstone.measure.quantity import Quantity
from setstone.measure.scale import Scale
from setstone.record.entries import PhotographEntry
from setstone.record.marking import scale_between

if TYPE_CHECKING:
    from setstone.measure.scalebar import ScaleBar

# What reads scale bars is imported where it is used: a window opens without it.

#: An end left within this of where it was found counts as not moved, in px.
_UNMOVED_PX = 0.5


@dataclass(frozen=True, eq=False)
class BarEnds:
    """A scale bar as it stands on a picture, or a line offered where none was found.

    Parameters
    ----------
    ends : (2, 2) float64 array
        Pixels x, y of both ends.
    label : str
        Its length as read, for example ``"1 mm"``; empty when nothing was read for certain.
    found : ScaleBar or None
    """

    ends: NDArray[np.float64]
    label: str
    found: "ScaleBar | None"


def bar_ends(pixels: Pixels) -> BarEnds:
    """Find the bar in a picture; without one, offer a line low in it.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array

    Returns
    -------
    BarEnds
    """
    from setstone.measure.scalebar import find_scale_bar

    bar = find_scale_bar(pixels)
    if bar is not None:
        return BarEnds(np.array([bar.p0, bar.p1]), bar.label or "", bar)
    height, width = pixels.shape[:2]
    return BarEnds(np.array([[0.55, 0.9], [0.85, 0.9]]) * (width, height), "", None)


def scale_typed(bar: BarEnds, ends: NDArray[np.float64], length: str) -> Scale:
    """Scale from the ends as they stand now and the length a person typed.

    Parameters
    ----------
    bar : BarEnds
        As found or offered.
    ends : (2, 2) float64 array
        Where the ends are now, pixels x, y.
    length : str
        With its unit, as ``"1 mm"`` or ``"500 µm"``.

    Returns
    -------
    Scale
        Ends that were not moved keep the uncertainty with which they were found.

    Raises
    ------
    BookError
        When the length has no unit, or the ends are too close to one another.
    MeasurementError
        When the scale is not possible for a photograph of a stone.
    """
    from setstone.measure.scalebar import scale_from_bar
    from setstone.record.examining import given_length

    um = given_length(length)
    if bar.found is not None and np.abs(ends - bar.ends).max() <= _UNMOVED_PX:
        return scale_from_bar(bar.found, um)
    return scale_between(ends, um)


def width_words(scale: Scale | None, entry: PhotographEntry) -> str:
    """Say how wide a photograph is, in millimetres with its uncertainty (k = 2)."""
    if scale is None:
        return "scale not known yet"
    width = entry.width * scale.um_per_px / 1000
    return f"{Quantity(width, width * scale.relative_u, 'mm')} wide"


def scale_words(scale: Scale | None, entry: PhotographEntry) -> str:
    """Say the scale of a photograph: how wide it is, and where that comes from."""
    if scale is None:
        return "Scale not known yet: the examination reads it from the scale bar, or set it here."
    source = {
        "scale bar": f"read from the bar “{scale.detail}”",
        "bar length given": f"from the bar, its length given as {scale.detail}",
        "given": f"set by a person ({scale.detail})" if scale.detail else "as stated",
        "file": "stated in the file",
        "calibration": f"from the calibration {scale.detail}",
    }[scale.source]
    return f"The picture is {width_words(scale, entry)} (k\u00a0=\u00a02), {source}."
