"""Write the evidence package of an object: gathered, listed, signed; a folder or a zip of it."""

import json
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from setstone import __version__
from setstone.annotate.errors import AnnotateError
from setstone.annotate.files import safe_stem
from setstone.annotate.handout import gather, render
from setstone.annotate.package import layout
from setstone.annotate.package.annotations import annotation_page
from setstone.annotate.package.bag import close_bag, digest_of, pieces
from setstone.annotate.package.copies import stripped
from setstone.annotate.package.key import WorkshopKey
from setstone.annotate.package.places import object_copy, places_of
from setstone.annotate.package.regions import Found, findings_on, girdle_on
from setstone.annotate.package.statement import Copy, latest_entry, statement
from setstone.annotate.pdf import paper_named, pdf_of
from setstone.annotate.pictures import write_picture
from setstone.annotate.seal import Seal
from setstone.annotate.sheet import PictureSheet, StoneSheet, told_in
from setstone.annotate.texts import Texts, texts_in
from setstone.capture.ome_writing import Circumstances, Region, write_ome
from setstone.capture.open import open_photograph
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, StoneEntry

_PROGRAM = f"setstone {__version__}"
#: Told of every step; whatever it raises ends the work.
_Tell = Callable[[str], None]


@dataclass(frozen=True)
class Leaving:
    """What leaves the house beside the findings; nothing of it by default.

    Parameters
    ----------
    names : bool
        Names of those who examined, read and worked.
    originals : bool
        Photographs as the camera wrote them, with all it noted in them: serial numbers, place, owner.
        Without this there are copies with the same pixels and without those notes.
    """

    names: bool = False
    originals: bool = False


def write_package(
    book: Book,
    stones: Sequence[StoneEntry],
    to: Path,
    key: WorkshopKey,
    *,
    leaving: Leaving | None = None,
    languages: Sequence[str] = ("en",),
    paper: str | None = None,
    now: datetime | None = None,
    progress: _Tell | None = None,
) -> Path:
    """Write the evidence package on stones of one object, all of it or nothing.

    Parameters
    ----------
    book : Book
    stones : sequence of StoneEntry
        Of one object; at least one.
    to : Path
        A folder to make, or a file whose name ends in ``.zip``; nothing may be there.
    key : WorkshopKey
    leaving : Leaving, optional
    languages : sequence of str
        A hand-out is written in each; all else is in the first.
    paper : str, optional
        One of `setstone.annotate.pdf.PAPERS`: a PDF on it lies beside each hand-out.
    now : datetime, optional
        Aware; when it is signed.
    progress : callable, optional
        Told the position of each stone twice, when it is gathered and when it is written, with a text that begins
        with a blank for the steps in between; whatever it raises ends the work and nothing is kept.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    AnnotateError
        When the stones are of several objects, something is there already, there is no such language or paper, a
        photograph cannot be opened or was altered in the book, the clock of this machine is behind the book, or it
        cannot be written.
    """
    now, leaving = now or datetime.now(UTC), leaving or Leaving()
    tell = progress or (lambda _: None)
    if len({stone.object_id for stone in stones}) > 1:
        raise AnnotateError("A package is of one object; choose stones of one object only.")
    if to.exists():
        raise AnnotateError(f"There is a '{to}' already; choose another name, or move it away.")
    texts, *_ = [texts_in(language) for language in languages]
    if paper is not None:
        paper_named(paper)
    sheets = gather(book, stones, texts, names=leaving.names, progress=tell)
    latest = latest_entry(sheets)
    if latest is not None and latest > now:
        raise AnnotateError(
            f"The latest entry of the book is of {latest:%Y-%m-%d %H:%M} UTC, and by the clock of this machine that is "
            "still to come; set the clock, then write the package again."
        )
    information = {
        "Source-Organization": book.workshop,
        "External-Description": f"Evidence on {sheets[0].stone.object_name}",
        "Bagging-Date": f"{now.astimezone(UTC):%Y-%m-%d}",
        "Bag-Software-Agent": _PROGRAM,
        layout.SIGNED: now.astimezone(UTC).isoformat(),
        layout.LATEST: "" if latest is None else latest.isoformat(),
        layout.FINGERPRINT: key.fingerprint,
    }
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=to.parent, prefix=".packing-") as name:
            folder = Path(name) / safe_stem(to.stem if to.suffix.lower() == ".zip" else to.name)
            _fill(folder, sheets, texts, leaving, book.workshop, now, tell)
            seal = Seal(key.fingerprint, layout.evidence_digest(_digests(folder)))
            for file, language in layout.handouts(languages, pdf=paper is not None).items():
                tell(f" {Path(file).name}")
                told = (
                    sheets if language == languages[0] else [told_in(s, texts_in(language)) for s in sheets]
                )
                _write(
                    folder / file, _handout(file, told, texts_in(language), book.workshop, now, seal, paper)
                )
            tell(" checksums and signature")
            _write(folder / layout.PUBLIC_KEY, key.public_pem)
            _write(folder / layout.SIGNATURE, key.sign(close_bag(folder, information)))
            (_zipped(folder) if to.suffix.lower() == ".zip" else folder).rename(to)
    except OSError as error:
        raise AnnotateError(
            f"The package '{to}' cannot be written ({error.strerror or error}); check the folder and the free space."
        ) from error
    return to


