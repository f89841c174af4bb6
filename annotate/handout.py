"""The buyer's hand-out: one HTML file with everything in it, for any browser and for paper.

It asks for no network, and a content security policy (W3C CSP Level 3) keeps it so: it admits one style sheet and one
script by their hashes and pictures that stand in the file. Without the script all facts are there; zooming is not.
"""

import base64
import hashlib
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from setstone.annotate.errors import AnnotateError
from setstone.annotate.files import replace_file
from setstone.annotate.lettering import plain
from setstone.annotate.redaction import without_names
from setstone.annotate.seal import Seal
from setstone.annotate.sheet import StoneSheet, sheet_of
from setstone.annotate.texts import Texts, texts_in
from setstone.annotate.views import page_view
from setstone.record.book import Book
from setstone.record.entries import StoneEntry


def write_handout(
    book: Book,
    stones: Sequence[StoneEntry],
    path: Path,
    *,
    language: str = "en",
    names: bool = False,
    made: datetime | None = None,
    progress: Callable[[str], None] | None = None,
) -> Path:
    """Write the hand-out on some stones of a book.

    A hand-out of ours that stands there already is replaced in one step; any other file is left alone.

    Parameters
    ----------
    book : Book
    stones : sequence of StoneEntry
        In the order they shall appear; at least one.
    path : Path
        The file to write, for example ``hand-out.html``.
    language : str
        One of `setstone.annotate.texts.LANGUAGES`.
    names : bool
        Whether the names of those who worked on the stones leave the house.
    made : datetime, optional
        The date it shall bear; now when left out.
    progress : callable, optional
        Told the position of each stone; whatever it raises ends the work and nothing is written.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    AnnotateError
        If there is no stone or no such language, a photograph cannot be opened, or the file cannot be written.
    """
    texts = texts_in(language)
    sheets = gather(book, stones, texts, names=names, progress=progress)
    page = render(sheets, texts, made=made or datetime.now(UTC), workshop=book.workshop)
    return replace_file(path, page.encode())


def gather(
    book: Book,
    stones: Sequence[StoneEntry],
    texts: Texts,
    *,
    names: bool = False,
    progress: Callable[[str], None] | None = None,
) -> list[StoneSheet]:
    """Gather what a book holds about some stones; parameters as in `write_handout`."""
    if not stones:
        raise AnnotateError("There is no stone to hand out; add one to the book and examine it first.")
    sheets = []
    for stone in stones:
        if progress is not None:
            progress(stone.position)
        sheet = sheet_of(book, stone, texts)
        sheets.append(sheet if names else without_names(sheet))
    return sheets


def render(
    sheets: Sequence[StoneSheet],
    texts: Texts,
    *,
    made: datetime,
    workshop: str = "",
    seal: Seal | None = None,
) -> str:
    """Lay out the hand-out.

    Parameters
    ----------
    sheets : sequence of StoneSheet
    texts : Texts
    made : datetime
        The date it bears.
    workshop : str
        Who hands it out; may be empty.
    seal : Seal, optional
        What ties it to its evidence package.

    Returns
    -------
    str
        An HTML document; the same input gives the same text.
    """
    style = _style(sheets)
    script = _part("handout.js")
    view = page_view(sheets, texts, made=made, workshop=workshop)
    return (
        _environment()
        .get_template("handout.html.j2")
        .render(
            **view,
            t=texts,
            style=Markup(style),  # noqa: S704 our own style sheet and whole numbers
            style_hash=policy_hash(style),
            script=Markup(script),  # noqa: S704 our own
            seal=seal,
            qr=Markup(seal.qr_svg) if seal else "",  # noqa: S704 drawn from hexadecimal digits
            script_hash=policy_hash(script),
        )
    )


#: While a mark or its row, number #, has the pointer or the focus, other marks fade.
_JOINED = """\
.exam:has([data-n="#"]:is(:hover, :focus-within)) .overlay [data-n]:not([data-n="#"]) { opacity: .2; }
.exam:has(.overlay [data-n="#"]:is(:hover, :focus)) tr[data-n="#"] { background: var(--high); }"""


def _style(sheets: Iterable[StoneSheet]) -> str:
    """Return the style sheet, with a rule for each number that joins its mark and its row."""
    numbers = sorted(
        {
            c.number
            for sheet in sheets
            for occasion in sheet.occasions
            for c in occasion.examination.candidates
        }
    )
    joined = "\n".join(_JOINED.replace("#", str(n)) for n in numbers)
    sheet = _part("handout.css")
    return f"{sheet}\n@media screen {{\n{joined}\n}}\n" if joined else sheet


def _part(name: str) -> str:
    return files("setstone.annotate").joinpath("templates", name).read_text("utf-8")


def policy_hash(inline: str) -> str:
    """Hash what stands in the page, as its policy names it."""
    return f"sha256-{base64.b64encode(hashlib.sha256(inline.encode()).digest()).decode()}"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("setstone.annotate"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["plain"] = plain
    return environment
