"""Read the scale from a bar burned into the photograph.

`find_scale_bar` finds the drawn bar and the length printed at it; `scale_from_bar` makes a scale of
them. Nothing is guessed: without a bar the answer is None, and where the printed length is not read
for certain the bar comes back without one, for a person to give it.
"""

import math
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from setstone.measure.errors import MeasurementError
from setstone.measure.label import Image8, eight_bit
from setstone.measure.light import Pixels
from setstone.measure.quantity import combine
from setstone.measure.scale import Scale, ScaleSource
from setstone.measure.scalebar_bars import Bar, bars_of
from setstone.measure.scalebar_strokes import find_strokes
from setstone.measure.scalebar_text import Box, Label, belongs, find_label

#: At most this many drawn things are looked at for a label, those with most contrast first.
MOST_TRIED = 6
#: What has less than this share of a bar's contrast is not drawn with it.
RIVAL = 0.5
#: Two readings of one picture's scale agree within this share.
AGREEMENT = 0.02
#: Standard uncertainty of one end found by interpolation, in px; the scatter over drawn bars after JPEG.
U_END_PX = 0.1
#: Believable widths of a photograph through a microscope or a close-up lens, in µm; and of an electron
#: micrograph, the only kind whose bar is given in nanometres.
FIELD_UM = (50.0, 100e3)
NANO_FIELD_UM = (0.2, 50.0)


@dataclass(frozen=True)
class _Drawn:
    """A drawn bar, and whether it was found in the transposed picture."""

    bar: Bar
    upright: bool

    @property
    def box(self) -> Box:
        """Its pixels in the photograph."""
        return _transposed(self.bar.box) if self.upright else self.bar.box

    @property
    def opening(self) -> Box | None:
        """The gap in which its label stands, in the photograph."""
        if self.bar.opening is None:
            return None
        gap = Box(
            round(self.bar.opening[0] + 0.5), self.bar.y0, round(self.bar.opening[1] + 0.5), self.bar.y1
        )
        return _transposed(gap) if self.upright else gap


@dataclass(frozen=True)
class ScaleBar:
    """A burned-in scale bar.

    Parameters
    ----------
    p0, p1 : (float, float)
        Outer ends on the bar's middle line, x and y in px; a bar of n pixels is n long.
    length_px : float
        Distance between them.
    u_length_px : float
        Its standard uncertainty, px.
    label : str or None
        The printed length as read; None when it could not be read for certain.
    length_um : float or None
        The same in µm.
    label_box : (float, float, float, float) or None
        x0, y0, x1, y1 around the label, px.
    extent_box : (float, float, float, float)
        x0, y0, x1, y1 around bar and label, px: the part of the photograph that is drawing.
    """

    p0: tuple[float, float]
    p1: tuple[float, float]
    length_px: float
    u_length_px: float
    label: str | None
    length_um: float | None
    label_box: tuple[float, float, float, float] | None
    extent_box: tuple[float, float, float, float]


def find_scale_bar(pixels: Pixels) -> ScaleBar | None:
    """Find a burned-in scale bar and read its label.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16
        A full photograph, RGB as encoded.

    Returns
    -------
    ScaleBar or None
        None where no bar is drawn. Without `length_um` where a bar is, but no length that two readings
        agree on, that is round, and that makes the picture a plausible size.
    """
    picture = eight_bit(pixels)
    drawn = [_Drawn(bar, False) for bar in bars_of(find_strokes(picture), picture)]
    upright = find_strokes(picture, upright=True)
    drawn += [_Drawn(bar, True) for bar in bars_of(upright, picture.transpose(1, 0, 2))]
    drawn.sort(key=lambda d: -d.bar.contrast)
    read = _without_rivals(_labelled(picture, drawn))
    scales = [label.length_um / candidate.bar.length for candidate, label in read]
    if read and max(scales) < (1 + AGREEMENT) * min(scales):
        return _scale_bar(*read[0])
    certain = [d for d in drawn if _surely_drawn(picture, d)]
    return _scale_bar(certain[0], None) if len(certain) == 1 else None


def _labelled(picture: Image8, drawn: list[_Drawn]) -> list[tuple[_Drawn, Label]]:
    """Find the first drawing with a readable length, and all others its print may belong to."""
    for candidate in drawn[:MOST_TRIED]:
        label = find_label(picture, candidate.box, candidate.opening)
        if label is not None and _plausible(label, candidate.bar.length, picture.shape[1]):
            others = [
                d
                for d in drawn
                if d is not candidate
                and d.bar.contrast > RIVAL * candidate.bar.contrast
                and belongs(label.box, d.box)
            ]
            return [(candidate, label)] + [(d, label) for d in others]
    return []


def scale_from_bar(bar: ScaleBar, length_um: float | None = None) -> Scale:
    """Scale from a bar and its length, the printed one or one given by a person.

    Parameters
    ----------
    bar : ScaleBar
        As found.
    length_um : float, optional
        Length the bar stands for, in µm; goes before the printed one.

    Raises
    ------
    MeasurementError
        If the printed length could not be read and none is given, or the one given is not positive.
    """
    if length_um is None:
        if bar.length_um is None or bar.label is None:
            raise MeasurementError(
                "There is a scale bar, but the length printed at it cannot be read for certain; give its length."
            )
        return _scale(bar, bar.length_um, "scale bar", bar.label)
    if not (math.isfinite(length_um) and length_um > 0):
        raise MeasurementError(
            f"A scale bar cannot be {length_um:g} µm long; give a length greater than zero."
        )
    return _scale(bar, length_um, "bar length given", f"{length_um:g} µm")


