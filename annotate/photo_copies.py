"""Copies of a photograph for a page: a small one to read by, and one at full resolution to look closer.

JPEG, because every browser, mail program and PDF reader shows it. At a quality that keeps fine lines and the grain of the
camera, WebP and AVIF save little and take twice as long to decode, AVIF four times as long to write
(``benchmarks/handout.py``).
"""

from dataclasses import dataclass

import cv2
import numpy as np

from setstone.annotate.png import RGB

#: Longest side of the small copy, in pixels: enough for a screen's width.
LONGEST_SIDE = 1600
_SMALL_QUALITY = 85
#: Most bytes of the copy at full resolution: two of them and two small ones, as base64, stay below 8 MB.
MOST_BYTES = 2_600_000
_QUALITIES = (92, 88, 84, 80, 75, 65)


@dataclass(frozen=True)
class PhotoCopies:
    """A photograph as JPEG, without any mark and without the metadata of its file.

    Parameters
    ----------
    small : bytes
    width, height : int
        Of the small copy, in pixels.
    full : bytes
        At full resolution, within `MOST_BYTES`; empty where the small copy already holds every pixel.
    """

    small: bytes
    width: int
    height: int
    full: bytes


def copies_of(pixels: RGB) -> PhotoCopies:
    """Encode a photograph for the hand-out.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 array
        sRGB-encoded RGB.

    Returns
    -------
    PhotoCopies
    """
    whole = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), np.uint8)
    small = _within(whole, LONGEST_SIDE)
    height, width = small.shape[:2]
    full = b"" if small is whole else _full(whole)
    # Full colour resolution: thin saturated lines on dark ground suffer first.
    return PhotoCopies(
        _jpeg(small, _SMALL_QUALITY, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444), width, height, full
    )


def small_copy(pixels: RGB, longest: int, quality: int) -> tuple[bytes, int, int]:
    """Encode a picture, an (H, W, 3) uint8 array in sRGB, at no more than so many pixels; its JPEG, width and height."""
    picture = _within(np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), np.uint8), longest)
    encoded = _jpeg(picture, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420)
    return encoded, picture.shape[1], picture.shape[0]


def _full(picture: RGB) -> bytes:
    """Encode at the best quality that stays within `MOST_BYTES`; only where none does, at fewer pixels."""
    while True:
        for quality in _QUALITIES:
            encoded = _jpeg(picture, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420)
            if len(encoded) <= MOST_BYTES:
                return encoded
        picture = _within(picture, round(0.8 * max(picture.shape)))


def _within(picture: RGB, longest: int) -> RGB:
    shrink = longest / max(picture.shape[:2])
    if shrink >= 1:
        return picture
    size = (max(1, round(picture.shape[1] * shrink)), max(1, round(picture.shape[0] * shrink)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _jpeg(picture: RGB, quality: int, sampling: int) -> bytes:
    settings = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    _, encoded = cv2.imencode(".jpg", picture, settings)
    return encoded.tobytes()
