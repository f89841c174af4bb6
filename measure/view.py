"""A photograph in the sizes in which its outline is looked for: a small copy, and views of what is around a ring.

A large photograph is halved again and again (an image pyramid: Burt & Adelson 1983, IEEE Trans. Commun. 31:532), each
size once, when first asked for; every view is cut from the smallest of them that is large enough.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Pixels, Plane
from setstone.measure.rings import Curve

#: Longest side of the small copy, in pixels.
SMALL = 256
#: Width to which a ring is reduced in its view, in pixels: 0.05 px of it are 0.006 % of the diameter.
WORKING = 800.0
#: Room left around a ring in its view, as a share of its width.
AROUND = 0.12


@dataclass(frozen=True, eq=False)
class View:
    """Part of a photograph, perhaps reduced.

    Parameters
    ----------
    image : (h, w, 3) float32 array
        Encoded grey levels 0..255.
    corner : (2,) float64 array
        Photograph pixel x, y at which its first pixel begins.
    scale : (2,) float64 array
        Its pixels per pixel of the photograph, along x and y.
    """

    image: Plane
    corner: NDArray[np.float64]
    scale: NDArray[np.float64]

    def back(self, points: Curve) -> Curve:
        """Points of the view in pixels of the photograph."""
        return (points + 0.5) / self.scale - 0.5 + self.corner

    def into(self, points: Curve) -> Curve:
        """Points of the photograph in pixels of the view."""
        return (points - self.corner + 0.5) * self.scale - 0.5


class Pyramid:
    """A photograph, its half, its quarter and so on.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph.
    """

    def __init__(self, pixels: Pixels) -> None:
        self._levels = [pixels]

    def small(self, side: int = SMALL) -> View:
        """All of the photograph, its longest side so many pixels."""
        longest = max(self._levels[0].shape[:2])
        # From a size four times as large at the least, so that hardly a pixel is split between two.
        return self._reduced(np.zeros(2), np.array(self._levels[0].shape[1::-1]), side / longest, spare=4)

    def around(self, ring: Curve, working: float = WORKING, room: float = AROUND) -> View:
        """Neighbourhood of a ring (N, 2), given in pixels of the photograph.

        Reduced to a ring `working` pixels wide, with `room` left around it, as a share of its width.
        """
        extent = float(np.ptp(ring, axis=0).mean())
        low = np.floor(ring.min(axis=0) - room * extent)
        high = np.ceil(ring.max(axis=0) + room * extent)
        return self._reduced(low, high, min(1.0, working / extent))

    def _reduced(
        self, low: NDArray[np.float64], high: NDArray[np.float64], factor: float, spare: int = 1
    ) -> View:
        """What lies between two corners, at the size `factor`, from a level `spare` times as large at the least."""
        halvings = max(0, int(np.log2(1 / (spare * factor))))
        level, step = self._level(halvings), 2**halvings
        # At least one pixel, wherever the corners lie.
        x0, y0 = np.clip(low // step, 0, np.array(level.shape[1::-1]) - 1).astype(int)
        x1, y1 = np.maximum(np.ceil(high / step), [x0 + 1, y0 + 1]).astype(int)
        crop = level[y0:y1, x0:x1]
        height, width = crop.shape[:2]
        size = max(16, round(width * step * factor)), max(16, round(height * step * factor))
        # Where a tiny photograph is enlarged, averages over areas are the nearest pixel, up to a pixel aside.
        how = cv2.INTER_AREA if size[0] <= width and size[1] <= height else cv2.INTER_LINEAR
        image = cv2.resize(crop, size, interpolation=how).astype(np.float32)
        image *= np.float32(255 / np.iinfo(crop.dtype).max)
        scale = np.array(size) / (width, height) / step
        return View(image, np.array([x0, y0], np.float64) * step, scale)

    def _level(self, halvings: int) -> Pixels:
        """The photograph halved so many times; an odd last row or column is left out."""
        while len(self._levels) <= halvings:
            above = self._levels[-1]
            height, width = (n // 2 for n in above.shape[:2])
            half = cv2.resize(above[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA)
            self._levels.append(half)
        return self._levels[halvings]
