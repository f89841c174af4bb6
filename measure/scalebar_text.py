"""Find and read the print that belongs to a bar.

A text detector looks at the bar's surroundings only, never at the whole photograph. Distances are
measured in heights of the print itself, since its size is not known beforehand.
"""

import re
from dataclasses import dataclass

import numpy as np

from setstone.measure.label import Image8, detect_lines, read_label

#: The label lies within this many letter heights of its bar.
FARTHEST = 2.5
#: Smallest letters worth reading, in px.
LEAST_HEIGHT = 6
#: Surroundings searched, along and across the print, as shares of the picture's shorter side. Both are
#: tried: the detector sees a fixed number of samples, so large print wants the wider view.
VIEWS = ((0.25, 0.12), (0.15, 0.07))
#: Room left and right of the print, in heights of its box, for one reading after the other.
ROOM = (0.05, 0.45, 0.85)


@dataclass(frozen=True)
class Box:
    """Upright rectangle in pixels; the right and lower sides are one beyond the last pixel."""

    x0: int
    y0: int
    x1: int
    y1: int

    @property
    def width(self) -> int:
        """Width in px."""
        return self.x1 - self.x0

    @property
    def height(self) -> int:
        """Height in px."""
        return self.y1 - self.y0

    def gap(self, other: "Box") -> int:
        """Free pixels between two boxes along the axis where they lie farther apart; 0 if they meet."""
        across = max(self.y0 - other.y1, other.y0 - self.y1)
        along = max(self.x0 - other.x1, other.x0 - self.x1)
        return max(0, across, along)

    def contains(self, other: "Box") -> bool:
        """Whether the other box lies within this one."""
        return self.x0 <= other.x0 and self.y0 <= other.y0 and self.x1 >= other.x1 and self.y1 >= other.y1

    def grown(self, along: int, across: int, shape: tuple[int, ...]) -> "Box":
        """Larger on each side, within a picture of the given shape."""
        return Box(
            max(0, self.x0 - along),
            max(0, self.y0 - across),
            min(shape[1], self.x1 + along),
            min(shape[0], self.y1 + across),
        )

    def turned(self, shape: tuple[int, ...], quarters: int) -> "Box":
        """Follow the box through `numpy.rot90(picture, quarters)` of a picture of the given shape."""
        height, width = shape[:2]
        return {
            0: self,
            1: Box(self.y0, width - self.x1, self.y1, width - self.x0),
            3: Box(height - self.y1, self.x0, height - self.y0, self.x1),
        }[quarters % 4]


@dataclass(frozen=True)
class Label:
    """Print near a bar, and the length it states."""

    text: str
    box: Box
    length_um: float


def find_label(picture: Image8, bar: Box, opening: Box | None = None) -> Label | None:
    """Read the length printed at a bar; None when there is none or it is not certain.

    Parameters
    ----------
    picture : (H, W, 3) uint8
        RGB.
    bar : Box
        The bar in it, along either axis.
    opening : Box, optional
        The gap of an interrupted bar, where its label stands.

    Notes
    -----
    Print along an upright bar may be turned; it is tried in both directions after upright print.
    """
    upright = bar.height > bar.width
    for quarters in (0, 3, 1) if upright else (0,):
        label = _read_near(
            np.rot90(picture, quarters),
            bar.turned(picture.shape, quarters),
            opening and opening.turned(picture.shape, quarters),
        )
        if label is not None:
            turned = picture.shape if quarters == 0 else (picture.shape[1], picture.shape[0])
            return Label(label.text, label.box.turned(turned, -quarters), label.length_um)
    return None


def _read_near(picture: Image8, bar: Box, opening: Box | None) -> Label | None:
    """Read the length that stands nearest."""
    side = min(picture.shape[:2])
    for along, across in VIEWS:
        view = bar.grown(round(along * side), round(across * side), picture.shape)
        found = [
            Box(x0 + view.x0, y0 + view.y0, x1 + view.x0, y1 + view.y0)
            for x0, y0, x1, y1 in detect_lines(picture[view.y0 : view.y1, view.x0 : view.x1])
        ]
        lines = [line for line in found if belongs(line, bar) and _fills(picture, line, bar)]
        for line in sorted(lines, key=lambda b: (b.gap(bar) / b.height, b.x0)):
            label = _read(picture, line, bar, opening)
            if label is not None:
                return label
    return None


