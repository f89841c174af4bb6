"""Whether a photograph is fit to be measured: what would make every reading of it worthless."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.photograph import Pixels

#: Grey levels of 255.
_BLACK, _WHITE = 12, 250
#: Share from which a picture is black or white; dust and glints make up the rest.
_ALL = 0.99
#: Share of the stone that may have a channel overexposed; glints on the facets stay below it.
_CLIPPED_SHARE = 1 / 3
#: Shortest side below which a stone is too coarse to be measured, in pixels.
_SMALL_PX = 400
#: Standard deviation of 8 × 8 means, in grey levels of 255, below which there is nothing to see: camera
#: noise of ten levels averages to about one.
_STRUCTURE = 1.5


@dataclass(frozen=True)
class Flag:
    """One thing that makes a photograph unfit or doubtful.

    Parameters
    ----------
    code : {"black", "white", "clipped", "flat", "small"}
    text : str
        What is wrong and what to do.
    """

    code: str
    text: str


def fitness(pixels: Pixels, inside: NDArray[np.bool_] | None = None) -> tuple[Flag, ...]:
    """Name what makes a photograph unfit to be measured.

    The limits are common practice, without a published source.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded.
    inside : (H, W) bool array, optional
        The stone; without it, or when it is empty, the whole picture is judged.

    Returns
    -------
    tuple of Flag
        Empty when nothing is wrong.
    """
    if inside is not None and not inside.any():
        inside = None
    where = "picture" if inside is None else "stone"
    flags = []
    if min(pixels.shape[:2]) < _SMALL_PX:
        height, width = pixels.shape[:2]
        flags.append(
            Flag(
                "small",
                f"The picture is only {width} × {height} pixels; use the camera's full size.",
            )
        )
    top = np.iinfo(pixels.dtype).max
    red, green, blue = cv2.split(pixels)
    brightest, dimmest = np.maximum(np.maximum(red, green), blue), np.minimum(np.minimum(red, green), blue)
    if inside is not None:
        brightest, dimmest = brightest[inside], dimmest[inside]
    clipped = float((brightest > top * _WHITE / 255).mean())
    if (brightest < top * _BLACK / 255).mean() > _ALL:
        flags.append(Flag("black", f"The {where} is black; check the lamp and photograph again."))
    elif (dimmest > top * _WHITE / 255).mean() > _ALL:
        flags.append(Flag("white", f"The {where} is white; shorten the exposure and photograph again."))
    elif clipped > _CLIPPED_SHARE:
        flags.append(
            Flag(
                "clipped",
                f"{clipped:.0%} of the {where} is overexposed and hides what is there; "
                "shorten the exposure and photograph again.",
            )
        )
    elif _structure(pixels, inside) < _STRUCTURE:
        flags.append(Flag("flat", f"The {where} shows nearly nothing; check focus and position."))
    return tuple(flags)


def _structure(pixels: Pixels, inside: NDArray[np.bool_] | None) -> float:
    """Return the standard deviation of 8 × 8 means over the stone, in grey levels of 255."""
    size = tuple(max(1, side // 8) for side in pixels.shape[1::-1])
    means = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).mean(axis=-1)
    if inside is not None:
        covered = cv2.resize(inside.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        means = means[covered] if covered.any() else means
    return float(means.std() * (255 / np.iinfo(pixels.dtype).max))
