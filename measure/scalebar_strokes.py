"""Drawn strokes: the straight, axis-parallel, evenly coloured rectangles a burned-in bar is made of.

What tells a drawing from the photograph under it: its long edges keep to one pixel row all along,
its colour does not vary, and its ends are sharp. Everything here works on bars that lie along the
rows; for upright bars the caller hands over the transposed picture.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.label import Image8
from setstone.measure.light import Plane

#: Bars are looked for between these shares of the picture's side they lie along.
SHORTEST, LONGEST = 0.03, 0.80
#: The search runs at about this many samples along the bar; across it at full resolution.
SEARCH_SAMPLES = 1000
#: Least step in grey levels (of 255, in one channel) that counts as an edge of a drawing.
LEAST_STEP = 14
#: A drawn colour keeps within this many grey levels, also after JPEG.
EVEN = 16
#: Two colours nearer than this, in grey levels in each channel, are one colour of a drawing.
SAME_COLOUR = 60
#: More edges than this are not followed up; the longest come first.
MOST_RUNS = 400
#: A drawn end rises within this many pixels, also after JPEG and moderate resizing.
SHARP_PX = 3.2


@dataclass(frozen=True)
class Stroke:
    """A drawn rectangle along the rows.

    Parameters
    ----------
    x0, x1 : float
        Its ends as edge coordinates (px): a rectangle covering columns 10..19 has 9.5 and 19.5.
    y0, y1 : int
        First row, and the row after the last.
    colour : (3,) float
        Mean colour in grey levels 0..255; of the first block where the stroke alternates.
    blocks : int
        1 for a plain stroke, the number of blocks for a graduated one.
    contrast : float
        Step between the stroke and what lies above and below it, in grey levels.
    """

    x0: float
    x1: float
    y0: int
    y1: int
    colour: tuple[float, float, float]
    contrast: float
    blocks: int = 1

    @property
    def length(self) -> float:
        """Length in px."""
        return self.x1 - self.x0

    @property
    def thickness(self) -> int:
        """Thickness in px."""
        return self.y1 - self.y0


def find_strokes(picture: Image8, *, upright: bool = False) -> list[Stroke]:
    """Find all drawn strokes along the rows, longest first.

    Parameters
    ----------
    picture : (H, W, 3) uint8
        The photograph, RGB as encoded.
    upright : bool
        Look along the columns instead: the strokes are those of the transposed picture.
    """
    reduced, factor = _shorten(picture, upright)
    if upright:
        picture = picture.transpose(1, 0, 2)
    found = []
    for y0, y1, xa, xb in _pairs(*_edge_runs(reduced), factor):
        stroke = _verify(picture, y0, y1, xa * factor, xb * factor)
        if stroke is not None:
            found.append(stroke)
    return _distinct(found)


def _shorten(picture: Image8, upright: bool) -> tuple[Image8, int]:
    """Average neighbouring columns, which loses nothing of a stroke along the rows, and say how many.

    Upright, average rows and transpose.
    """
    long = picture.shape[0 if upright else 1]
    factor = max(1, round(long / SEARCH_SAMPLES))
    height, width = picture.shape[:2]
    if upright:
        size = (width, height // factor)
        picture = picture[: height // factor * factor]
    else:
        size = (width // factor, height)
        picture = picture[:, : width // factor * factor]
    if factor > 1:
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.ascontiguousarray(cv2.transpose(picture) if upright else picture), factor


def _edge_runs(reduced: Image8) -> tuple[Image8, NDArray[np.int32]]:
    """Long straight edges: the row-wise smoothed picture, and one (row, first, last + 1) per edge.

    An edge in row e lies between pixel rows e and e + 1.
    """
    smooth = np.asarray(cv2.blur(reduced, (9, 1)), np.uint8)
    red, green, blue = cv2.split(cv2.absdiff(smooth[1:], smooth[:-1]))
    edge = cv2.compare(cv2.max(cv2.max(red, green), blue), LEAST_STEP, cv2.CMP_GT)
    least = max(12, round(0.02 * reduced.shape[1]))
    edge = cv2.morphologyEx(edge, cv2.MORPH_CLOSE, np.ones((1, 11), np.uint8))
    edge = cv2.morphologyEx(edge, cv2.MORPH_OPEN, np.ones((1, least), np.uint8))
    runs = []
    for row in np.flatnonzero(edge.any(axis=1)):
        turns = np.flatnonzero(np.diff(np.concatenate([[0], edge[row] != 0, [0]])))
        runs += [(row, first, last) for first, last in zip(turns[::2], turns[1::2], strict=True)]
    return smooth, np.array(runs, np.int32).reshape(-1, 3)


def _pairs(smooth: Image8, runs: NDArray[np.int32], factor: int) -> list[tuple[int, int, int, int]]:
    """Upper and lower edges that belong together: (first row, row after the last, first and last column)."""
    longest = np.argsort(runs[:, 1] - runs[:, 2], kind="stable")[:MOST_RUNS]
    runs = runs[np.sort(longest)]
    pairs = []
    for row, first, last in runs:
        near = runs[(runs[:, 0] > row) & (runs[:, 0] <= row + max(4, factor * (last - first) // 3))]
        common = np.minimum(near[:, 2], last) - np.maximum(near[:, 1], first)
        whole = np.maximum(near[:, 2], last) - np.minimum(near[:, 1], first)
        for below, a, b in near[common > 0.75 * whole]:
            xa, xb = max(first, a), min(last, b)
            upper = smooth[row + 1, xa:xb].astype(np.float32) - smooth[row, xa:xb]
            lower = smooth[below + 1, xa:xb].astype(np.float32) - smooth[below, xa:xb]
            if (upper * lower).sum() < 0:
                pairs.append((int(row) + 1, int(below) + 1, int(xa), int(xb)))
    return pairs


def _verify(picture: Image8, y0: int, y1: int, xa: int, xb: int) -> Stroke | None:
    """Measure a candidate on the full picture; None where it is not drawn."""
    height, width = picture.shape[:2]
    if y0 < 2 or y1 > height - 2:
        return None
    margin = max(24, (xb - xa) // 6)
    left, right = max(0, xa - margin), min(width, xb + margin)
    band = picture[y0 - 2 : y1 + 2, left:right].astype(np.float32)
    found = [_measure(_Rows.of(band, rows), xa - left, xb - left) for rows in _own_rows(y1 - y0)]
    first, last = found[0], found[-1]
    if first is None or last is None or max(abs(first.x0 - last.x0), abs(first.x1 - last.x1)) > 1.5:
        return None
    if np.abs(np.subtract(first.colour, last.colour)).max() > 2 * EVEN or first.blocks != last.blocks:
        return None
    return replace(
        first,
        x0=left + (first.x0 + last.x0) / 2,
        x1=left + (first.x1 + last.x1) / 2,
        y0=y0,
        y1=y1,
        contrast=min(first.contrast, last.contrast),
    )


def _own_rows(thickness: int) -> list[slice]:
    """Rows that show the stroke's colour, clear of its blurred edges.

    Of a thick one the upper and the lower rim, to be measured apart: its middle may carry print.
    """
    if thickness < 4:
        return [slice(0, thickness)]
    if thickness < 10:
        return [slice(1, thickness - 1)]
    rim = max(3, thickness // 6)
    return [slice(2, rim), slice(thickness - rim, thickness - 2)]


def _measure(rows: "_Rows", xa: int, xb: int) -> Stroke | None:
    """Measure ends, colour and contrast of what lies between about these columns."""
    centre, quarter = (xa + xb) // 2, (xb - xa) // 4
    contrast = float(np.median(rows.contrast()[centre - quarter : centre + quarter + 1]))
    block = rows.block(centre)
    if contrast < LEAST_STEP or block is None:
        return None
    blocks = [block] if block[1] - block[0] > 2.2 * quarter else _graduation(rows, block)
    if not blocks:
        return None
    x0, x1 = blocks[0][0], blocks[-1][1]
    bare = rows.contrast()[round(x0 + 1) : round(x1)] > max(LEAST_STEP / 2, 0.3 * contrast)
    if x1 - x0 < 2.2 * quarter or bare.mean() < (0.85 if len(blocks) == 1 else 0.5):
        return None
    colour = rows.colour(blocks[0])
    return Stroke(
        x0=x0,
        x1=x1,
        y0=0,
        y1=0,
        colour=(float(colour[0]), float(colour[1]), float(colour[2])),
        contrast=contrast,
        blocks=len(blocks),
    )


@dataclass(frozen=True)
class _Rows:
    """Colours along a candidate: its own, (n, 3), and those just above and below it, (2, n, 3)."""

    own: Plane
    around: Plane

    @classmethod
    def of(cls, band: Plane, rows: slice) -> "_Rows":
        """From the candidate's rows with two more on each side, and which of its rows to go by."""
        own = band[2:-2][rows].mean(axis=0)
        around = []
        for pair in (band[:2], band[-2:]):
            farther = np.argmax(np.abs(pair - own).max(axis=2), axis=0)
            around.append(pair[farther, np.arange(len(own))])
        return cls(own, np.stack(around))

    def contrast(self) -> Plane:
        """Step to what lies above and below, the smaller of the two, for each column."""
        return np.asarray(np.abs(self.around - self.own).max(axis=2).min(axis=0), np.float32)

    def colour(self, block: tuple[float, float]) -> Plane:
        """Median colour between two ends."""
        return np.asarray(np.median(self.own[round(block[0] + 1) : round(block[1])], axis=0), np.float32)

    def stands_out(self, block: tuple[float, float]) -> bool:
        """Whether a block differs from what lies above and below it."""
        return bool(np.median(self.contrast()[round(block[0] + 1) : round(block[1])]) >= LEAST_STEP)

    def block(self, start: int) -> tuple[float, float] | None:
        """Find the ends of the even piece that contains column `start`; None if they are not sharp."""
        if not 3 <= start < len(self.own) - 3:
            return None
        colour = np.median(self.own[start - 2 : start + 3], axis=0).astype(np.float32)
        contrast = float(np.abs(self.around[:, start - 2 : start + 3] - colour).max(axis=2).mean())
        level = self._level(colour, max(contrast, LEAST_STEP))
        right = _end(level[start:], self.own[start:], colour)
        left = _end(level[start::-1], self.own[start::-1], colour)
        if left is None or right is None:
            return None
        ends = start - left, start + right
        piece = self.own[round(ends[0] + 1) : round(ends[1])]
        if len(piece) < 4 or np.mean(np.abs(piece - np.median(piece, axis=0)).max(axis=1) < EVEN) < 0.9:
            return None
        return ends

    def _level(self, colour: Plane, contrast: float) -> Plane:
        """Distance from the given colour in units of the distance of what lies above and below.

        Beyond the end a column looks like its surroundings: 1. Where there is a tick the surroundings
        have the stroke's own colour; there the usual contrast is the unit.
        """
        off = np.abs(self.own - colour).max(axis=1)
        away = np.abs(self.around - colour).max(axis=2).max(axis=0)
        return np.asarray(off / np.where(away < 1.5 * LEAST_STEP, contrast, away), np.float32)


