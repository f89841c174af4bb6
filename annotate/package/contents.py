"""What a package will hold, before it is written: its files, what is taken out, and what stays in."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape, unescape
from pathlib import Path

from setstone.annotate.handout import render
from setstone.annotate.package import layout
from setstone.annotate.package.noted import noted
from setstone.annotate.package.places import object_copy, places_of
from setstone.annotate.package.statement import Copy, statement
from setstone.annotate.package.writing import Leaving
from setstone.annotate.redaction import names_in, without_names
from setstone.annotate.sheet import StoneSheet
from setstone.annotate.texts import Texts

_WHAT = {
    layout.PHOTOGRAPHS: "photographs",
    layout.PICTURES: "photographs with the findings drawn on them",
    layout.OVERLAYS: "the drawings alone",
    layout.FINDINGS: "findings as web annotations",
    layout.OME: "photographs with scale and regions, for microscopy programs",
    "data": "hand-out, readings and work",
}


@dataclass(frozen=True)
class Contents:
    """What leaves the house.

    Parameters
    ----------
    page : str
        The hand-out in the first language, but for the seal that only signing gives.
    files : tuple of str
        In the payload, in order of names.
    taken_out, stays_in : tuple of str
        Sentences.
    """

    page: str
    files: tuple[str, ...]
    taken_out: tuple[str, ...]
    stays_in: tuple[str, ...]


def contents_of(
    sheets: Sequence[StoneSheet],
    texts: Texts,
    leaving: Leaving,
    *,
    languages: Sequence[str] = ("en",),
    pdf: bool = False,
    workshop: str = "",
    made: datetime,
) -> Contents:
    """Tell what a package will hold.

    Parameters
    ----------
    sheets : sequence of StoneSheet
        Of one object, with names.
    texts : Texts
        Of the first language.
    leaving : Leaving
    languages : sequence of str
    pdf : bool
    workshop : str
    made : datetime
        Aware.

    Returns
    -------
    Contents
    """
    names = sorted(names_in(sheets))
    shown = sheets if leaving.names else [without_names(sheet) for sheet in sheets]
    pictures = [(s, o, p) for s in sheets for o in s.occasions for p in o.pictures]
    files, copies = [*layout.handouts(languages, pdf=pdf), layout.READINGS, layout.SCHEMA], {}
    for sheet, occasion, picture in pictures:
        places = places_of(sheet.stone, occasion.examination, picture, originals=leaving.originals)
        files += [places.photograph, places.picture, places.overlay, places.findings, places.ome]
        copies[picture.photograph.sha256] = Copy(places.photograph, "", unaltered=leaving.originals)
    whole = None
    if (of_object := sheets[0].object_picture) is not None:
        name, _ = object_copy(of_object, originals=leaving.originals)
        files.append(name)
        whole = Copy(name, "", unaltered=leaving.originals)
    page = render(shown, texts, made=made, workshop=workshop)
    typed = unescape(page) + json.dumps(
        statement(shown, copies, whole=whole, workshop=workshop, made=made), ensure_ascii=False
    )
    photographs = {
        f"{s.stone.position} {o.examination.occasion}, {p.lamp}": p.photograph.path for s, o, p in pictures
    }
    if of_object is not None:
        photographs["the object as a whole"] = of_object.photograph.path
    notes = _notes(photographs)
    return Contents(
        page=page,
        files=tuple(sorted(set(files))),
        taken_out=(
            *(
                [f"Names of those who did the work: {', '.join(names)}."]
                if names and not leaving.names
                else []
            ),
            *([] if leaving.originals else notes),
        ),
        stays_in=(
            "Dates and times, names of instruments, and every remark as it was typed.",
            *([f"Names of those who did the work: {', '.join(names)}."] if names and leaving.names else []),
            *(
                f"'{name}', in a text that somebody typed or in the workshop's own name."
                for name in names
                if not leaving.names and re.search(rf"(?<!\w){re.escape(name)}(?!\w)", typed)
            ),
            *(notes if leaving.originals else []),
        ),
    )


def contents_html(contents: Contents) -> tuple[str, str]:
    """Lay it out for a text widget: what stands before the hand-out, and the list of files behind it."""
    folders: dict[str, list[str]] = {}
    for file in contents.files:
        folder, _, name = file.rpartition("/")
        folders.setdefault(folder, []).append(name)
    before = "".join(
        (
            "<h2>What leaves the house</h2>",
            "<h3>Taken out</h3>",
            _list(contents.taken_out or ("Nothing.",)),
            "<h3>Stays in</h3>",
            _list(contents.stays_in),
            f'<p>{len(contents.files)} files will be signed: <a href="#files">their names</a>.</p><hr>',
        )
    )
    behind = "".join(
        (
            '<hr><h3><a name="files">Files</a></h3><dl>',
            *(
                f"<dt>{escape(folder)}: {_WHAT[folder]}</dt><dd>{escape(', '.join(names))}</dd>"
                for folder, names in sorted(folders.items())
            ),
            "</dl>",
        )
    )
    return before, behind


def _list(sentences: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(sentence)}</li>' for sentence in sentences)}</ul>"


def _notes(photographs: Mapping[str, Path]) -> list[str]:
    """Say what is noted in which photographs: a sentence for those with the same notes."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for label, path in photographs.items():
        alike.setdefault(noted(path.read_bytes()), []).append(label)
    return [
        f"What the camera noted in {_listed(labels, len(photographs))}: {', '.join(kinds) or 'nothing that is known'}."
        for kinds, labels in alike.items()
    ]


def _listed(labels: Sequence[str], of: int) -> str:
    if len(labels) < of:
        return "; ".join(labels)
    return "the photograph" if of == 1 else f"all {of} photographs"
