"""The photographs of a stone: kept unaltered, each under its SHA-256 (FIPS 180-4)."""

import hashlib
import os
import shutil
import tempfile
from datetime import datetime
from pathlib import Path

from sqlalchemy import RowMapping, insert, select

from setstone.capture.fitness import fitness
from setstone.capture.lamp import contradiction, recognise_lamp
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp, Photograph
from setstone.measure.examination import Flag
from setstone.record import schema
from setstone.record.clock import in_utc, now
from setstone.record.convert import from_json, to_json
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.store import Store
from setstone.record.text import clean, operator, shown
from setstone.record.vocabulary import OCCASIONS

#: From here on the lamp recognised in a picture is taken without a warning.
_SURE = 0.5

_SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "OME-TIFF": ".ome.tif"}


def add_photograph(
    book: Store,
    stone: StoneEntry,
    path: Path,
    *,
    lamp: Lamp | None = None,
    occasion: str = OCCASIONS[0],
    by: str = "",
    taken: datetime | None = None,
    magnification: float | None = None,
) -> tuple[PhotographEntry, bool]:
    """Keep a copy of a photograph; the file itself is only read.

    Parameters
    ----------
    stone : StoneEntry
    path : Path
        JPEG, PNG, TIFF or OME-TIFF.
    lamp : Lamp, optional
        The light it was taken under; recognised from the picture when not stated.
    occasion : str, optional
        ``"as received"``, ``"before"``, ``"after"`` or any short text.
    by : str, optional
        Who took it.
    taken : datetime, optional
        When; else what the file says.
    magnification : float, optional
        Of the microscope; else what the file says.

    Returns
    -------
    entry : PhotographEntry
    is_new : bool
        False when the stone has this very photograph already.

    Raises
    ------
    PhotographError
        When the file cannot be opened as a photograph.
    BookError
        When the photograph belongs to another stone of the book, or cannot be stored.
    """
    occasion = clean(occasion, "The occasion", longest=60)
    by = operator(by, required=False)
    photograph = open_photograph(path)
    known = _known(book, stone, photograph)
    if known is not None:
        return known, False

    seen_as, flags = _lamp(photograph, lamp)
    file = photograph.sha256 + _SUFFIXES[photograph.format]
    _store(path, book.photographs_folder / file, photograph.sha256)
    height, width = photograph.pixels.shape[:2]
    moment = taken or photograph.taken
    values = {
        "sha256": photograph.sha256,
        "stone_id": stone.id,
        "name": shown(photograph.name),
        "file": file,
        "lamp": str(seen_as),
        "lamp_stated": lamp is not None,
        "occasion": occasion,
        "taken": None if moment is None else in_utc(moment),
        "operator": by,
        "magnification": magnification or photograph.magnification,
        "um_per_px": photograph.um_per_px,
        "width": width,
        "height": height,
        "bit_depth": photograph.bit_depth,
        "format": photograph.format,
        "size_bytes": photograph.size_bytes,
        "added": now(),
        "flags": to_json(flags, tuple[Flag, ...]),
    }
    with book.atomic() as connection:
        known = _known(book, stone, photograph)
        if known is not None:
            return known, False
        connection.execute(insert(schema.photographs).values(values))
        after = {
            "sha256": photograph.sha256,
            "name": values["name"],
            "lamp": str(seen_as),
            "occasion": occasion,
        }
        note(connection, now(), by, "add photograph", stone.full_name, stone_id=stone.id, after=after)
        entry = _by_hash(book, photograph.sha256)
    if entry is None:  # the row was written above, in the same transaction
        raise BookError(f"The photograph '{path}' was not kept; try again.")
    return entry, True


def photographs(book: Store, stone: StoneEntry, occasion: str | None = None) -> tuple[PhotographEntry, ...]:
    """Read the photographs of a stone, in the order they were added.

    Parameters
    ----------
    stone : StoneEntry
    occasion : str, optional
        Only those of this occasion.

    Returns
    -------
    tuple of PhotographEntry
    """
    c = schema.photographs.c
    query = select(schema.photographs).where(c.stone_id == stone.id).order_by(c.id)
    if occasion is not None:
        query = query.where(c.occasion == occasion)
    with book.snapshot() as connection:
        return tuple(_entry(book, row) for row in connection.execute(query).mappings())


def _by_hash(book: Store, sha256: str) -> PhotographEntry | None:
    query = select(schema.photographs).where(schema.photographs.c.sha256 == sha256)
    with book.snapshot() as connection:
        row = connection.execute(query).mappings().first()
    return None if row is None else _entry(book, row)


def _known(book: Store, stone: StoneEntry, photograph: Photograph) -> PhotographEntry | None:
    known = _by_hash(book, photograph.sha256)
    if known is not None and known.stone_id != stone.id:
        with book.snapshot() as connection:
            other = stone_of_id(connection, known.stone_id)
        raise BookError(
            f"The photograph '{photograph.name}' is already in the book, as one of {other.full_name}; "
            "choose the right file, or the right stone."
        )
    return known


def _lamp(photograph: Photograph, stated: Lamp | None) -> tuple[Lamp, tuple[Flag, ...]]:
    flags = [Flag(f.code, f.text) for f in fitness(photograph.pixels)]
    flags += [Flag("file-note", text) for text in photograph.notes]
    if stated is not None:
        against = contradiction(stated, photograph.pixels)
        if against is not None:
            flags.append(Flag("lamp-contradiction", against))
        return stated, tuple(flags)
    reading = recognise_lamp(photograph.pixels)
    if reading.lamp is Lamp.OTHER and photograph.lamp_hint is not None:
        return photograph.lamp_hint, tuple(flags)
    if reading.confidence < _SURE:
        flags.append(Flag("lamp-uncertain", f"{reading.why} State the light it was taken under."))
    return reading.lamp, tuple(flags)


def _store(source: Path, target: Path, sha256: str) -> None:
    """Put a copy in place durably before any row speaks of it: a crash leaves a spare file, no dangling row."""
    try:
        target.parent.mkdir(exist_ok=True)
        if target.exists() and _sha256(target) == sha256:
            return  # left by a command that did not get as far as the row
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".adding-")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as copy, source.open("rb") as original:
                shutil.copyfileobj(original, copy, 1 << 20)
                copy.flush()
                os.fsync(copy.fileno())
            if _sha256(temporary) != sha256:
                raise BookError(
                    f"The file '{source}' changed while it was read; add it again when it is complete."
                )
            temporary.chmod(0o444)
            temporary.replace(target)
        finally:
            temporary.unlink(missing_ok=True)
        _sync_folder(target.parent)
    except OSError as error:
        raise BookError(
            f"The photograph '{source}' cannot be kept in '{target.parent}' ({error.strerror}); "
            "check the disk and the rights of the folder."
        ) from error


def _sync_folder(folder: Path) -> None:
    """Make the new name durable too, where the system can (Windows cannot open a folder)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _entry(book: Store, row: RowMapping) -> PhotographEntry:
    values = {k: v for k, v in row.items() if k not in ("id", "file")}
    values["lamp"] = Lamp(row["lamp"])
    values["path"] = book.photographs_folder / row["file"]
    values["flags"] = from_json(row["flags"], tuple[Flag, ...])
    return PhotographEntry(**values)
