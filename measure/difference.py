"""What is lighter and what darker in one photograph than in another that lies on it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Pixels, Plane, linear

#: Share of the light that reaches an eye adapted to daylight from each channel (IEC 61966-2-1:1999).
_LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], np.float32)
#: What is finer than this, in pixels, is grain.
_GRAIN_PX = 1.0


def lightness_difference(before: Pixels, after: Pixels, inside: NDArray[np.bool_]) -> Plane:
    """How much lighter each place is in one photograph than in the other, once both are exposed alike.

    Parameters
    ----------
    before, after : (H, W, 3) uint8 or uint16 arrays
        sRGB-encoded, laid on one another.
    inside : (H, W) bool array
        What both photographs show; by its median light they are made alike in exposure.

    Returns
    -------
    (H, W) float32 array
        Difference of CIE L* (ISO/CIE 11664-4:2019), -100 to 100, positive where the second is lighter; 0 outside.
    """
    planes = [_luminance(pixels) for pixels in (before, after)]
    usual = [float(np.median(plane[inside])) if inside.any() else 1.0 for plane in planes]
    gain = np.float32(usual[0] / max(usual[1], 1e-6)) if usual[0] > 0 else np.float32(1)
    difference = _lightness(planes[1] * gain) - _lightness(planes[0])
    return np.asarray(np.where(inside, difference, np.float32(0)), np.float32)


def _luminance(pixels: Pixels) -> Plane:
    light = cv2.transform(linear(pixels), _LUMINANCE).reshape(pixels.shape[:2])
    return np.asarray(cv2.GaussianBlur(light, (0, 0), _GRAIN_PX), np.float32)


def _lightness(luminance: Plane) -> Plane:
    """CIE L* of relative luminance 0 to 1; more than white counts as white."""
    y = np.clip(luminance, 0, 1)
    return np.asarray(np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3), np.float32)
