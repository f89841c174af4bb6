"""From encoded pixels to linear light, where intensities may be compared.

Colour space of every photograph here: sRGB as encoded (IEC 61966-2-1:1999), 8 or 16 bit.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8] | NDArray[np.uint16]
Plane = NDArray[np.float32]


def srgb_to_linear(encoded: NDArray[np.floating]) -> NDArray[np.float64]:
    """Decode sRGB values in 0..1 to linear light in 0..1 (IEC 61966-2-1:1999).

    >>> [round(float(v), 4) for v in srgb_to_linear(np.array([0.0, 0.5, 1.0]))]
    [0.0, 0.214, 1.0]
    """
    v = np.asarray(encoded, np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def linear(pixels: Pixels) -> Plane:
    """Linear light in 0..1, float32, of encoded 8- or 16-bit pixels of any shape."""
    table = _decoding_table(np.iinfo(pixels.dtype).max)
    if pixels.dtype == np.uint8:
        return np.asarray(cv2.LUT(pixels, table), np.float32).reshape(pixels.shape)
    return table[pixels]


def encoded_plane(pixels: Pixels, weights: tuple[float, float, float]) -> Plane:
    """Weighted sum of the three encoded channels in grey levels 0..255, float32, shape (H, W)."""
    kernel = np.array([weights], np.float32) * (255.0 / np.iinfo(pixels.dtype).max)
    plane = cv2.transform(pixels.astype(np.float32), kernel)
    return np.asarray(plane, np.float32).reshape(pixels.shape[:2])


@cache
def _decoding_table(top: int) -> Plane:
    table = srgb_to_linear(np.arange(top + 1) / top).astype(np.float32)
    table.flags.writeable = False
    return table