def _end(level: Plane, outward: Plane, colour: Plane) -> float | None:
    """Where an even piece ends, by linear interpolation at half height; None where that is not sharp.

    Counts from the first pixel, as an edge coordinate, so that a piece of n whole pixels measures n.
    """
    beyond = level > 0.5
    beyond[:-1] &= beyond[1:] | (level[:-1] > 0.8)
    first = int(np.argmax(beyond))
    if first == 0:
        return None
    near = slice(max(0, first - 4), first + 3)
    off = outward[near] - colour
    size = np.abs(off[-3:]).max(axis=1)
    full = off[np.argmax(size > 0.7 * size.max()) - 3]
    if size.max() < LEAST_STEP:
        return None
    rise = (off * full).sum(axis=1) / (full * full).sum()
    calm, reached = np.flatnonzero(rise <= 0.2), np.flatnonzero(rise >= 0.8)
    over = np.flatnonzero(rise >= 0.5)
    if len(calm) == 0 or over[0] == 0 or reached[0] - calm[calm < reached[0]].max(initial=-9) > SHARP_PX:
        return None
    k = over[0]
    return float(near.start + k - 1 + (0.5 - rise[k - 1]) / (rise[k] - rise[k - 1]))


def _graduation(rows: _Rows, block: tuple[float, float]) -> list[tuple[float, float]]:
    """Find the blocks of equal length and two colours in turn of which one is given.

    Empty where the row of blocks seems to go on beyond a place that cannot be made out.
    """
    length = block[1] - block[0]

    def like(start: float) -> tuple[float, float] | None:
        found = rows.block(round(start))
        if found is None or abs(found[1] - found[0] - length) > max(3, 0.15 * length):
            return None
        return found

    blocks = [block]
    for side, way in ((0, -1), (1, 1)):
        edge = block[side]
        while (found := like(edge + way * length / 2)) and abs(found[1 - side] - edge) <= 2:
            blocks.insert(side * len(blocks), found)
            edge = found[side]
        if (beyond := like(edge + way * 1.5 * length)) and _one_colour(rows, beyond, blocks):
            return []
    # A block at the end that does not stand out from its surroundings is not a block.
    while blocks and not rows.stands_out(blocks[0]):
        blocks = blocks[1:]
    while blocks and not rows.stands_out(blocks[-1]):
        blocks = blocks[:-1]
    return blocks


