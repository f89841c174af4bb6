"""Pixels of stored photographs, ready to be shown, with a bound on the memory they take."""

import threading
from collections import OrderedDict

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.png import eight_bit
from setstone.record.entries import PhotographEntry
from setstone.record.photographs import stored_pixels

Image = NDArray[np.uint8]

#: Decoded photographs kept: two pairs, the one shown and the one before or after it.
KEPT = 4
#: Longer side of a thumbnail, in pixels.
THUMBNAIL = 96


class Pixels:
    """Decoded photographs, the latest ones kept. May be asked from several threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Image] = OrderedDict()
        self._thumbnails: dict[str, Image] = {}
        self._lock = threading.Lock()

    def of(self, entry: PhotographEntry) -> Image:
        """Return a photograph as (H, W, 3) uint8 array, sRGB-encoded; it must not be written to.

        Raises
        ------
        BookError
            When the file was altered or lost since it was added.
        """
        with self._lock:
            if entry.sha256 in self._kept:
                self._kept.move_to_end(entry.sha256)
                return self._kept[entry.sha256]
        image = np.asarray(eight_bit(stored_pixels(entry)), np.uint8)
        image.flags.writeable = False
        with self._lock:
            self._kept[entry.sha256] = image
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return image

    def thumbnail(self, entry: PhotographEntry) -> Image:
        """Return a photograph made small, (h, w, 3) uint8, its longer side 96 px."""
        if entry.sha256 not in self._thumbnails:
            with self._lock:
                image = self._kept.get(entry.sha256)
            if image is None:  # not kept: a thumbnail must not push out what is shown
                image = np.asarray(eight_bit(stored_pixels(entry)), np.uint8)
            self._thumbnails[entry.sha256] = small(image)
        return self._thumbnails[entry.sha256]


def small(image: Image) -> Image:
    """Make an (H, W, 3) uint8 picture small, its longer side 96 px."""
    return reduced(image, THUMBNAIL)


def reduced(image: Image, longest: int) -> Image:
    """Bring the longer side of an (H, W, 3) uint8 picture to so many pixels."""
    shrink = longest / max(image.shape[:2])
    size = tuple(max(1, round(side * shrink)) for side in image.shape[1::-1])
    return np.ascontiguousarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
