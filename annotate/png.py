"""An overlay drawn into the pixels of its photograph.

Every shape is drawn larger, averaged down to a coverage of 0 to 1 and blended: so lines are smooth
at any size, and every pixel that no shape touches keeps its value.
"""

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from setstone.annotate.lettering import draw_text, plain, text_width
from setstone.annotate.shapes import Overlay, Points, Shape, Text
from setstone.measure.light import Pixels

RGB = NDArray[np.uint8]


def drawn_on(pixels: Pixels, overlay: Overlay) -> RGB:
    """Return a copy of a photograph with an overlay drawn on it and its legend below.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded RGB; not changed.
    overlay : Overlay
        Of the same width and height.

    Returns
    -------
    (H + strip, W, 3) uint8 array

    Raises
    ------
    ValueError
        If the photograph does not have the overlay's size.
    """
    if pixels.shape[:2] != (overlay.height, overlay.width):
        raise ValueError(
            f"The photograph measures {pixels.shape[1]} × {pixels.shape[0]} pixels, "
            f"the drawing {overlay.width} × {overlay.height}."
        )
    picture = np.full((overlay.height + overlay.strip, overlay.width, 3), 255, np.uint8)
    picture[: overlay.height] = eight_bit(pixels)
    finer = 4 if max(picture.shape) <= 2500 else 2
    for group in overlay.groups:
        for shape in group.shapes:
            _draw(picture, shape, finer)
    for group in overlay.groups:
        for shape in group.tag:
            _draw(picture, shape, finer)
    return picture


def encode_png(picture: RGB, generator: str, description: str) -> bytes:
    """Encode as PNG with the program's name and a description inside (PNG keywords Software, Description)."""
    notes = PngInfo()
    notes.add_text("Software", generator)
    notes.add_itxt("Description", description)
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "PNG", pnginfo=notes, compress_level=4)
    return file.getvalue()


def eight_bit(pixels: Pixels) -> RGB:
    """Round encoded pixels of any shape to 8 bit."""
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, np.uint8)
    return np.asarray((pixels.astype(np.uint32) + 128) // 257, np.uint8)


def _draw(picture: RGB, shape: Shape, finer: int) -> None:
    if isinstance(shape, Text):
        _write(picture, shape, finer)
        return
    reach = shape.width / 2 + 1
    window = _window(picture, shape.points.min(axis=0) - reach, shape.points.max(axis=0) + reach)
    if window is None:
        return
    left, top, right, bottom = window
    # the centre of pixel p lies at (p + 0.5) * finer - 0.5 of the finer grid
    points = (shape.points - (left, top) + 0.5) * finer - 0.5
    blank = np.zeros(((bottom - top) * finer, (right - left) * finer), np.uint8)
    if shape.fill:
        mask = blank.copy()
        cv2.fillPoly(mask, [_fixed(points)], 255, cv2.LINE_AA, _SHIFT)
        _blend(picture, window, mask, shape.fill)
    if shape.stroke:
        width = max(1, round(shape.width * finer))
        for dash in _dashes(points, shape.closed, tuple(d * finer for d in shape.dashes)):
            cv2.polylines(blank, [_fixed(dash)], False, 255, width, cv2.LINE_AA, _SHIFT)
        _blend(picture, window, blank, shape.stroke)


def _write(picture: RGB, shape: Text, finer: int) -> None:
    text = plain(shape.text)
    width = text_width(text, shape.size, shape.bold)
    start = shape.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor] * width
    low = np.array([start - shape.size, shape.y - 1.5 * shape.size])
    window = _window(picture, low, np.array([start + width + shape.size, shape.y + shape.size]))
    if window is None:
        return
    left, top, right, bottom = window
    mask = np.zeros(((bottom - top) * finer, (right - left) * finer), np.uint8)
    x, y = (start - left + 0.5) * finer - 0.5, (shape.y - top + 0.5) * finer - 0.5
    draw_text(mask, text, x, y, shape.size * finer, shape.bold)
    _blend(picture, window, mask, shape.colour)


def _window(picture: RGB, low: Points, high: Points) -> tuple[int, int, int, int] | None:
    """Find the part of the picture a shape touches: left, top, right, bottom (exclusive)."""
    rows, columns = picture.shape[:2]
    left, top = (max(0, int(np.floor(v))) for v in low)
    right, bottom = min(columns, int(np.ceil(high[0])) + 1), min(rows, int(np.ceil(high[1])) + 1)
    return (left, top, right, bottom) if left < right and top < bottom else None


def _blend(picture: RGB, window: tuple[int, int, int, int], mask: NDArray[np.uint8], colour: str) -> None:
    left, top, right, bottom = window
    cover = cv2.resize(mask, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
    touched = cover > 0
    alpha = cover[touched][:, None].astype(np.float32) / 255
    part = picture[top:bottom, left:right]
    rgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32)
    before = part[touched]
    part[touched] = np.rint(before + alpha * (rgb - before)).astype(np.uint8)


def _dashes(points: Points, closed: bool, pattern: tuple[float, ...]) -> list[Points]:
    """Cut a line into what is drawn of it: lengths of `pattern` are drawn and left out in turn."""
    line = np.concatenate((points, points[:1])) if closed else points
    if not pattern:
        return [line]
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    ends = np.cumsum(np.tile(pattern, int(along[-1] / sum(pattern)) + 1))
    starts = np.concatenate(([0.0], ends[1:-1:2]))
    dashes = []
    for start, end in zip(starts, ends[::2], strict=True):
        if start >= along[-1]:
            break
        inside = along[(along > start) & (along < end)]
        at = np.concatenate(([start], inside, [min(end, along[-1])]))
        dashes.append(np.column_stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)]))
    return dashes


#: Fractional bits of the coordinates handed to OpenCV.
_SHIFT = 4


def _fixed(points: Points) -> NDArray[np.int32]:
    return np.rint(points * (1 << _SHIFT)).astype(np.int32)
