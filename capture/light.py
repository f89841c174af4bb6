"""From encoded pixels to linear light and back (sRGB, IEC 61966-2-1:1999): what is averaged or divided is light."""

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.photograph import Pixels

Light = NDArray[np.float32]

#: Steps of the table that encodes; finer than those of 16 bits where the curve is steep.
_STEPS = 1 << 18


def linear_light(pixels: Pixels) -> Light:
    """Decode to linear light in 0..1, float32, of any shape."""
    table = _decoding(int(np.iinfo(pixels.dtype).max))
    if pixels.dtype == np.uint8:
        return np.asarray(cv2.LUT(pixels, table), np.float32).reshape(pixels.shape)
    return table[pixels]


def encoded(light: Light, dtype: "np.dtype[Any] | type[np.unsignedinteger[Any]]") -> Pixels:
    """Encode linear light, clipped to 0..1, into pixels of 8 or 16 bits."""
    top = int(np.iinfo(dtype).max)
    steps = np.clip(light, 0, 1) * np.float32(_STEPS)
    return _encoding(top)[steps.astype(np.int32)]


@cache
def _decoding(top: int) -> Light:
    v = np.arange(top + 1) / top
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    table.flags.writeable = False
    return table


@cache
def _encoding(top: int) -> Pixels:
    v = (np.arange(_STEPS + 1) + 0.5) / _STEPS
    v[-1] = 1.0
    code = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    steps = np.round(code * top)
    table: Pixels = steps.astype(np.uint8) if top == 255 else steps.astype(np.uint16)
    table.flags.writeable = False
    return table
