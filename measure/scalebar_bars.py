"""From drawn strokes to bars: join the parts of a broken bar, and leave out frames and fragments."""

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setstone.measure.label import Image8
from setstone.measure.scalebar_strokes import LONGEST, SAME_COLOUR, SHORTEST, Stroke
from setstone.measure.scalebar_text import Box

#: Ticks are looked for in this row beside the bar, clear of the blur JPEG leaves at its edge.
BESIDE = 3
#: Bars thicker than this (px) have no ticks; what looks like one is the side of a box.
THICK = 12
#: A closed frame lower than this share of its length is an unfilled bar, a taller one is a box.
HOLLOW = 0.08


@dataclass(frozen=True)
class Bar:
    """A bar along the rows of the picture it was found in.

    Parameters
    ----------
    x0, x1 : float
        Outer ends (edge coordinates, px).
    y0, y1 : int
        First row, and the row after the last.
    contrast : float
        Against what lies around it, in grey levels.
    opening : tuple of float, optional
        Ends of the gap of an interrupted bar, px.
    end_mark : float
        Width of the ticks or brackets at its ends along the bar, px; 0 without.
    """

    x0: float
    x1: float
    y0: int
    y1: int
    contrast: float
    opening: tuple[float, float] | None = None
    end_mark: float = 0.0

    @property
    def length(self) -> float:
        """Length in px."""
        return self.x1 - self.x0

    @property
    def box(self) -> Box:
        """Its pixels."""
        return Box(round(self.x0 + 0.5), self.y0, round(self.x1 + 0.5), self.y1)


def bars_of(strokes: list[Stroke], picture: Image8) -> list[Bar]:
    """Bars that the strokes of a picture make, those with most contrast first.

    Parameters
    ----------
    strokes : list of Stroke
        As `find_strokes` gives them.
    picture : (H, W, 3) uint8
        The picture they were found in.
    """
    width = picture.shape[1]
    bars = _joined(strokes) + [_plain(s) for s in strokes if not _crowded(s, strokes)]
    kept = []
    for bar in bars:
        marks = _end_marks(picture, bar)
        if marks is not None and SHORTEST * width <= bar.length <= LONGEST * width:
            kept.append(replace(bar, end_mark=marks))
    return sorted(_without_backgrounds(kept), key=lambda b: (-b.contrast, b.y0, b.x0))


def _plain(stroke: Stroke) -> Bar:
    return Bar(stroke.x0, stroke.x1, stroke.y0, stroke.y1, stroke.contrast)


def _alike(a: Stroke, b: Stroke) -> bool:
    """Of one colour, thickness and length."""
    return (
        float(np.abs(np.subtract(a.colour, b.colour)).max()) < SAME_COLOUR
        and abs(a.thickness - b.thickness) <= 2
        and abs(a.length - b.length) <= max(3.0, 0.15 * max(a.length, b.length))
    )


def _collinear(a: Stroke, b: Stroke) -> bool:
    return abs(a.y0 - b.y0) <= 1 and abs(a.y1 - b.y1) <= 1


def _crowded(stroke: Stroke, strokes: list[Stroke]) -> bool:
    """Whether its like lies next to it, in line or corner to corner: then it is only a part."""
    return any(
        other is not stroke
        and _alike(stroke, other)
        and min(abs(other.y0 - stroke.y0), abs(other.y0 - stroke.y1), abs(other.y1 - stroke.y0)) <= 2
        and -2 < max(other.x0 - stroke.x1, stroke.x0 - other.x1) < 6 * stroke.length
        for other in strokes
    )


