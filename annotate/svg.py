"""An overlay as SVG 1.1: on its own, or in the hand-out over its photograph.

The view box starts at -0.5 because (0, 0) is the *centre* of the first pixel: so the numbers in the
file are the coordinates of the overlay, and the drawing fits the photograph to the pixel.
"""

import math
from collections.abc import Callable, Iterable
from xml.etree import ElementTree

from setstone.annotate.lettering import plain
from setstone.annotate.shapes import Group, Overlay, Path, Shape, Text

_FONTS = "Rubik, system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
_NAMESPACE = "http://www.w3.org/2000/svg"


def svg_document(overlay: Overlay, generator: str) -> str:
    """Return a file of its own: transparent over the photograph, with the legend below it.

    Parameters
    ----------
    overlay : Overlay
    generator : str
        Program and version, kept as metadata.

    Returns
    -------
    str
        An XML document; its size in pixels is that of the photograph with the strip.
    """
    height = overlay.height + overlay.strip
    root = _root(height, overlay, xmlns=_NAMESPACE, width=f"{overlay.width}", height=f"{height}")
    _add(root, "metadata").text = generator
    _add(root, "title").text = plain(overlay.title)
    _add(root, "desc").text = plain(overlay.description)
    _draw(root, overlay.groups, link=lambda _: None)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def svg_inline(overlay: Overlay, link: Callable[[int], str | None], name: str) -> str:
    """Return the overlay for an HTML page; it takes the size of whatever holds it.

    Parameters
    ----------
    overlay : Overlay
    link : callable
        Gives the address of the row about a number, or None for no link.
    name : str
        Begins the identifiers of the marks, unique in the page.

    Returns
    -------
    str
        One ``<svg>`` element; marks carry ``data-n`` and an ``id`` of `name` and their number.
    """
    root = _root(overlay.height + overlay.strip, overlay)
    root.set("class", "overlay")
    if overlay.title:
        root.set("aria-label", plain(f"{overlay.title}. {overlay.description}"))
    else:
        root.set("aria-hidden", "true")
    _draw(root, overlay.groups, link=link, name=name)
    return ElementTree.tostring(root, encoding="unicode")


def _root(shown_height: int, overlay: Overlay, **attributes: str) -> ElementTree.Element:
    root = ElementTree.Element("svg", attributes)
    root.set("viewBox", f"-0.5 -0.5 {overlay.width} {shown_height}")
    root.set("role", "group")
    root.set("font-family", _FONTS)
    root.set("stroke-linecap", "round")
    root.set("stroke-linejoin", "round")
    return root


def _draw(
    root: ElementTree.Element,
    groups: Iterable[Group],
    link: Callable[[int], str | None],
    name: str = "",
) -> None:
    """Add all groups; tags come last so that no line crosses them."""
    groups = tuple(groups)
    for group in groups:
        holder = _add(root, "g")
        holder.set("class", _classes(group))
        if group.title:
            _add(holder, "title").text = plain(group.title)
        if group.number is not None:
            holder.set("data-n", str(group.number))
        for shape in group.shapes:
            _shape(holder, shape)
    for group in groups:
        if not group.tag:
            continue
        address = link(group.number) if group.number is not None else None
        holder = _add(root, "g") if address is None else _add(root, "a")
        if address is not None:
            holder.set("href", address)
            holder.set("aria-label", plain(group.title))
        holder.set("class", f"tag {_classes(group)}")
        holder.set("data-n", str(group.number))
        if name:
            holder.set("id", f"{name}-{group.number}")
        _add(holder, "title").text = plain(group.title)
        for shape in group.tag:
            _shape(holder, shape)


def _classes(group: Group) -> str:
    return f"{group.role} {group.layer}" if group.layer else group.role


def _shape(parent: ElementTree.Element, shape: Shape) -> None:
    if isinstance(shape, Path):
        drawn = _add(parent, "path")
        pairs = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        drawn.set("d", f"M{pairs}" + ("Z" if shape.closed else ""))
        drawn.set("fill", shape.fill or "none")
        if shape.stroke:
            drawn.set("stroke", shape.stroke)
            drawn.set("stroke-width", _number(shape.width))
        if shape.dashes:
            drawn.set("stroke-dasharray", " ".join(map(_number, shape.dashes)))
    else:
        _text(parent, shape)


def _text(parent: ElementTree.Element, shape: Text) -> None:
    written = _add(parent, "text")
    written.text = plain(shape.text)
    for key, value in (("x", shape.x), ("y", shape.y), ("font-size", shape.size)):
        written.set(key, _number(value))
    written.set("fill", shape.colour)
    if shape.bold:
        written.set("font-weight", "600")
    if shape.anchor != "start":
        written.set("text-anchor", shape.anchor)


def _add(parent: ElementTree.Element, tag: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, tag)


def _number(value: float) -> str:
    """Two decimals suffice: a hundredth of a pixel."""
    if not math.isfinite(value):
        raise ValueError(f"A drawing cannot hold the coordinate {value}.")
    return f"{value:.2f}".rstrip("0").rstrip(".")
