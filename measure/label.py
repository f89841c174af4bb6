"""Read the length printed beside a scale bar.

The recogniser (rapidocr with the model in its wheel) never has the last word: its text must follow
a strict grammar, and two readings of the same crop in different guises must agree.
"""

import math
import re
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Pixels

Image8 = NDArray[np.uint8]

#: Micrometres in the units a label may carry. Both code points of the micro sign, and "um" for it.
MICROMETRES = {
    "nm": 1e-3,
    "\u00b5m": 1.0,
    "\u03bcm": 1.0,
    "um": 1.0,
    "mm": 1e3,
    "cm": 1e4,
    "in": 25.4e3,
    "inch": 25.4e3,
}
_LABEL = re.compile(
    rf"(?P<whole>0|[1-9]\d{{0,4}})(?:(?P<mark>[.,])(?P<part>\d{{1,4}}))? ?(?P<unit>{'|'.join(MICROMETRES)})"
)
#: Both readings must be at least this sure of themselves (the recogniser's mean over characters).
LEAST_CONFIDENCE = 0.80
#: The detector looks at regions reduced to at most this many pixels a side.
DETECTOR_SIDE = 640
#: Height of the two guises in pixels; the recogniser's own is 48.
GUISE_HEIGHTS = (48, 32)
#: The recogniser keeps the options of a call, so two threads must not call it at once.
_ONE_AT_A_TIME = Lock()


@dataclass(frozen=True)
class LabelReading:
    """What stands in a crop.

    Parameters
    ----------
    text : str
        As read; empty when nothing was.
    confidence : float
        0..1, the lower of the two readings.
    length_um : float or None
        The length in µm; None when the text is no length or the two readings differ.
    """

    text: str
    confidence: float
    length_um: float | None


def parse_length(text: str) -> float | None:
    """Length in µm of a label such as ``"500 µm"`` or ``"0,5 mm"``; None where there is any doubt.

    A number with a decimal point or comma, at most one space, and one of the units nm, µm, um, mm,
    cm, in, inch. Three digits after a mark may be thousands (``"1,000 µm"``) unless a zero stands
    before it; such a label says nothing for certain.

    >>> parse_length("2.50 mm"), parse_length("500µm"), parse_length("0,5 mm")
    (2500.0, 500.0, 500.0)
    >>> parse_length("1,000 µm") is None and parse_length("05 mm") is None and parse_length("10") is None
    True
    """
    match = _LABEL.fullmatch(text.strip())
    if match is None:
        return None
    whole, part = match["whole"], match["part"] or ""
    if len(part) == 3 and whole != "0":
        return None
    value = float(f"{whole}.{part or 0}") * MICROMETRES[match["unit"]]
    return round(value, 6) if value > 0 else None


def read_label(crop: Pixels) -> LabelReading:
    """Read one line of text.

    Parameters
    ----------
    crop : (H, W, 3) uint8 or uint16
        RGB, upright, one line of text with a little room around it.

    Returns
    -------
    LabelReading
        With `length_um` None unless two readings give the same length and none another. The readings
        are of the crop and of its negative at another size; where one of them makes no sense, also of
        both with a wider rim.
    """
    picture = eight_bit(crop)
    rim = max(2, round(0.12 * picture.shape[0]))
    roomy = np.asarray(cv2.copyMakeBorder(picture, rim, rim, rim, rim, cv2.BORDER_REPLICATE), np.uint8)
    readings: list[tuple[str, float]] = []
    for pair in ((picture, 255 - picture), (roomy, 255 - roomy)):
        readings += [_recognise(_at_height(g, h)) for g, h in zip(pair, GUISE_HEIGHTS, strict=True)]
        lengths = [parse_length(text) for text, _ in readings]
        sure = [
            (text, score, length)
            for (text, score), length in zip(readings, lengths, strict=True)
            if length is not None and score >= LEAST_CONFIDENCE
        ]
        if len({length for length in lengths if length is not None}) > 1:
            break
        if len(sure) >= 2:
            return LabelReading(sure[0][0], min(score for _, score, _ in sure), sure[0][2])
    return LabelReading(*readings[0], None)


def detect_lines(region: Image8) -> list[tuple[int, int, int, int]]:
    """Boxes of print in a small region, left to right: x0, y0, x1, y1 with the ends exclusive.

    Words that stand on one line not farther apart than their height are one box, since a number and
    its unit belong together.
    """
    bgr = np.ascontiguousarray(region[..., ::-1])
    with _ONE_AT_A_TIME:
        result = _recogniser()(bgr, use_det=True, use_cls=False, use_rec=False)
    if result.boxes is None:
        return []
    corners = np.asarray(result.boxes, float)
    words = sorted(
        (math.floor(x0), math.floor(y0), math.ceil(x1) + 1, math.ceil(y1) + 1)
        for (x0, y0), (x1, y1) in zip(corners.min(axis=1), corners.max(axis=1), strict=True)
    )
    lines: list[tuple[int, int, int, int]] = []
    for word in words:
        for k, line in enumerate(lines):
            height = min(line[3] - line[1], word[3] - word[1])
            if min(line[3], word[3]) - max(line[1], word[1]) > 0.6 * height and word[0] - line[2] < height:
                lines[k] = (line[0], min(line[1], word[1]), max(line[2], word[2]), max(line[3], word[3]))
                break
        else:
            lines.append(word)
    return lines


def eight_bit(pixels: Pixels) -> Image8:
    """Reduce to 8 bits a channel, which is enough for all that is drawn into a picture."""
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, np.uint8)
    return np.asarray(cv2.convertScaleAbs(pixels, alpha=1 / 257.0), np.uint8)


def _at_height(picture: Image8, height: int) -> Image8:
    factor = height / picture.shape[0]
    smooth = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    width = max(8, round(picture.shape[1] * factor))
    return np.asarray(cv2.resize(picture, (width, height), interpolation=smooth), np.uint8)


def _recognise(picture: Image8) -> tuple[str, float]:
    """Text and confidence; the recogniser wants BGR."""
    bgr = np.ascontiguousarray(picture[..., ::-1])
    # Each option every time: rapidocr keeps the options of one call for the next.
    with _ONE_AT_A_TIME:
        result = _recogniser()(bgr, use_det=False, use_cls=False, use_rec=True)
    if not result.txts:
        return "", 0.0
    return str(result.txts[0]).strip(), float(result.scores[0])


@cache
def _recogniser() -> Any:
    """One engine for the process, imported late: it takes half a second and 200 MB."""
    from rapidocr import RapidOCR

    return RapidOCR(
        params={
            "Global.log_level": "critical",
            # One thread: the same sums in the same order on every machine.
            "EngineConfig.onnxruntime.intra_op_num_threads": 1,
            "EngineConfig.onnxruntime.inter_op_num_threads": 1,
            "Det.limit_type": "max",
            "Det.limit_side_len": DETECTOR_SIDE,
        }
    )
