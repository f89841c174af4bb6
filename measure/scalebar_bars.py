"""From drawn strokes to bars: join the parts of a broken bar, and leave out frames and fragments."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setstone.measure.label import Image8
from setstone.measure.scalebar_rows import EVEN, LEAST_STEP, SAME_COLOUR
from setstone.measure.scalebar_strokes import LONGEST, SHORTEST, Stroke
from setstone.measure.scalebar_text import Box

#: Ticks are looked for in this row beside the bar, clear of the blur JPEG leaves at its edge.
BESIDE = 3
#: Ticks that cross the bar's very end lie within this many px of it.
SHORT_TICK = 5
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
    crossing : float
        How far inside its ends the middles of short ticks cross it, px; 0 without.
    blocks : int
        Number of blocks of a graduated bar, else 1.
    """

    x0: float
    x1: float
    y0: int
    y1: int
    contrast: float
    opening: tuple[float, float] | None = None
    end_mark: float = 0.0
    crossing: float = 0.0
    blocks: int = 1

    @property
    def part(self) -> float:
        """Length of one of its blocks, px."""
        return self.length / self.blocks

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
    bars = _joined(strokes, picture) + [_plain(s) for s in strokes if not _crowded(s, strokes)]
    kept = []
    for bar in bars:
        marks = _end_marks(picture, bar)
        if (
            marks is not None
            and not _goes_on(picture, bar)
            and SHORTEST * width <= bar.length <= LONGEST * width
        ):
            kept.append(replace(bar, end_mark=marks, crossing=0.0 if marks else _crossing(picture, bar)))
    return sorted(_without_backgrounds(kept), key=lambda b: (-b.contrast, b.y0, b.x0))


def _plain(stroke: Stroke) -> Bar:
    return Bar(stroke.x0, stroke.x1, stroke.y0, stroke.y1, stroke.contrast, blocks=stroke.blocks)


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
    """Whether its like lies next to it, in line or corner to corner, or another ends where it begins."""
    for other in strokes:
        apart = max(other.x0 - stroke.x1, stroke.x0 - other.x1)
        near = min(abs(other.y0 - stroke.y0), abs(other.y0 - stroke.y1), abs(other.y1 - stroke.y0)) <= 2
        if other is stroke or apart <= -2:
            continue
        if (near and _alike(stroke, other) and apart < 6 * stroke.length) or (
            apart < 3 and _collinear(stroke, other)
        ):
            return True
    return False


def _joined(strokes: list[Stroke], picture: Image8) -> list[Bar]:
    """Two like halves with the label between them, or a row of like blocks with gaps of their length."""
    bars = []
    taken: set[Stroke] = set()
    for stroke in sorted(strokes, key=lambda s: s.x0):
        if stroke in taken:
            continue
        row = [s for s in strokes if s is stroke or (_alike(stroke, s) and _collinear(stroke, s))]
        row.sort(key=lambda s: s.x0)
        taken.update(row)
        gaps = np.array([b.x0 - a.x1 for a, b in pairwise(row)])
        block = float(np.mean([s.length for s in row]))
        graded = len(row) > 1 and bool(np.all(np.abs(gaps - block) <= max(3.0, 0.15 * block)))
        halves = len(row) == 2 and 0 < gaps[0] < 6 * block
        if not (graded or halves) or any(_touches(s, stroke) for s in strokes if s not in row):
            continue
        if any(_is_block(picture, a, b) for a, b in pairwise(row)):
            continue
        contrast = min(s.contrast for s in row)
        opening = (row[0].x1, row[1].x0) if halves else None
        bars.append(
            Bar(row[0].x0, row[-1].x1, stroke.y0, stroke.y1, contrast, opening, blocks=2 * len(row) - 1)
        )
    return bars


def _touches(a: Stroke, b: Stroke) -> bool:
    """Whether two like strokes meet in neighbouring rows, as in a chequered bar."""
    return _alike(a, b) and min(abs(a.y0 - b.y1), abs(a.y1 - b.y0)) <= 2