def _handout(
    file: str,
    sheets: Sequence[StoneSheet],
    texts: Texts,
    workshop: str,
    now: datetime,
    seal: Seal,
    paper: str | None,
) -> bytes:
    if paper is not None and file.endswith(".pdf"):
        return pdf_of(sheets, texts, made=now, workshop=workshop, paper=paper, seal=seal)
    return render(sheets, texts, made=now, workshop=workshop, seal=seal).encode()


def _fill(
    folder: Path,
    sheets: Sequence[StoneSheet],
    texts: Texts,
    leaving: Leaving,
    workshop: str,
    now: datetime,
    tell: _Tell,
) -> None:
    copies = {}
    for sheet in sheets:
        tell(sheet.stone.position)
        for occasion in sheet.occasions:
            for shown in occasion.pictures:
                tell(f" {occasion.examination.occasion}, {shown.lamp}")
                copies[shown.photograph.sha256] = _put(
                    folder, sheet.stone, occasion.examination, shown, texts, leaving
                )
    whole = None
    if (picture := sheets[0].object_picture) is not None:
        name, content = object_copy(picture, originals=leaving.originals)
        _write(folder / name, content)
        whole = Copy(name, digest_of([content]), unaltered=leaving.originals)
    said = statement(sheets, copies, whole=whole, workshop=workshop, made=now)
    _write_json(folder / layout.READINGS, said)
    schema = files("setstone.annotate").joinpath("templates", "readings.schema.json").read_bytes()
    _write(folder / layout.SCHEMA, schema)


def _put(
    folder: Path,
    stone: StoneEntry,
    entry: ExaminationEntry,
    picture: PictureSheet,
    texts: Texts,
    leaving: Leaving,
) -> Copy:
    """Put all that is about one photograph into the package."""
    photograph, lamp = picture.photograph, picture.lamp
    places = places_of(stone, entry, picture, originals=leaving.originals)
    found = findings_on(entry, lamp)
    _put_ome(folder / places.ome, entry, picture, found)
    data = photograph.path.read_bytes()
    if digest_of([data]) != photograph.sha256:
        raise AnnotateError(
            f"The photograph '{photograph.name}' was altered in the book ({photograph.path}); add the original again, "
            "then write the package again."
        )
    lies = folder / places.photograph
    if places.photograph != places.ome:
        _write(lies, data if leaving.originals else stripped(data, photograph.format))
    write_picture(entry, stone, photograph, lamp, [folder / places.picture, folder / places.overlay])
    source = f"../{places.photograph.removeprefix('data/')}"
    _write_json(folder / places.findings, annotation_page(photograph, source, found, texts))
    return Copy(places.photograph, digest_of(pieces(lies)), unaltered=leaving.originals)


def _put_ome(path: Path, entry: ExaminationEntry, picture: PictureSheet, found: Sequence[Found]) -> None:
    photograph = picture.photograph
    regions = [Region(f"{f.entry.number} {f.kind}", f.points.tolist(), f.closed) for f in found]
    girdle = girdle_on(entry, picture.lamp)
    if girdle is not None:
        regions.append(Region("girdle", girdle.tolist(), closed=True))
    facts = Circumstances(
        lamp=photograph.lamp,
        um_per_px=picture.um_per_px,
        taken=photograph.taken,
        magnification=photograph.magnification,
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    write_ome(path, open_photograph(photograph.path).pixels, facts, software=_PROGRAM, regions=regions)


def _digests(folder: Path) -> dict[str, str]:
    """SHA-256 of all that lies in the payload."""
    return {
        path.relative_to(folder).as_posix(): digest_of(pieces(path))
        for path in (folder / "data").rglob("*")
        if path.is_file()
    }


def _zipped(folder: Path) -> Path:
    path = folder.with_name(f"{folder.name}.packed")
    # Photographs are compressed already.
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for file in sorted(folder.rglob("*")):
            if file.is_file():
                archive.write(file, file.relative_to(folder.parent).as_posix())
    return path


def _write_json(path: Path, value: dict[str, Any]) -> None:
    _write(path, (json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode())


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
