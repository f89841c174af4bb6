"""The strip below a picture: which stone, which light, what the lines mean, and a scale bar."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from setstone import __version__
from setstone.annotate import style
from setstone.annotate.lettering import elided, plain, text_width
from setstone.annotate.overlay import stroke, um_per_px
from setstone.annotate.shapes import Group, Overlay, Path, Shape, Text, box, pill
from setstone.annotate.style import Line
from setstone.annotate.texts import Texts
from setstone.measure.candidates import LampName
from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry

_PAD = 18.0
_TITLE, _BODY, _NOTE = 24.0, 18.0, 15.5
_SAMPLE, _GAP = 46.0, 30.0
_BAR_THICKNESS = 5.0


def with_legend(
    overlay: Overlay,
    entry: ExaminationEntry,
    stone: StoneEntry,
    photograph: PhotographEntry,
    lamp: LampName,
    texts: Texts,
) -> Overlay:
    """Add a legend below the photograph, as wide as it; the photograph stays uncovered.

    Parameters
    ----------
    overlay : Overlay
        Without a legend.
    entry : ExaminationEntry
    stone : StoneEntry
    photograph : PhotographEntry
    lamp : {"white", "blue"}
    texts : Texts

    Returns
    -------
    Overlay
        With its strip.
    """
    unit = max(overlay.width, overlay.height) / 1000
    left, right = _PAD * unit, overlay.width - _PAD * unit
    y = overlay.height + (_PAD + _TITLE) * unit
    scale, scale_width = scale_bar(
        right, y + 0.5 * _TITLE * unit, (right - left) / 3, um_per_px(entry, lamp), unit, texts
    )
    room = right - left - scale_width - _GAP * unit
    heading = f"{plain(stone.position)} · {plain(stone.object_name)}"
    shapes: list[Shape] = [
        Text(elided(heading, _TITLE * unit, room, bold=True), left, y, _TITLE * unit, style.INK, bold=True),
        *scale,
    ]
    claim = plain(stone.claimed_as)
    when = texts.date(photograph.taken) if photograph.taken else texts("legend.undated")
    for line in (
        texts("legend.claimed", claim=claim) if claim else texts("legend.unclaimed"),
        f"{plain(entry.occasion)} · {texts(f'light.{lamp}')} · {when}",
    ):
        y += 1.5 * _BODY * unit
        shapes.append(Text(elided(line, _BODY * unit, room), left, y, _BODY * unit, style.INK))
    keys, y = _keys(overlay, left, right, y + 2.2 * _BODY * unit, unit, texts)
    shapes.extend(keys)
    y += 0.5 * _BODY * unit
    note = texts("legend.note", version=__version__, sha=photograph.sha256[:16])
    for line in _broken(note, _NOTE * unit, right - left):
        y += 1.5 * _NOTE * unit
        shapes.append(Text(line, left, y, _NOTE * unit, style.GREY))
    bottom = math.ceil(y + _PAD * unit)
    ground = box(-0.5, overlay.height - 0.5, overlay.width - 0.5, bottom - 0.5)
    legend = Group("legend", texts("legend.title"), (Path(ground, closed=True, fill=style.WHITE), *shapes))
    return replace(overlay, strip=bottom - overlay.height, groups=(*overlay.groups, legend))


def round_length(longest: float) -> float:
    """Return the greatest of 1, 2, 5 × 10ⁿ that is not longer.

    >>> [round_length(v) for v in (999.0, 0.34, 5.0)]
    [500.0, 0.2, 5.0]
    """
    power = 10.0 ** math.floor(math.log10(longest) + 1e-9)
    return max(step * power for step in (1, 2, 5) if step * power <= longest * (1 + 1e-9))


def length_label(um: float) -> str:
    """Write a round length in µm, or in mm from 1000 µm on.

    >>> length_label(200.0), length_label(2000.0)
    ('200 µm', '2 mm')
    """
    return f"{um / 1000:g} mm" if um >= 1000 else f"{um:g} µm"


def scale_bar(
    right: float, y: float, longest: float, um: float | None, unit: float, texts: Texts
) -> tuple[tuple[Shape, ...], float]:
    """Bar of a round length that ends at (right, y), with its label above; and the width of both.

    `um` are the micrometres per pixel; without them it is a text that says so.
    """
    size = _BODY * unit
    if um is None:
        none = texts("legend.no_scale")
        return (Text(none, right, y, size, style.INK, anchor="end"),), text_width(none, size)
    round_um = round_length(longest * um)
    length = round_um / um
    label = length_label(round_um)
    half = _BAR_THICKNESS * unit / 2
    bar = Path(box(right - length, y - half, right, y + half), closed=True, fill=style.INK)
    text = Text(label, right - length / 2, y - 3 * half, size, style.INK, anchor="middle")
    return (bar, text), max(length, text_width(label, size))


def _keys(
    overlay: Overlay, left: float, right: float, y: float, unit: float, texts: Texts
) -> tuple[list[Shape], float]:
    """Set out samples of the lines that occur, each with its meaning; and tell where the last row is."""
    size = _BODY * unit
    shapes: list[Shape] = []
    x = left + 6 * unit
    occurring = tuple(_occurring(overlay))
    if not any(name in {"finding", "candidate"} for name, _ in occurring):
        none = texts("legend.no_marks")
        shapes.append(Text(none, x, y, size, style.INK))
        x += 1.1 * text_width(none, size) + _GAP * unit
    for name, line in occurring:
        text = texts(f"legend.{name}")
        # a tenth more room than measured: a viewer without our font draws a wider one
        width = (_SAMPLE + 16) * unit + 1.1 * text_width(text, size)
        if x > left + 6 * unit and x + width > right:
            x, y = left + 6 * unit, y + 1.7 * size
        middle = y - 0.35 * size
        sample = np.array([[x, middle], [x + _SAMPLE * unit, middle]])
        shapes.append(
            Path(
                pill(x + _SAMPLE / 2 * unit, middle, (_SAMPLE + 12) * unit, 16 * unit),
                True,
                fill=style.GROUND,
            )
        )
        shapes.extend(stroke(sample, line, unit, closed=False))
        shapes.append(Text(text, x + (_SAMPLE + 16) * unit, y, size, style.INK))
        x += width + _GAP * unit
    return shapes, y


def _occurring(overlay: Overlay) -> Iterator[tuple[str, Line]]:
    roles = {g.role for g in overlay.groups}
    if "finding" in roles:
        yield "finding", style.FINDING
    if "candidate" in roles:
        yield "candidate", style.CANDIDATE
    girdle = next((g for g in overlay.groups if g.role == "outline"), None)
    if girdle is not None:
        dotted = {isinstance(s, Path) and bool(s.dashes) for s in girdle.shapes}
        if False in dotted:
            yield "girdle", style.OUTLINE
        if True in dotted:
            yield "extrapolated", style.EXTRAPOLATED


def _broken(text: str, size: float, room: float) -> list[str]:
    """Break a text into lines no wider than `room`, between words."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size) * 1.1 > room:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line]