def _joined(strokes: list[Stroke]) -> list[Bar]:
    """Two like halves with the label between them, or a row of like blocks with gaps of their length."""
    bars = []
    taken: set[Stroke] = set()
    for stroke in sorted(strokes, key=lambda s: s.x0):
        if stroke in taken:
            continue
        row = [s for s in strokes if s is stroke or (_alike(stroke, s) and _collinear(stroke, s))]
        row.sort(key=lambda s: s.x0)
        taken.update(row)
        gaps = np.array([b.x0 - a.x1 for a, b in itertools.pairwise(row)])
        block = float(np.mean([s.length for s in row]))
        graded = len(row) > 1 and bool(np.all(np.abs(gaps - block) <= max(3.0, 0.15 * block)))
        checked = any(s not in row and _alike(s, stroke) and abs(s.y0 - stroke.y1) <= 2 for s in strokes)
        checked |= any(s not in row and _alike(s, stroke) and abs(s.y1 - stroke.y0) <= 2 for s in strokes)
        if (graded and not checked) or (len(row) == 2 and 0 < gaps[0] < 6 * block):
            contrast = min(s.contrast for s in row)
            opening = (row[0].x1, row[1].x0) if len(row) == 2 else None
            bars.append(Bar(row[0].x0, row[-1].x1, stroke.y0, stroke.y1, contrast, opening))
    return bars


def _end_marks(picture: Image8, bar: Bar) -> float | None:
    """Width of the ticks or brackets at the ends, 0 without; None where they are sides of a frame."""
    box = bar.box
    reach = round(0.7 * bar.length)
    top = max(0, box.y0 - reach)
    around = picture[top : box.y1 + reach, box.x0 : box.x1].astype(np.float32)
    own = np.median(around[box.y0 - top : box.y1 - top, : max(3, box.width // 8)], axis=(0, 1))
    same = np.abs(around - own).max(axis=2) < 0.4 * bar.contrast
    above, below = same[: box.y0 - top][::-1], same[box.y1 - top :]
    widths = []
    for side in (above, below):
        if len(side) < BESIDE:
            continue
        left, right = (_run(side[BESIDE - 1, columns]) for columns in (slice(None), slice(None, None, -1)))
        width = min(left, right)
        if width == 0 or width > 0.2 * box.width:
            continue
        tall = min(_run(side[:, width // 2]), _run(side[:, -1 - width // 2]))
        if tall > 0.6 * bar.length:
            return None
        if _joined_far(side, tall, width):
            if tall > HOLLOW * bar.length or box.height > max(3, 0.4 * tall):
                return None
        elif box.height > THICK or width > max(4, 0.05 * box.width):
            return None
        else:
            widths.append(width)
    return float(max(widths, default=0))


def _without_backgrounds(bars: list[Bar]) -> list[Bar]:
    """Leave out what only lies around a bar: its outline, and the parts of its box."""
    dropped: set[Bar] = set()
    for bar in bars:
        above = [b for b in bars if abs(b.y1 - bar.y0) <= 1 and _overlap(bar, b) > 0.5]
        below = [b for b in bars if abs(b.y0 - bar.y1) <= 1 and _overlap(bar, b) > 0.5]
        lines = [b for b in above + below if b.box.height < bar.box.height and _ends_apart(bar, b) <= 3]
        within = [b for b in above + below if b not in lines and bar.x0 < b.x0 and bar.x1 > b.x1]
        if any(b in above for b in within) and any(b in below for b in within):
            lines += within
        elif within:
            dropped.add(bar)
        dropped.update(lines)
        dropped.update(b for b in bars if _is_ghost(b, bar))
    return [b for b in bars if b not in dropped]


def _is_ghost(faint: Bar, bar: Bar) -> bool:
    """Whether a faint line is what JPEG leaves in the 8-pixel blocks a bar passes through."""
    apart = max(bar.y0 - faint.y1, faint.y0 - bar.y1)
    return apart <= 8 and faint.contrast < 0.5 * bar.contrast and _overlap(faint, bar) > 0.8


def _overlap(a: Bar, b: Bar) -> float:
    """Shared share of the shorter bar."""
    return (min(a.x1, b.x1) - max(a.x0, b.x0)) / min(a.length, b.length)


def _ends_apart(a: Bar, b: Bar) -> float:
    return max(abs(a.x0 - b.x0), abs(a.x1 - b.x1))


def _joined_far(side: NDArray[np.bool_], tall: int, width: int) -> bool:
    """Whether the far ends of two ticks are joined, which makes a frame."""
    far = side[max(0, tall - width - 1) : tall]
    return bool(far.any(axis=0).mean() > 0.8)


def _run(flags: NDArray[np.bool_]) -> int:
    """How many flags are set before the first that is not."""
    return len(flags) if flags.all() else int(np.argmin(flags))
