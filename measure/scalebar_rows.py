"""Colours along a candidate for a drawn bar: its even pieces, and where exactly they end."""

from dataclasses import dataclass

import numpy as np

from setstone.measure.light import Plane

#: Least step in grey levels (of 255, in one channel) that counts as an edge of a drawing.
LEAST_STEP = 14
#: A drawn colour keeps within this many grey levels, also after JPEG.
EVEN = 16
#: Two colours nearer than this, in grey levels in each channel, are one colour of a drawing.
SAME_COLOUR = 60
#: Ticks and arrow heads are not longer than this along the bar, in px.
MARK_PX = 12
#: A drawn end rises within this many pixels, also after JPEG and moderate resizing.
SHARP_PX = 3.2


@dataclass(frozen=True)
class Rows:
    """Colours along a candidate, in grey levels.

    Parameters
    ----------
    own : (n, 3)
        Its own.
    around, beyond : (2, n, 3)
        Just above and below it, and a few rows farther off.
    """

    own: Plane
    around: Plane
    beyond: Plane

    @classmethod
    def of(cls, band: Plane, pad: int, rows: slice) -> "Rows":
        """From the candidate's rows with `pad` more on each side, and which of its rows to go by."""
        own = band[pad:-pad][rows].mean(axis=0)
        around = []
        for pair in (band[pad - 2 : pad], band[-pad:][:2]):
            farther = np.argmax(np.abs(pair - own).max(axis=2), axis=0)
            around.append(pair[farther, np.arange(len(own))])
        return cls(own, np.stack(around), band[[0, -1]])

    def contrast(self) -> Plane:
        """Step to what lies above and below, the smaller of the two, for each column."""
        return np.asarray(np.abs(self.around - self.own).max(axis=2).min(axis=0), np.float32)

    def colour(self, block: tuple[float, float]) -> Plane:
        """Median colour between two ends."""
        return np.asarray(np.median(self.own[round(block[0] + 1) : round(block[1])], axis=0), np.float32)

    def stands_out(self, block: tuple[float, float]) -> bool:
        """Whether a block differs from what lies above and below it."""
        return bool(np.median(self.contrast()[round(block[0] + 1) : round(block[1])]) >= LEAST_STEP)

    def is_ground(self, block: tuple[float, float]) -> bool:
        """Whether a block looks like what lies farther above or below: it has no frame either."""
        inside = slice(round(block[0] + 1), round(block[1]))
        off = np.abs(self.beyond[:, inside] - self.own[inside]).max(axis=2)
        return bool(np.median(off, axis=1).min() < 2 * LEAST_STEP)

    def block(self, start: int, unit: float) -> tuple[float, float] | None:
        """Find the ends of the even piece that contains column `start`; None if they are not sharp.

        `unit` is its contrast in grey levels where its surroundings do not show it.
        """
        if not 3 <= start < len(self.own) - 3:
            return None
        colour = np.median(self.own[start - 2 : start + 3], axis=0).astype(np.float32)
        level = self._level(colour, unit)
        right = _end(level[start:], self.own[start:], colour)
        left = _end(level[start::-1], self.own[start::-1], colour)
        if left is None or right is None:
            return None
        ends = self._beyond_marks(start - left, colour, -1), self._beyond_marks(start + right, colour, 1)
        piece = self.own[round(ends[0] + 1) : round(ends[1])]
        if len(piece) < 4 or np.mean(np.abs(piece - np.median(piece, axis=0)).max(axis=1) < EVEN) < 0.9:
            return None
        return ends

    def _beyond_marks(self, end: float, colour: Plane, way: int) -> float:
        """Move an end past a tick or an arrow head.

        Where the colours of a JPEG are stored at half size, a thin line is paler than the mark at its
        end, which therefore looks like something else. It still lies farther from the ground than half.
        """
        first = round(end + 0.5) if way > 0 else round(end - 0.5)
        inner = np.clip(first - way * np.arange(6, 22), 0, len(self.own) - 1)
        ground = np.median(self.around[:, inner].reshape(-1, 3), axis=0)
        away = colour - ground
        outward = np.clip(first + way * np.arange(MARK_PX + 2), 0, len(self.own) - 1)
        share = ((self.own[outward] - ground) @ away) / max(float(away @ away), 1.0)
        within = share > 0.5
        run = len(within) if within.all() else int(np.argmin(within))
        if not 1 < run <= MARK_PX:
            return end
        last = float((share[run - 1] - 0.5) / (share[run - 1] - share[run]))
        return float(first + way * (run - 1 + last))

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


def graduation(rows: Rows, block: tuple[float, float], unit: float) -> list[tuple[float, float]]:
    """Find the blocks of equal length and two colours in turn of which one is given.

    Parameters
    ----------
    rows : Rows
        The candidate.
    block : (float, float)
        Ends of the block known.
    unit : float
        Its contrast, in grey levels.

    Returns
    -------
    list of (float, float)
        In order; the one alone where there are no others. Empty where they seem to go on beyond a place
        that cannot be made out, or where one at an end hides in its frame.
    """
    length = block[1] - block[0]

    def like(start: float) -> tuple[float, float] | None:
        found = rows.block(round(start), unit)
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
    for end in (0, -1):
        while blocks and not rows.stands_out(blocks[end]):
            if not rows.is_ground(blocks[end]):
                return []
            del blocks[end]
    return blocks


def _one_colour(rows: Rows, block: tuple[float, float], blocks: list[tuple[float, float]]) -> bool:
    """Whether a block has the colour of any of some others."""
    return any(np.abs(rows.colour(block) - rows.colour(other)).max() < SAME_COLOUR for other in blocks)
