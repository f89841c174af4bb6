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
from setstone.measure.scalebar_rows import EVEN, LEAST_STEP, SAME_COLOUR, Rows, graduation

#: Bars are looked for between these shares of the picture's side they lie along.
SHORTEST, LONGEST = 0.03, 0.80
#: The search runs at about this many samples along the bar; across it at full resolution.
SEARCH_SAMPLES = 1000
#: More edges, and pairs of edges, than this are not followed up; the longest and strongest come first.
MOST_RUNS, MOST_PAIRS = 400, 200


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
    edge = cv2.morphologyEx(edge, cv2.MORPH_CLOSE, np.ones((1, 5), np.uint8))
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
        for below, a, b in near[common > 0.4 * whole]:
            xa, xb = max(first, a), min(last, b)
            upper = smooth[row + 1, xa:xb].astype(np.float32) - smooth[row, xa:xb]
            lower = smooth[below + 1, xa:xb].astype(np.float32) - smooth[below, xa:xb]
            if np.mean((upper * lower).sum(axis=1) < 0) > 0.8:
                strength = np.minimum(np.abs(upper).max(axis=1), np.abs(lower).max(axis=1)).sum()
                pairs.append((float(strength), int(row) + 1, int(below) + 1, int(xa), int(xb)))
    pairs.sort(key=lambda p: (-p[0], *p[1:]))
    return [(y0, y1, xa, xb) for _, y0, y1, xa, xb in pairs[:MOST_PAIRS]]


def _verify(picture: Image8, y0: int, y1: int, xa: int, xb: int) -> Stroke | None:
    """Measure a candidate on the full picture; None where it is not drawn."""
    if y0 < 2 or y1 > picture.shape[0] - 2:
        return None
    stroke = _measure_within(picture, y0, y1, xa, xb, xb - xa + 24)
    if stroke is not None and stroke.blocks > 1:
        # One block of several was the candidate: all are to be seen.
        stroke = _measure_within(picture, y0, y1, xa, xb, 10 * (xb - xa))
    return stroke


def _measure_within(picture: Image8, y0: int, y1: int, xa: int, xb: int, margin: int) -> Stroke | None:
    """Measure a candidate by each of the groups of rows that show its colour; None where they differ."""
    left, right = max(0, xa - margin), min(picture.shape[1], xb + margin)
    pad = min(6, y0, picture.shape[0] - y1)
    band = picture[y0 - pad : y1 + pad, left:right].astype(np.float32)
    found = [_measure(Rows.of(band, pad, rows), xa - left, xb - left) for rows in _own_rows(y1 - y0)]
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


def _measure(rows: Rows, xa: int, xb: int) -> Stroke | None:
    """Measure ends, colour and contrast of what lies between about these columns."""
    centre, quarter = (xa + xb) // 2, (xb - xa) // 4
    steps = rows.contrast()
    contrast = float(np.median(steps[centre - quarter : centre + quarter + 1]))
    if contrast < LEAST_STEP:
        # The middle block of a graduated bar may have the colour of the ground.
        centre -= quarter
        contrast = float(np.median(steps[max(0, centre - 2) : centre + 3]))
    block = rows.block(centre, contrast) if contrast >= LEAST_STEP else None
    blocks = graduation(rows, block, contrast) if block else []
    if not blocks:
        return None
    x0, x1 = blocks[0][0], blocks[-1][1]
    bare = steps[round(x0 + 1) : round(x1)] > max(LEAST_STEP / 2, 0.3 * contrast)
    if x1 - x0 < 2.2 * quarter or bare.mean() < (0.85 if len(blocks) == 1 else 0.5):
        return None
    red, green, blue = (float(c) for c in rows.colour(blocks[0]))
    return Stroke(x0, x1, 0, 0, (red, green, blue), contrast, len(blocks))


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
        elif stroke.length > 1.015 * kept[twin].length and (
            stroke.blocks > 1 or stroke.contrast > 0.5 * kept[twin].contrast
        ):
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
