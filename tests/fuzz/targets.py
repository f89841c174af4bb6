"""Everything setstone reads from outside, each as a function of some bytes that may do nothing but return.

The errors of the rooms are answers and are swallowed, after a look at their wording. Whatever else leaves a target is
a crash: another exception, and in a decoder, whose faults are told as a damaged file, one that comes from our own lines.
"""

import contextlib
import hashlib
import io
import os
import shutil
import sqlite3
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
from fuzz import seeds

import setstone
from setstone.__main__ import main
from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.errors import AnnotateError
from setstone.annotate.handout import gather, render
from setstone.annotate.package.bag import read_information, read_manifest
from setstone.annotate.package.checking import check_package
from setstone.annotate.texts import english
from setstone.capture.errors import PhotographError
from setstone.capture.exif import exif_time
from setstone.capture.lamp import lamp_from_name, recognise_lamp
from setstone.capture.ome import read_ome
from setstone.capture.open import open_photograph
from setstone.measure.errors import MeasurementError
from setstone.measure.label import parse_length
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.evidence.checks import typed_check
from setstone.record.evidence.figures import parse_uncertainty
from setstone.record.evidence.line import read_line
from setstone.record.evidence.readings import ReadingKind, Typed
from setstone.record.evidence.understand import understand
from setstone.record.examining import given_length
from setstone.record.importing import import_book
from setstone.record.place import place_of
from setstone.record.setups import certificate_of

ANSWERS = (AnnotateError, BookError, MeasurementError, PhotographError)
#: What a faulty line of ours raises, whatever a decoder above it makes of that.
_FAULTS = (TypeError, AttributeError, LookupError, NameError, AssertionError, ArithmeticError, RecursionError)
_OURS = {str(Path(setstone.__file__).resolve().parent)} | {
    str(Path(setstone.__file__).resolve().parents[1] / room) for room in ("annotate", "capture", "measure", "record")
}  # fmt: skip
#: Commands that wait for a person, a camera or a folder, or work for long.
_NEVER_RUN = {"open", "camera", "watch", "demo", "examine"}


@dataclass(frozen=True)
class Target:
    """One kind of input.

    Parameters
    ----------
    run : callable
        Takes the bytes.
    seeds : callable
        Gives whole examples.
    """

    run: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]


def _as_file(name: str) -> Callable[[bytes], None]:
    def run(data: bytes) -> None:
        path = _folder() / name
        path.write_bytes(seeds.with_checksums(data) if name.endswith(".png") else data)
        try:
            photograph = open_photograph(path)
        except PhotographError as error:
            _require_sentence(error)
            _require_not_ours(error.__cause__)
            return
        assert photograph.pixels.dtype in (np.uint8, np.uint16)
        assert photograph.pixels.shape[2:] == (3,)
        assert photograph.um_per_px is None or 0 < photograph.um_per_px < float("inf")
        recognise_lamp(photograph.pixels)

    return run


def _exif(data: bytes) -> None:
    whole = seeds.saved("JPEG")
    segment = b"Exif\0\0" + data[:60_000]
    part = b"\xff\xe1" + (len(segment) + 2).to_bytes(2, "big") + segment
    _as_file("exif.jpg")(whole[:2] + part + whole[2:])


def _ome(data: bytes) -> None:
    with contextlib.suppress(ValueError):
        read_ome(data.decode(errors="surrogateescape"))


def _lines(data: bytes) -> None:
    folder = _folder() / "export"
    if not folder.exists():
        for name, content in seeds.export().items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)
    (folder / "book.jsonl").write_bytes(data)
    _import(folder)


def _export_zip(data: bytes) -> None:
    path = _folder() / "export.zip"
    path.write_bytes(data)
    _import(path)


def _import(source: Path) -> None:
    into = _folder() / "imported"
    taken = False
    with answered():
        import_book(source, into, by="Ada").close()
        taken = True
    assert taken == into.exists(), "something was left of a book that was refused"
    shutil.rmtree(into, ignore_errors=True)


def _package_zip(data: bytes) -> None:
    path = _folder() / "package.zip"
    path.write_bytes(data)
    with answered():
        check_package(path, english())


def _package_part(data: bytes) -> None:
    """The first byte says in the place of which file of a good package the others stand."""
    folder = _folder() / "package"
    files = seeds.package()
    names = sorted(files)
    name = names[(data or b"\0")[0] % len(names)]
    for each, content in files.items():
        (folder / each).parent.mkdir(parents=True, exist_ok=True)
        (folder / each).write_bytes(data[1:] if each == name else content)
    with answered():
        found = check_package(folder, english())
        assert found.problems or data[1:] == files[name], "an altered package was held to be whole"


def _package_parts() -> list[bytes]:
    files = seeds.package()
    return [bytes([i]) + files[name] for i, name in enumerate(sorted(files))]


def _typed(data: bytes) -> None:
    text = data.decode(errors="surrogateescape")
    first, _, rest = text.partition(" ")
    readers: tuple[Callable[[], object], ...] = (
        lambda: read_line(text),
        lambda: understand(Typed(first, rest, is_set=False)),
        *(lambda k=kind: understand(Typed(k.value, text, uncertainty=rest)) for kind in ReadingKind),
        *(lambda k=kind: typed_check(k, text) for kind in ReadingKind),
        lambda: parse_uncertainty(text, 0.1),
        lambda: certificate_of(text),
        lambda: given_length(text),
        lambda: parse_length(text),
        lambda: lamp_from_name(text),
        lambda: exif_time(first, rest),
        lambda: read_information(text),
        lambda: place_of(text),
    )
    for read in readers:
        with answered():
            read()
    with contextlib.suppress(ValueError):  # what it says of itself
        read_manifest(text)


