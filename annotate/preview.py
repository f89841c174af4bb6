"""The hand-out made simple enough for a text widget: the same page, its pictures taken out and named."""

import base64
from dataclasses import dataclass
from html import escape
from html.parser import HTMLParser

_NAMESPACE = "http://www.w3.org/2000/svg"
#: What a text widget cannot show; with all that is inside.
_DROPPED = {"style", "script", "label", "title", "legend", "button"}
_DROPPED_CLASSES = {"skip", "hidden"}
#: The same for elements that have no inside.
_DROPPED_ALONE = {"meta", "input"}


@dataclass(frozen=True)
class PreviewPicture:
    """A photograph of the page and what is drawn over it.

    Parameters
    ----------
    jpeg : bytes
    svg : str
        A document of its own, to be stretched over the photograph.
    """

    jpeg: bytes
    svg: str


@dataclass(frozen=True)
class Preview:
    """A page for a text widget.

    Parameters
    ----------
    html : str
        Without style, script and drawings; pictures stand in it as ``<img src="picture:0">``.
    pictures : tuple of PreviewPicture
    """

    html: str
    pictures: tuple[PreviewPicture, ...]


def preview_of(page: str) -> Preview:
    """Make a hand-out simple enough for a text widget.

    Parameters
    ----------
    page : str
        As `setstone.annotate.handout.render` gives it.

    Returns
    -------
    Preview
    """
    simple = _Simple()
    simple.feed(page)
    simple.close()
    pictures = tuple(PreviewPicture(jpeg, "".join(svg)) for jpeg, svg in simple.pictures)
    return Preview("".join(simple.text), pictures)


class _Simple(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.text: list[str] = []
        self.pictures: list[tuple[bytes, list[str]]] = []
        self._inside = ""  # of which dropped element, or of a drawing
        self._drawing: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        raw = self.get_starttag_text() or ""
        if self._inside:
            # Links inside a drawing are of no use here, and not all that draw SVG know them.
            if self._drawing is not None and tag != "a":
                self._drawing.append(raw)
            return
        values = dict(attrs)
        if tag == "svg":
            self._inside = tag
            if values.get("class") == "overlay" and self.pictures and not self.pictures[-1][1]:
                self._drawing = self.pictures[-1][1]
                self._drawing.append(raw.replace("<svg", f'<svg xmlns="{_NAMESPACE}"', 1))
        elif tag in _DROPPED or values.get("class") in _DROPPED_CLASSES:
            self._inside = tag
        elif tag == "img":
            self.text.append(f'<img src="picture:{len(self.pictures)}">')
            data = (values.get("src") or "").partition("base64,")[2]
            self.pictures.append((base64.b64decode(data), []))
        elif tag not in _DROPPED_ALONE:
            self.text.append(raw)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self._drawing is not None:
            self._drawing.append(self.get_starttag_text() or "")
        elif not self._inside:
            self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self._drawing is not None and tag != "a":
            self._drawing.append(f"</{tag}>")
        if self._inside:
            if tag == self._inside:
                self._inside, self._drawing = "", None
        elif tag not in _DROPPED_ALONE:
            self.text.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        if self._drawing is not None:
            self._drawing.append(escape(data))
        elif not self._inside:
            self.text.append(escape(data))
