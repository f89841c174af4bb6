"""The object at a glance: each stone cut out of its photograph, all at one scale."""

from dataclasses import dataclass

import cv2
import numpy as np

from setstone.annotate.png import RGB
from setstone.annotate.shapes import Overlay, Path

_LONGEST_SIDE = 240
#: Clear edge around the girdle, as a share of the stone.
_EDGE = 0.06


@dataclass(frozen=True)
class CutOut:
    """A stone cut out of its photograph.

    Parameters
    ----------
    jpeg : bytes
    width, height : int
        In pixels.
    width_mm : float or None
        Of the piece shown; None without a scale.
    """

    jpeg: bytes
    width: int
    height: int
    width_mm: float | None


def cut_out(pixels: RGB, overlay: Overlay, um_per_px: float | None) -> CutOut:
    """Cut a stone out of its photograph, by the girdle drawn over it; the whole photograph where there is none.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 array
        sRGB-encoded RGB.
    overlay : Overlay
        In pixels of the same photograph.
    um_per_px : float or None

    Returns
    -------
    CutOut
    """
    girdle = [
        s.points for g in overlay.groups if g.role == "outline" for s in g.shapes if isinstance(s, Path)
    ]
    low, high = np.zeros(2), np.array([overlay.width, overlay.height], float)
    if girdle:
        points = np.concatenate(girdle)
        edge = _EDGE * np.ptp(points, axis=0).max()
        low, high = np.maximum(points.min(axis=0) - edge, low), np.minimum(points.max(axis=0) + edge, high)
    (left, top), (right, bottom) = np.floor(low).astype(int), np.ceil(high).astype(int)
    piece = pixels[top:bottom, left:right]
    shrink = min(1.0, _LONGEST_SIDE / max(piece.shape[:2]))
    size = (max(1, round(piece.shape[1] * shrink)), max(1, round(piece.shape[0] * shrink)))
    small = cv2.cvtColor(cv2.resize(piece, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2BGR)
    _, encoded = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 85])
    return CutOut(encoded.tobytes(), *size, None if um_per_px is None else (right - left) * um_per_px / 1000)
