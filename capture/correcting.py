"""Shading divided out by a blank field, and white balance from a grey card; both in linear light."""

from dataclasses import dataclass

import cv2
import numpy as np

from setstone.capture.errors import PhotographError
from setstone.capture.light import Light, encoded, linear_light
from setstone.capture.photograph import Lamp, Pixels

#: A grey card reflects 18 % of the light: CIE L* 49.5, sRGB 117.6 of 255 (by the formulas of both standards).
CARD_REFLECTANCE = 0.18
#: Levels of 255 below and above which a card or a blank field says nothing.
_LEAST, _MOST = 5, 250
#: Spread of the card's light, as a share, from which something else lies in it (common practice, no source).
_EVEN = 0.25
#: Fine structure of a blank field, as a share of its light, from which it is not blank.
_BLANK = 0.1


@dataclass(frozen=True)
class WhiteBalance:
    """Factors for linear red, green and blue."""

    red: float
    green: float
    blue: float

    def applied(self, pixels: Pixels) -> Pixels:
        """Correct a photograph taken under the same light: (H, W, 3), of the same type."""
        if pixels.dtype != np.uint8:
            factors = np.array([self.red, self.green, self.blue], np.float32)
            return encoded(linear_light(pixels) * factors, pixels.dtype)
        light = linear_light(np.arange(256, dtype=np.uint8))
        columns = [encoded(light * np.float32(f), np.uint8) for f in (self.red, self.green, self.blue)]
        return np.asarray(cv2.LUT(pixels, np.stack(columns, axis=-1)[None]), np.uint8)


def white_balance(
    pixels: Pixels, box: tuple[int, int, int, int], *, lamp: Lamp = Lamp.WHITE, exposure: bool = False
) -> WhiteBalance:
    """Factors that make a grey card grey.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        Photograph of the card, sRGB-encoded.
    box : (int, int, int, int)
        The card in it: x0, y0, x1, y1 in px.
    lamp : Lamp
        The light; there is no white balance under blue light.
    exposure : bool, optional
        Also bring the card to its 18 % of the light; else brightness stays.

    Returns
    -------
    WhiteBalance
        It removes the lamp's colour; not the camera's errors of colour, nor uneven light.

    Raises
    ------
    PhotographError
        When the card is clipped, too dark, uneven or outside the picture, or the light is not white.
    """
    if lamp is Lamp.BLUE:
        raise PhotographError(
            "Under blue light there is no white balance; photograph the card under the white light."
        )
    x0, y0, x1, y1 = box
    height, width = pixels.shape[:2]
    if not (0 <= x0 < x1 <= width and 0 <= y0 < y1 <= height) or (x1 - x0) * (y1 - y0) < 100:
        raise PhotographError("The grey card is not inside the picture; draw its box again.")
    card = pixels[y0:y1, x0:x1]
    level = np.median(card.reshape(-1, 3), axis=0) * (255 / np.iinfo(pixels.dtype).max)
    if level.max() > _MOST:
        raise PhotographError("The grey card is overexposed; shorten the exposure and photograph it again.")
    if level.min() < _LEAST:
        raise PhotographError("The grey card is too dark; lengthen the exposure and photograph it again.")
    light = linear_light(card).reshape(-1, 3)
    middle = np.median(light, axis=0)
    low, high = np.quantile(light.sum(axis=1), [0.1, 0.9])
    if high - low > _EVEN * float(middle.sum()):
        raise PhotographError("The light on the grey card is uneven; draw a smaller box, all on the card.")
    goal = CARD_REFLECTANCE if exposure else float(middle @ [0.2126, 0.7152, 0.0722])
    return WhiteBalance(*(float(goal / m) for m in middle))


@dataclass(frozen=True, eq=False)
class Shading:
    """How the light falls off over the field: gain is (h, w, 3) float32, reduced."""

    gain: Light
    size: tuple[int, int]

    def applied(self, pixels: Pixels) -> Pixels:
        """Correct a photograph of the same setup: (H, W, 3), of the same type.

        Raises
        ------
        PhotographError
            When it has another size than the blank field.
        """
        height, width = pixels.shape[:2]
        if (width, height) != self.size:
            raise PhotographError(
                "The photograph has another size than the blank field; take both with the same settings."
            )
        corrected = np.empty_like(pixels)
        gain = cv2.resize(self.gain, (width, height), interpolation=cv2.INTER_LINEAR)
        for top in range(
            0, height, 256
        ):  # in strips: linear light of a large picture is eight times its size
            rows = np.s_[top : top + 256]
            corrected[rows] = encoded(linear_light(pixels[rows]) * gain[rows], pixels.dtype)
        return corrected


def shading(blank: Pixels) -> Shading:
    """Learn the shading from a photograph of an empty, even field.

    Parameters
    ----------
    blank : (H, W, 3) uint8 or uint16 array
        sRGB-encoded; slightly out of focus, nowhere clipped.

    Returns
    -------
    Shading

    Raises
    ------
    PhotographError
        When it is clipped, too dark, or not blank.
    """
    height, width = blank.shape[:2]
    size = (max(2, width // 8), max(2, height // 8))
    top = np.iinfo(blank.dtype).max
    if (blank.max(axis=2) > top * _MOST / 255).mean() > 0.001:
        raise PhotographError("The blank field is overexposed; shorten the exposure and take it again.")
    small = cv2.resize(linear_light(blank), size, interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(small, (0, 0), max(1.0, max(size) / 60))
    if float(smooth.min()) < 0.0015:  # five grey levels of 255
        raise PhotographError(
            "The blank field is too dark in places; lengthen the exposure and take it again."
        )
    structure = np.abs(small / smooth - 1)
    if float(np.quantile(structure, 0.99)) > _BLANK:
        raise PhotographError("The blank field shows something; take the stone away, and blur the dust.")
    # One gain for all colours would leave the lamp's colour uneven; the mean over the field stays.
    return Shading(smooth.mean(axis=(0, 1), keepdims=True) / smooth, (width, height))