def belongs(line: Box, bar: Box) -> bool:
    """Whether print stands over, under, beside or within a bar, and near it."""
    if line.height < LEAST_HEIGHT or line.gap(bar) > FARTHEST * line.height:
        return False
    if _within(line, bar):
        # A bar thick enough to print on holds its label in the middle and nothing else.
        x = (line.x0 + line.x1 - bar.x0 - bar.x1) / 2
        y = (line.y0 + line.y1 - bar.y0 - bar.y1) / 2
        fits = bar.x0 < line.x0 and line.x1 < bar.x1 and bar.height < 2.2 * line.height
        return fits and abs(y) < 0.15 * bar.height and abs(x) < 0.15 * bar.width
    along = min(line.x1, bar.x1) - max(line.x0, bar.x0)
    across = min(line.y1, bar.y1) - max(line.y0, bar.y0)
    return 2 * along > min(line.width, bar.width) or 2 * across > min(line.height, bar.height)


def _within(line: Box, bar: Box) -> bool:
    """Whether print stands on a bar rather than at it."""
    x, y = (line.x0 + line.x1) / 2, (line.y0 + line.y1) / 2
    return bar.x0 < x < bar.x1 and bar.y0 < y < bar.y1 and bar.height > 0.6 * line.height


def _fills(picture: Image8, line: Box, bar: Box) -> bool:
    """Whether a bar with print on it holds nothing else; a box holds its bar besides."""
    if not _within(line, bar):
        return True
    inside = picture[bar.y0 + 2 : bar.y1 - 2, bar.x0 + 2 : bar.x1 - 2].astype(np.float32)
    blank = np.abs(inside - np.median(inside, axis=(0, 1))).max(axis=2) < 40
    print_ = line.grown(line.height // 4, line.height // 4, picture.shape)
    y0, x0 = bar.y0 + 2, bar.x0 + 2
    blank[max(0, print_.y0 - y0) : print_.y1 - y0, max(0, print_.x0 - x0) : print_.x1 - x0] = True
    return bool(blank.mean() > 0.99)


def _read(picture: Image8, line: Box, bar: Box, opening: Box | None) -> Label | None:
    """Read a line, and again with more room, which shows whether a digit was cut off."""
    readings = []
    for share in ROOM:
        room = line.grown(round(share * line.height), round(0.1 * line.height), picture.shape)
        room = _without(room, line, bar, opening)
        if room.width < LEAST_HEIGHT:
            return None
        readings.append(read_label(picture[room.y0 : room.y1, room.x0 : room.x1]))
        if len(readings) > 1:
            narrow, wide = readings[-2:]
            if narrow.length_um is not None and _whole(narrow.text, wide.text):
                return Label(narrow.text, line, narrow.length_um)
    return None


def _whole(text: str, wider: str) -> bool:
    """Whether a wider crop shows the same print with no digit or decimal mark before it."""
    text, wider = (re.sub(r"\s", "", t).replace("\u03bc", "\u00b5") for t in (text, wider))
    return re.search(rf"(?<![\d.,]){re.escape(text)}", wider) is not None


def _without(room: Box, line: Box, bar: Box, opening: Box | None) -> Box:
    """Clip the room for a line so that it shows nothing of the bar, which would read as a dash or a one.

    The detector draws its boxes a little large, so a bar may reach into the line's by a margin.
    """
    if opening is not None and opening.gap(line) == 0:
        return Box(max(room.x0, opening.x0 + 1), room.y0, min(room.x1, opening.x1 - 1), room.y1)
    margin = round(0.4 * line.height)
    if bar.x1 <= line.x0 + margin:
        return Box(max(room.x0, bar.x1 + 1), room.y0, room.x1, room.y1)
    if bar.x0 >= line.x1 - margin:
        return Box(room.x0, room.y0, min(room.x1, bar.x0 - 1), room.y1)
    if bar.y1 <= line.y0 + margin:
        return Box(room.x0, max(room.y0, bar.y1 + 1), room.x1, room.y1)
    if bar.y0 >= line.y1 - margin:
        return Box(room.x0, room.y0, room.x1, min(room.y1, bar.y0 - 1))
    return room
