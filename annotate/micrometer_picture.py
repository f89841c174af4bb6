"""The lines of a stage micrometer drawn over its photograph, so that a person sees what was counted."""

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.lettering import draw_text, text_width
from setstone.annotate.png import eight_bit
from setstone.annotate.style import BLUE
from setstone.measure.light import Pixels
from setstone.measure.micrometer import MicrometerLines

#: Longer side of the drawing, in px: enough for a screen.
LONGEST = 1600
#: Half the length of a mark, in periods, and at least in px; every tenth is longer, and numbered.
_HALF, _LEAST_PX, _TENTH = 2.2, 12, 2.0
_COLOUR = tuple(int(BLUE[i : i + 2], 16) for i in (1, 3, 5))
_TEXT_PX = 18


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
        A copy, its longer side at most `LONGEST` px; every tenth line is numbered from the first one counted.
    """
    shrink = min(1.0, LONGEST / max(pixels.shape[:2]))
    size = (round(pixels.shape[1] * shrink), round(pixels.shape[0] * shrink))
    drawn = np.array(cv2.resize(eight_bit(pixels), size, interpolation=cv2.INTER_AREA), np.uint8)
    angle = np.deg2rad(lines.angle_deg)
    along = np.array([-np.sin(angle), np.cos(angle)])
    if along[1] > 0:  # numbers stand above
        along = -along
    half = max(_LEAST_PX, _HALF * lines.period_px * shrink)
    written = np.zeros(drawn.shape[:2], np.uint8)
    for number, centre in zip(lines.numbers, (lines.centres + 0.5) * shrink - 0.5, strict=True):
        tenth = number % 10 == 0
        end = centre + along * half * (_TENTH if tenth else 1)
        ends = [tuple(np.round(16 * p).astype(int).tolist()) for p in (centre - along * half, end)]
        cv2.line(drawn, ends[0], ends[1], _COLOUR, 2 if lines.period_px * shrink > 6 else 1, cv2.LINE_AA, 4)
        if tenth:
            text = str(number)
            x, y = end + along * _TEXT_PX * 0.7
            draw_text(
                written, text, x - text_width(text, _TEXT_PX) / 2, y + _TEXT_PX * 0.35, _TEXT_PX, bold=True
            )
    drawn[written > 127] = _COLOUR
    return drawn
