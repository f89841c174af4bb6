"""Text in pictures, with the font that comes with OpenCV 5 (Rubik, SIL Open Font License 1.1).

It has µ, ± and ×, Latin, Greek, Cyrillic and, through its second font, Chinese and Japanese.
"""

import re
import unicodedata
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

_REGULAR, _BOLD = 400, 600
_BLANKS = re.compile(r"[^\S\xa0]+")


def plain(text: str, *, lines: bool = False) -> str:
    r"""Drop from a text what could disturb a page or a picture: control and direction characters.

    Control characters, lone surrogates, format characters other than the two joiners, and
    noncharacters are left out (categories of the Unicode Character Database); what remains is legal
    in XML 1.0. Runs of blanks become one space; line ends too, unless `lines` keeps them; no-break
    spaces stay.

    >>> plain("lid-3\n\u202egnp.exe\x00")
    'lid-3 gnp.exe'
    """
    if lines:
        return "\n".join(plain(line) for line in text.splitlines())
    return _BLANKS.sub(" ", "".join(c for c in text if _shows(c) or c.isspace())).strip()


def _shows(character: str) -> bool:
    if character in "\u200c\u200d":
        return True
    noncharacter = ord(character) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(character) <= 0xFDEF
    return not noncharacter and unicodedata.category(character) not in {"Cc", "Cf", "Cs"}


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Measure the width of a line of text, in pixels, at a font height of `size` pixels."""
    _, _, width, _ = cv2.getTextSize((1, 1), text, (0, 0), _font(), 100, _BOLD if bold else _REGULAR)
    return float(width) * size / 100


def elided(text: str, size: float, room: float, bold: bool = False) -> str:
    """Cut a text with an ellipsis where it is wider than `room` pixels."""
    text = text[:400]
    if text_width(text, size, bold) <= room:
        return text
    least, most = 0, len(text)
    while least < most:
        middle = (least + most + 1) // 2
        if text_width(text[:middle].rstrip() + "…", size, bold) <= room:
            least = middle
        else:
            most = middle - 1
    return text[:least].rstrip() + "…"


def draw_text(mask: NDArray[np.uint8], text: str, x: float, y: float, size: float, bold: bool) -> None:
    """Write text into a mask (H, W) of coverage 0..255; the baseline starts at (x, y)."""
    place = (round(x), round(y))
    cv2.putText(mask, text, place, (255, 255, 255), _font(), max(1, round(size)), _BOLD if bold else _REGULAR)


@cache
def _font() -> "cv2.FontFace":
    return cv2.FontFace("sans")
