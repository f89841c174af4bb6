"""The calibrations of a setup over time, as a small plot in SVG 1.1."""

from collections.abc import Sequence
from xml.etree import ElementTree

from setstone.annotate.lettering import plain
from setstone.annotate.style import BLUE, GREY, INK
from setstone.record.entries import CalibrationEntry

_LEFT, _RIGHT, _TOP, _BOTTOM = 72, 20, 44, 44
#: Narrower than this a plot has no room for the whole heading.
_WIDE = 480
_FONT = "Rubik, system-ui, 'Segoe UI', sans-serif"


def calibration_plot(entries: Sequence[CalibrationEntry], *, width: int = 640, height: int = 300) -> str:
    """Draw scale against date, each with its interval of 95 %.

    Parameters
    ----------
    entries : sequence of CalibrationEntry
        Of one setup, oldest first; at least one.
    width, height : int, optional
        Of the plot, in its own unit, in which letters are 12 high.

    Returns
    -------
    str
        An XML document.
    """
    name = plain(entries[0].setup.name)
    heading = f"Scale of {name}, µm per pixel{', with the interval of 95 %' if width >= _WIDE else ''}"
    values = [e.result.um_per_px for e in entries]
    halves = [2 * e.result.scale("").u_um_per_px for e in entries]
    low = min(v - h for v, h in zip(values, halves, strict=True))
    high = max(v + h for v, h in zip(values, halves, strict=True))
    room = 0.1 * (high - low)
    first, last = entries[0].made.timestamp(), entries[-1].made.timestamp()

    def x(moment: float) -> float:
        share = (moment - first) / (last - first) if last > first else 0.5
        return _LEFT + (0.06 + 0.88 * share) * (width - _LEFT - _RIGHT)

    def y(value: float) -> float:
        share = (value - low + room) / (high - low + 2 * room)
        return height - _BOTTOM - share * (height - _TOP - _BOTTOM)

    root = ElementTree.Element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        width=str(width),
        height=str(height),
        viewBox=f"0 0 {width} {height}",
    )
    ElementTree.SubElement(root, "metadata").text = "setstone"
    ElementTree.SubElement(root, "title").text = f"Calibrations of {name}"
    ElementTree.SubElement(root, "rect", width=str(width), height=str(height), fill="#ffffff")
    _text(root, _LEFT if width >= _WIDE else 8, 24, heading, size=14)
    frame = f"M{_LEFT} {_TOP}V{height - _BOTTOM}H{width - _RIGHT}"
    ElementTree.SubElement(root, "path", d=frame, stroke=GREY, fill="none")
    for value in (low, (low + high) / 2, high):
        _line(root, _LEFT - 5, y(value), _LEFT, y(value), GREY)
        _text(root, _LEFT - 8, y(value) + 4, f"{value:.5g}", anchor="end")
    written = -width
    for entry, value, half in zip(entries, values, halves, strict=True):
        place = x(entry.made.timestamp())
        _line(root, place, y(value - half), place, y(value + half), BLUE)
        for end in (value - half, value + half):
            _line(root, place - 4, y(end), place + 4, y(end), BLUE)
        mark = ElementTree.SubElement(
            root, "circle", cx=f"{place:.1f}", cy=f"{y(value):.1f}", r="4", fill=BLUE
        )
        told = f"{entry.made.astimezone():%Y-%m-%d}: {value:.5g} ± {half:.2g} µm per pixel, {entry.by}"
        ElementTree.SubElement(mark, "title").text = plain(told)
        if place - written > 80:  # dates would run into each other
            date = f"{entry.made.astimezone():%Y-%m-%d}"
            _text(root, min(place, width - 36), height - _BOTTOM + 20, date, anchor="middle")
            written = round(place)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _line(root: ElementTree.Element, x0: float, y0: float, x1: float, y1: float, colour: str) -> None:
    places = {"x1": f"{x0:.1f}", "y1": f"{y0:.1f}", "x2": f"{x1:.1f}", "y2": f"{y1:.1f}"}
    ElementTree.SubElement(root, "line", places, stroke=colour)


def _text(
    root: ElementTree.Element, x: float, y: float, words: str, *, anchor: str = "start", size: int = 12
) -> None:
    text = ElementTree.SubElement(
        root,
        "text",
        {
            "x": f"{x:.1f}",
            "y": f"{y:.1f}",
            "text-anchor": anchor,
            "font-size": str(size),
            "font-family": _FONT,
            "fill": INK,
        },
    )
    text.text = words
