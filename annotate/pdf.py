"""The hand-out on paper: one PDF for archives (PDF/A-2a, ISO 19005-2) and for screen readers (PDF/UA-1, ISO 14289-1).

Typst sets it; its compiler comes with the package of that name and asks for no network. What people typed reaches it as
data, never as markup.
"""

import base64
import json
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from itertools import count
from pathlib import Path
from typing import Any, Literal

import typst

from setstone.annotate.errors import AnnotateError
from setstone.annotate.files import replace_file
from setstone.annotate.handout import gather
from setstone.annotate.lettering import plain
from setstone.annotate.pictures import GENERATOR
from setstone.annotate.seal import Seal
from setstone.annotate.sheet import StoneSheet
from setstone.annotate.svg import svg_document
from setstone.annotate.texts import Texts, texts_in
from setstone.annotate.views import page_view
from setstone.record.book import Book
from setstone.record.entries import StoneEntry

#: Papers, and what Typst calls them.
PAPERS = {"a4": "a4", "letter": "us-letter"}
_STANDARDS: list[Literal["a-2a", "ua-1"]] = ["a-2a", "ua-1"]
#: A word longer than this may break anywhere.
_LONGEST_WORD = 24


def write_pdf(
    book: Book,
    stones: Sequence[StoneEntry],
    path: Path,
    *,
    paper: str = "a4",
    language: str = "en",
    names: bool = False,
    made: datetime | None = None,
    progress: Callable[[str], None] | None = None,
) -> Path:
    """Write the hand-out as PDF; it says what `setstone.annotate.handout.write_handout` says.

    Parameters
    ----------
    book, stones, path, language, names, made, progress
        As in `setstone.annotate.handout.write_handout`.
    paper : str
        One of `PAPERS`.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    AnnotateError
        If there is no stone, no such language or paper, a photograph cannot be opened, or the file cannot be written.
    """
    texts = texts_in(language)
    sheets = gather(book, stones, texts, names=names, progress=progress)
    return replace_file(
        path, pdf_of(sheets, texts, made=made or datetime.now(UTC), workshop=book.workshop, paper=paper)
    )


def pdf_of(
    sheets: Sequence[StoneSheet],
    texts: Texts,
    *,
    made: datetime,
    workshop: str = "",
    paper: str = "a4",
    seal: Seal | None = None,
) -> bytes:
    """Set the hand-out; parameters as `setstone.annotate.handout.render` and `write_pdf`."""
    view = page_view(sheets, texts, made=made, workshop=workshop)
    view |= {"paper": paper_named(paper), "year": made.year, "month": made.month, "day": made.day}
    view |= {"seal": seal and {"fingerprint": seal.fingerprint, "digest": seal.printed_digest}}
    view |= {"texts": dict(texts.tables), "language": texts("language")}
    view |= {"footer": texts("footer.made", version=view["version"], date=view["made"])}
    with tempfile.TemporaryDirectory(prefix="setstone-") as folder:
        root = Path(folder)
        _write_pictures(view, sheets, root)
        if seal is not None:
            (root / "seal.svg").write_text(seal.qr_svg, "utf-8")
        (root / "data.json").write_text(json.dumps(_as_text(view)), "utf-8")
        template = files("setstone.annotate").joinpath("templates", "handout.typ").read_bytes()
        (root / "handout.typ").write_bytes(template)
        try:
            made_pdf = typst.compile(
                root / "handout.typ",
                root=root,
                pdf_standards=[*_STANDARDS],
                timestamp=int(made.timestamp()),
            )
        except typst.TypstError as error:
            raise AnnotateError(
                f"The PDF cannot be made: {error}; write the HTML hand-out instead."
            ) from error
    assert isinstance(made_pdf, bytes)  # noqa: S101 one document, not pages of pictures
    return made_pdf


def paper_named(paper: str) -> str:
    """Return what Typst calls one of the `PAPERS`; an AnnotateError for any other."""
    if paper not in PAPERS:
        raise AnnotateError(f"There is no paper '{paper}'; choose one of {', '.join(PAPERS)}.")
    return PAPERS[paper]


def _write_pictures(view: dict[str, Any], sheets: Sequence[StoneSheet], root: Path) -> None:
    """Write photographs and drawings as files, and put their names where the view holds them inline."""
    names = (f"{number}" for number in count())
    for cut in view["glance"]:
        cut["file"] = f"{next(names)}.jpg"
        (root / cut["file"]).write_bytes(base64.b64decode(cut.pop("data")))
    for whole in view["wholes"]:
        whole |= {"file": f"{next(names)}.jpg", "drawing": f"{next(names)}.svg"}
        (root / whole["file"]).write_bytes(base64.b64decode(whole.pop("data")))
        (root / whole["drawing"]).write_text(svg_document(whole.pop("overlay"), GENERATOR), "utf-8")
        del whole["svg"]
    for stone, sheet in zip(view["stones"], sheets, strict=True):
        for exam, occasion in zip(stone["exams"], sheet.occasions, strict=True):
            for shown, picture in zip(exam["pictures"], occasion.pictures, strict=True):
                name = next(names)
                shown |= {"file": f"{name}.jpg", "drawing": f"{name}.svg"}
                (root / shown["file"]).write_bytes(picture.copies.small)
                (root / shown["drawing"]).write_text(svg_document(picture.overlay, GENERATOR), "utf-8")
                for inline in ("small", "full", "svg"):
                    del shown[inline]
        if (two := stone["compare"]) and not two["refused"]:
            drawing = f"{next(names)}.svg"
            (root / drawing).write_text(svg_document(two.pop("overlay"), GENERATOR), "utf-8")
            for picture in two["pictures"]:
                for day in picture["days"]:
                    day |= {"file": f"{next(names)}.jpg", "drawing": drawing}
                    (root / day["file"]).write_bytes(base64.b64decode(day.pop("data")))
                del picture["difference"]
            del two["svg"]
    for key in view["keys"]:
        del key["svg"]


def _as_text(value: Any) -> Any:
    """Clean every text of a view for print, whatever holds it."""
    if isinstance(value, str):
        return "\n".join(
            " ".join(map(_word, line.split(" "))) for line in plain(value, lines=True).split("\n")
        )
    if isinstance(value, dict):
        return {key: _as_text(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_as_text(part) for part in value]
    return value if isinstance(value, int | float | None) else _as_text(asdict(value))


def _word(word: str) -> str:
    """Name the characters no font here can draw, and let a very long word break."""
    word = "".join(c if _drawn(c) else f"‹U+{ord(c):04X}›" for c in word)
    if len(word) <= _LONGEST_WORD:
        return word
    return "\u200b".join(word[i : i + _LONGEST_WORD] for i in range(0, len(word), _LONGEST_WORD))


@cache
def _drawn(character: str) -> bool:
    """Whether Typst finds a glyph for a character: in its own fonts, or in those of this machine."""
    if character < "\u017f":  # Latin, all in Typst's own fonts
        return True
    page = b"#set document(date: datetime(year: 2000, month: 1, day: 1), title: [x])\n#sys.inputs.text"
    try:
        _compiler().compile(
            page, format="pdf", sys_inputs={"text": f"x{character}"}, pdf_standards=[*_STANDARDS]
        )
    except typst.TypstError:
        return False
    return True


@cache
def _compiler() -> typst.Compiler:
    return typst.Compiler()
