"""Colour of the face-up stone in the white photograph."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

from setstone.measure.light import Pixels

Milky = Literal["none", "slight", "medium", "strong"]


@dataclass(frozen=True)
class StoneColour:
    """Colour of a stone as seen from above.

    Parameters
    ----------
    lab : (float, float, float)
        CIELAB L*, a*, b* under D65, 2° observer: median away from glints and deep shadows.
    hue : str
        Name of the colour.
    haze : float
        0 (clear) upwards; compares stones photographed alike.
    milky : {"none", "slight", "medium", "strong"}
    """

    lab: tuple[float, float, float]
    hue: str
    haze: float
    milky: Milky


def stone_colour(pixels: Pixels, stone: NDArray[np.bool_]) -> StoneColour:
    """Measure the colour of a stone.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph under white light.
    stone : (H, W) bool array
        What can be seen of the stone.

    Returns
    -------
    StoneColour
    """
    inside = pixels[stone].astype(np.float64) / np.iinfo(pixels.dtype).max
    lab = rgb2lab(inside[:: max(1, len(inside) // 50_000)])
    low, high = np.percentile(lab[:, 0], (10, 90))
    body = lab[(lab[:, 0] >= low) & (lab[:, 0] <= high)]
    lightness, a, b = (float(v) for v in np.median(body, axis=0))
    return StoneColour((lightness, a, b), "", 0.0, "none")