def _scale(bar: ScaleBar, length_um: float, source: ScaleSource, detail: str) -> Scale:
    um_per_px = length_um / bar.length_px
    return Scale(um_per_px, um_per_px * bar.u_length_px / bar.length_px, source, detail)


def _scale_bar(drawn: _Drawn, label: Label | None) -> ScaleBar:
    bar = drawn.bar
    x0, x1, u_mark = bar.x0, bar.x1, bar.end_mark / math.sqrt(3)
    if label is not None and label.text.endswith("nm"):
        # Electron microscopes set the middles of the ticks, as the printed magnifications of a series
        # prove (Trofimov et al., npj Computational Materials 5, 67, 2019: bars of 63 px with 65 px of ink).
        x0, x1, u_mark = x0 + bar.end_mark / 2, x1 - bar.end_mark / 2, 0.0
    if bar.crossing > 0:
        x0, x1, u_mark = x0 + bar.crossing, x1 - bar.crossing, bar.crossing / math.sqrt(3)
    middle = (bar.y0 + bar.y1 - 1) / 2
    ends = (float(x0), middle), (float(x1), middle)
    p0, p1 = ((end[::-1] if drawn.upright else end) for end in ends)
    boxes = [drawn.box] + ([label.box] if label else [])
    return ScaleBar(
        p0=(p0[0], p0[1]),
        p1=(p1[0], p1[1]),
        length_px=float(x1 - x0),
        u_length_px=combine(
            math.sqrt(2) * U_END_PX,
            0.5 / math.sqrt(3),
            # Ends of a bar with ticks may be meant as their outer edges or as their middles.
            u_mark,
        ),
        label=label.text if label else None,
        length_um=label.length_um if label else None,
        label_box=_edges(label.box) if label else None,
        extent_box=_edges(
            Box(
                min(b.x0 for b in boxes),
                min(b.y0 for b in boxes),
                max(b.x1 for b in boxes),
                max(b.y1 for b in boxes),
            )
        ),
    )


def _edges(box: Box) -> tuple[float, float, float, float]:
    """Edge coordinates of a box of pixels."""
    return box.x0 - 0.5, box.y0 - 0.5, box.x1 - 0.5, box.y1 - 0.5


def _surely_drawn(picture: Image8, drawn: _Drawn) -> bool:
    """Whether a thing without a readable label is a bar all the same: strong, thin, and of one colour."""
    box = drawn.box
    pixels = picture[box.y0 : box.y1, box.x0 : box.x1].reshape(-1, 3).astype(np.float32)
    even = np.abs(pixels - np.median(pixels, axis=0)).max(axis=1) <= 10
    thin = drawn.bar.box.height <= 0.15 * drawn.bar.length
    return drawn.bar.contrast >= 60 and thin and drawn.opening is None and float(even.mean()) > 0.97


def _without_rivals(read: list[tuple[_Drawn, Label]]) -> list[tuple[_Drawn, Label]]:
    """Leave out boxes around a bar, parts of a bar, and strokes of the print itself."""
    print_ = {d for d, label in read if _is_of_print(d, label.box)}
    dropped = print_ if len(print_) < len(read) else set()
    for (a, _), (b, _) in permutations(read, 2):
        if {a, b} & dropped or a.bar.length < b.bar.length:
            continue
        if a.upright != b.upright:
            if a.box.gap(b.box) <= 2:
                dropped.add(b)
        elif a.box.gap(b.box) == 0 and a.bar.x0 - 2 <= b.bar.x0 and b.bar.x1 <= a.bar.x1 + 2:
            dropped.add(_lesser(a, b))
    return [r for r in read if r[0] not in dropped]


def _is_of_print(drawn: _Drawn, print_: Box) -> bool:
    """Whether a drawing is a straight part of a letter."""
    side = print_.height if drawn.upright else print_.width
    return print_.contains(drawn.box) and drawn.bar.length < 0.8 * side


def _lesser(longer: _Drawn, shorter: _Drawn) -> _Drawn:
    """Which of two overlapping drawings is not the bar."""
    a, b = longer.bar, shorter.bar
    if a.end_mark > 0:
        return shorter
    if b.length > 0.92 * a.length:
        return longer if a.box.height >= b.box.height else shorter
    return shorter if b.box.height > 0.6 * a.box.height else longer


def _transposed(box: Box) -> Box:
    return Box(box.y0, box.x0, box.y1, box.x1)


def _plausible(label: Label, length_px: float, width_px: int) -> bool:
    """Whether a length is one that people print on bars, and the picture then has a believable size."""
    field_um = label.length_um / length_px * width_px
    narrowest, widest = NANO_FIELD_UM if label.text.rstrip().endswith("nm") else FIELD_UM
    return narrowest <= field_um <= widest and _is_round(label.length_um)


def _is_round(length_um: float) -> bool:
    """Whether a length has at most two digits, or is 125 of something, in metres or in inches."""
    mantissas = (f"{length_um / unit:.5e}"[:7] for unit in (1.0, 25.4e3))
    return any(m[3:] == "0000" or m == "1.25000" for m in mantissas)
