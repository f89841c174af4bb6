"""The lines of a stage micrometer drawn over its photograph, so that a person sees what was counted."""

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.lettering import draw_text, text_width
from setstone.annotate.png import eight_bit
from setstone.annotate.style import BLUE
from setstone.measure.light import Pixels
from setstone.measure.micrometer import MicrometerLines

#: Half the length of a mark, in periods, and at least in px; every tenth is longer, and numbered.
_HALF, _LEAST_PX, _TENTH = 2.2, 12, 2.0
#: Room around the lines, in periods.
_ROOM = 12.0
_COLOUR = tuple(int(BLUE[i : i + 2], 16) for i in (1, 3, 5))
#: Height of numbers, in px, and at least as a share of the drawing's longer side.
_TEXT_PX, _TEXT_SHARE = 18, 1 / 80


def place_of_lines(lines: MicrometerLines) -> tuple[int, int, int, int]:
    """Part of the photograph in which the lines lie, with some room: x0, y0, x1, y1 in px."""
    room = _ROOM * lines.period_px
    low = np.maximum(np.floor(lines.centres.min(axis=0) - room), 0).astype(int)
    high = np.minimum(np.ceil(lines.centres.max(axis=0) + room), lines.size).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def micrometer_picture(pixels: Pixels, lines: MicrometerLines) -> NDArray[np.uint8]:
    """Draw the lines found over a photograph.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded.
    lines : MicrometerLines
        As found in it.

    Returns
    -------
    (h, w, 3) uint8 array
        The part `place_of_lines` tells, pixel for pixel; every tenth line is numbered from the first one counted.
    """
    x0, y0, x1, y1 = place_of_lines(lines)
    drawn = np.array(eight_bit(pixels[y0:y1, x0:x1]), np.uint8)
    text_px = max(_TEXT_PX, round(_TEXT_SHARE * max(drawn.shape)))
    angle = np.deg2rad(lines.angle_deg)
    along = np.array([-np.sin(angle), np.cos(angle)])
    if along[1] > 0:  # numbers stand above
        along = -along
    half = max(_LEAST_PX, _HALF * lines.period_px)
    written = np.zeros(drawn.shape[:2], np.uint8)
    for number, centre in zip(lines.numbers, lines.centres - (x0, y0), strict=True):
        tenth = number % 10 == 0
        end = centre + along * half * (_TENTH if tenth else 1)
        ends = [tuple(np.round(16 * p).astype(int).tolist()) for p in (centre - along * half, end)]
        cv2.line(drawn, ends[0], ends[1], _COLOUR, 2 if lines.period_px > 6 else 1, cv2.LINE_AA, 4)
        if tenth:
            text = str(number)
            x, y = end + along * text_px * 0.7
            draw_text(
                written, text, x - text_width(text, text_px) / 2, y + text_px * 0.35, text_px, bold=True
            )
    drawn[written > 127] = _COLOUR
    return drawn