def _one_colour(rows: _Rows, block: tuple[float, float], blocks: list[tuple[float, float]]) -> bool:
    """Whether a block has the colour of any of some others."""
    return any(np.abs(rows.colour(block) - rows.colour(other)).max() < SAME_COLOUR for other in blocks)


def _distinct(strokes: list[Stroke]) -> list[Stroke]:
    """Keep one stroke for each drawing, longest first.

    Of those on the same place the one with most contrast and fewest rows, unless another reaches
    clearly farther: the tip of an arrow has fewer rows than its shaft.
    """
    kept: list[Stroke] = []
    for stroke in sorted(strokes, key=lambda s: (-round(s.contrast / 8), s.thickness, s.y0, s.x0)):
        twin = next((k for k, other in enumerate(kept) if _same(stroke, other)), None)
        if twin is None:
            kept.append(stroke)
        elif stroke.length > 1.015 * kept[twin].length and stroke.contrast > 0.5 * kept[twin].contrast:
            kept[twin] = stroke
    return sorted(kept, key=lambda s: (-s.length, s.y0, s.x0))


def _same(a: Stroke, b: Stroke) -> bool:
    """Whether two strokes show one drawing: same colour, rows in common, most of the shorter one shared."""
    shared = min(a.x1, b.x1) - max(a.x0, b.x0)
    return (
        (a.blocks > 1) == (b.blocks > 1)
        and min(a.y1, b.y1) > max(a.y0, b.y0)
        and shared > 0.8 * min(a.length, b.length)
        and max(np.abs(np.subtract(a.colour, b.colour))) < SAME_COLOUR
    )