def _is_block(picture: Image8, a: Stroke, b: Stroke) -> bool:
    """Whether the gap between two strokes is drawn too, in another colour: then these are not the whole."""
    gap = picture[max(0, a.y0 - 5) : a.y1 + 5, round(a.x1 + 2.5) : round(b.x0 - 1.5)].astype(np.float32)
    if gap.shape[1] == 0:
        return False
    top = a.y0 - max(0, a.y0 - 5)
    own = gap[top : top + a.thickness].mean(axis=0)
    even = np.abs(own - np.median(own, axis=0)).max(axis=1) < EVEN
    out = [np.abs(own - beyond).max(axis=1) > LEAST_STEP for beyond in (gap[0], gap[-1])]
    return bool(even.mean() > 0.9 and min(o.mean() for o in out) > 0.8)


def _end_marks(picture: Image8, bar: Bar) -> float | None:
    """Width of the ticks or brackets at the ends, 0 without; None where they are sides of a frame."""
    box = bar.box
    own = np.median(picture[box.y0 : box.y1, box.x0 : box.x0 + max(3, box.width // 8)], axis=(0, 1))

    def same(pixels: Image8) -> NDArray[np.bool_]:
        return np.asarray(np.abs(pixels - own).max(axis=-1) < min(0.4 * bar.contrast, SAME_COLOUR))

    reach = round(0.7 * bar.length)
    columns = slice(box.x0, box.x1)
    above = picture[max(0, box.y0 - reach) : box.y0, columns][::-1]
    below = picture[box.y1 : box.y1 + reach, columns]
    widths = [0]
    for side in (above, below):
        if len(side) < BESIDE:
            continue
        beside = same(side[BESIDE - 1])
        width = min(_run(beside), _run(beside[::-1]))
        if width == 0 or width > 0.2 * box.width:
            continue
        tall = min(_run(same(side[:, width // 2])), _run(same(side[:, -1 - width // 2])))
        if tall > 0.6 * bar.length:
            return None
        # Ticks whose far ends are joined make a frame.
        far = same(side[max(0, tall - width - 1) : tall])
        if far.any(axis=0).mean() > 0.8:
            if tall > HOLLOW * bar.length or box.height > max(3, 0.4 * tall):
                return None
        elif box.height > THICK or width > max(4, 0.05 * box.width):
            return None
        else:
            widths.append(width)
    return float(max(widths))


def _crossing(picture: Image8, bar: Bar) -> float:
    """How far inside both ends ticks too short for `_end_marks` cross the bar; 0 without.

    Where the bar is drawn as a thick line its ends stand out beyond the points that are meant.
    """
    box = bar.box
    if box.y0 < 1 or box.y1 >= len(picture) or box.width < 8 * SHORT_TICK:
        return 0.0
    own = np.median(picture[box.y0 : box.y1, box.x0 : box.x0 + box.width // 8], axis=(0, 1))
    offsets = []
    for row in (picture[box.y0 - 1], picture[box.y1]):
        drawn = np.abs(row[box.x0 : box.x1] - own).max(axis=-1) < min(0.4 * bar.contrast, SAME_COLOUR)
        for end in (drawn[: 3 * SHORT_TICK], drawn[::-1][: 3 * SHORT_TICK]):
            columns = np.flatnonzero(end)
            if len(columns) == 0 or columns[-1] >= SHORT_TICK or columns[-1] - columns[0] >= len(columns):
                return 0.0
            offsets.append(float(columns.mean()) + 0.5)
    return float(np.mean(offsets)) if max(offsets) - min(offsets) <= 1 else 0.0


def _goes_on(picture: Image8, bar: Bar) -> bool:
    """Whether more of a bar's kind lies on its own rows beyond an end: a half, or a further block."""
    box = bar.box
    own = np.median(picture[box.y0 : box.y1, box.x0 : box.x0 + max(3, box.width // 8)], axis=(0, 1))
    reach = 5 * box.width
    rows = picture[max(0, box.y0 - 4) : box.y1 + 4]
    for beyond in (
        rows[:, box.x1 + 3 : box.x1 + reach],
        rows[:, max(0, box.x0 - reach) : max(0, box.x0 - 3)],
    ):
        if beyond.shape[1] == 0:
            continue
        off = np.abs(beyond.astype(np.float32) - own).max(axis=2)
        core = box.y0 - max(0, box.y0 - 4) + box.height // 3
        like = off[core : core + max(1, box.height // 3)].mean(axis=0) < 40
        alone = np.minimum(off[0], off[-1]) > 40
        if _longest(like & alone) > max(6, 0.25 * bar.part):
            return True
    return False


def _longest(flags: NDArray[np.bool_]) -> int:
    """Length of the longest run of set flags."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _without_backgrounds(bars: list[Bar]) -> list[Bar]:
    """Leave out what only lies around a bar: its ghosts in JPEG, its outline, the parts of its box."""
    bars = [b for b in bars if not any(_is_ghost(b, bar) for bar in bars)]
    outlines = {line for bar in bars for line in _outline(bar, bars)}
    bars = [b for b in bars if b not in outlines]
    return [b for b in bars if not any(_is_background(b, bar) for bar in bars)]


def _outline(bar: Bar, bars: list[Bar]) -> list[Bar]:
    """Find the like lines that run along both sides of a bar and end near its ends."""
    above = [b for b in bars if abs(b.y1 - bar.y0) <= 1 and _runs_along(b, bar)]
    below = [b for b in bars if abs(b.y0 - bar.y1) <= 1 and _runs_along(b, bar)]
    pairs = [(a, b) for a in above for b in below if abs(a.box.height - b.box.height) <= 2]
    return [line for pair in pairs for line in pair]


def _runs_along(line: Bar, bar: Bar) -> bool:
    """Whether a line ends near a bar's ends, or short of them as beside the shaft of an arrow."""
    if line is bar:
        return False
    near = max(abs(line.x0 - bar.x0), abs(line.x1 - bar.x1)) <= 4 + bar.end_mark
    inside = bar.x0 < line.x0 and line.x1 < bar.x1 and line.length > 0.5 * bar.length
    return near or (inside and line.box.height <= max(3, bar.box.height))


def _is_background(drawn: Bar, bar: Bar) -> bool:
    """Whether a drawing touches a bar and reaches farther at both ends, or is like it but fainter."""
    if drawn is bar or min(abs(drawn.y1 - bar.y0), abs(drawn.y0 - bar.y1)) > 1 or _overlap(drawn, bar) < 0.5:
        return False
    if max(abs(drawn.x0 - bar.x0), abs(drawn.x1 - bar.x1)) <= 4 + bar.end_mark:
        return (drawn.contrast, bar.y0) < (bar.contrast, drawn.y0)
    return drawn.x0 < bar.x0 and drawn.x1 > bar.x1


def _is_ghost(faint: Bar, bar: Bar) -> bool:
    """Whether a faint line is only what JPEG leaves in the 8-pixel blocks a bar passes through."""
    apart = max(bar.y0 - faint.y1, faint.y0 - bar.y1)
    within = faint.x0 > bar.x0 - 3 and faint.x1 < bar.x1 + 3
    return apart <= 8 and within and faint.contrast < 0.6 * bar.contrast


def _overlap(a: Bar, b: Bar) -> float:
    """Shared share of the shorter bar."""
    return (min(a.x1, b.x1) - max(a.x0, b.x0)) / min(a.length, b.length)


def _run(flags: NDArray[np.bool_]) -> int:
    """How many flags are set before the first that is not."""
    return len(flags) if flags.all() else int(np.argmin(flags))