def _settings(data: bytes) -> None:
    path = _folder() / "settings.json"
    path.write_bytes(data)
    settings = read_settings(path)
    assert isinstance(settings.recent_books, tuple)
    keep_settings(settings, path)
    assert read_settings(path) == settings


def _handout(data: bytes) -> None:
    text = data.decode(errors="surrogateescape")
    folder = fresh_book()
    with answered(), Book.open(folder) as book:
        stone = book.stone("lid-3")
        for write in (
            lambda: book.add_remark(stone, text, by="Ada"),
            lambda: book.add_reading(stone, test=text[:20], value=text[20:], by="Ada"),
            lambda: book.correct_stone(stone, claimed_as=text, by=text[:30] or "Ada"),
        ):
            with answered():
                write()
        page = render(
            gather(book, [book.stone("lid-3")], english(), names=True),
            english(),
            made=datetime.now(UTC),
            workshop=text,
        )
        page.encode()
        assert page.count("<script") == _scripts(), "a text became markup"


def _commands(data: bytes) -> None:
    words = [os.fsdecode(word) for word in data[:2000].split(b"\0")]
    if _NEVER_RUN & set(words) or any(w.startswith("/") or ".." in w or "sql:" in w for w in words):
        return
    folder = fresh_book()
    before = state(folder)
    status, out, err = command(words, folder)
    assert status in (0, 1, 2), status
    assert "fault of its own" not in err, err
    assert "Traceback" not in out + err, err
    if status:
        assert err.strip() or out.strip(), "nothing was said"
        assert state(folder) == before, "a command that failed altered the book"


def command(words: list[str], folder: Path) -> tuple[int, str, str]:
    """Run a command line in a folder; exit status and what it said."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    here, before = Path.cwd(), sys.argv
    os.chdir(folder)
    sys.argv = ["setstone", *words]
    status = 0
    try:
        with seeds.nobody(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as stop:
        status = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    finally:
        os.chdir(here)
        sys.argv = before
    said = [stream.buffer.getvalue().decode(errors="replace") for stream in (out, err)]
    return status, said[0], said[1]


def state(folder: Path) -> str:
    """Digest of all a book holds."""
    with contextlib.closing(sqlite3.connect(folder / "book.db")) as connection:
        held = "\n".join(connection.iterdump())
    names = sorted(p.name for p in (folder / "photographs").iterdir())
    return hashlib.sha256(f"{held}{names}".encode()).hexdigest()


@contextlib.contextmanager
def answered() -> Iterator[None]:
    """Let nothing pass but the errors whose sentence is meant for a person."""
    try:
        yield
    except ANSWERS as error:
        _require_sentence(error)


def _require_sentence(error: Exception) -> None:
    said = str(error)
    assert said.endswith((".", ".'", ")")), f"no sentence: {said!r}"
    assert len(said) <= 1000, f"no sentence: {said[:200]!r}"


def _require_not_ours(cause: BaseException | None) -> None:
    if isinstance(cause, _FAULTS) and not isinstance(cause, MemoryError):
        last = traceback.extract_tb(cause.__traceback__)[-1].filename
        if any(str(Path(last).resolve()).startswith(room) for room in _OURS):
            raise cause


@cache
def _folder() -> Path:
    """Where this process keeps its files: in memory where the system offers that."""
    shared = Path("/dev/shm")  # noqa: S108 made below under a name of its own
    made = tempfile.TemporaryDirectory(prefix="setstone-", dir=shared if shared.is_dir() else None)
    _KEPT.append(made)
    return Path(made.name)


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


@cache
def _template() -> Path:
    folder = _folder() / "template"
    for name, content in seeds.export().items():
        (_folder() / "whole" / name).parent.mkdir(parents=True, exist_ok=True)
        (_folder() / "whole" / name).write_bytes(content)
    import_book(_folder() / "whole", folder, by="Ada").close()
    for name in ("other.png", "stone_white.png"):
        (folder / name).write_bytes(seeds.saved("PNG", seeds.WIDE[..., 0]))
    (folder / "bag.zip").write_bytes(seeds.zips(seeds.package())[0])
    (folder / "export.zip").write_bytes(seeds.zips(seeds.export())[0])
    return folder


def fresh_book() -> Path:
    folder = _folder() / "book"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(_template(), folder)
    return folder


@cache
def _scripts() -> int:
    with Book.open(_template(), read_only=True) as book:
        sheets = gather(book, [book.stone("lid-3")], english(), names=True)
    return render(sheets, english(), made=datetime.now(UTC), workshop="x").count("<script")


TARGETS = {
    "jpeg": Target(_as_file("a.jpg"), seeds.jpegs),
    "png": Target(_as_file("a.png"), seeds.pngs),
    "tiff": Target(_as_file("a.tif"), seeds.tiffs),
    "heic": Target(_as_file("a.heic"), seeds.heics),
    "raw": Target(_as_file("a.dng"), seeds.raws),
    "exif": Target(_exif, lambda: [seeds.exif()]),
    "ome": Target(_ome, lambda: [seeds.OME.encode()]),
    "lines": Target(_lines, seeds.lines),
    "export-zip": Target(_export_zip, lambda: seeds.zips(seeds.export())),
    "package-zip": Target(_package_zip, lambda: seeds.zips(seeds.package(), "bag/")),
    "package-part": Target(_package_part, _package_parts),
    "typed": Target(_typed, seeds.typed),
    "settings": Target(_settings, seeds.settings),
    "handout": Target(_handout, seeds.typed),
    "commands": Target(_commands, seeds.commands),
}
