"""The photographs of a stone: kept unaltered, each under its SHA-256."""

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Literal

from sqlalchemy import RowMapping, delete, insert, or_, select, update

from setstone.capture.photograph import Lamp, Photograph, Pixels
from setstone.measure.examination import Flag
from setstone.measure.scale import Scale
from setstone.record import schema
from setstone.record.clock import in_utc, now
from setstone.record.convert import from_json, to_json
from setstone.record.entries import ObjectPhotograph, PhotographEntry, SetupEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.filing import file_away, suffix
from setstone.record.inventory import require_unchanged, stone_of_id
from setstone.record.journal import note
from setstone.record.occasions import spelt
from setstone.record.store import Store
from setstone.record.text import operator, shown
from setstone.record.vocabulary import OCCASIONS

#: From here on the lamp recognised in a picture is taken without a warning.
_SURE = 0.5

# The decoders of setstone.capture are imported where they are used: naming a stone need not load them.


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
    setup: SetupEntry | None = None,
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
        When; else what the file says. Without a time zone it is local time.
    magnification : float, optional
        Of the microscope; else what the file says.
    setup : SetupEntry, optional
        The optical setup it was taken with; its calibration gives the scale.

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
    from setstone.capture.open import open_photograph

    path, by = Path(path), operator(by, required=False)
    occasion, magnification = spelt(book, stone, occasion), _possible(magnification)
    photograph = open_photograph(path)
    known = known_photograph(book, stone, photograph)
    if known is not None:
        file_away(path, known.path, known.sha256)  # in case the stored file was lost
        return known, False

    seen_as, flags = _lamp(photograph, lamp)
    file = photograph.sha256 + suffix(photograph.format, photograph.name)
    # The file first, then the row: a crash between them leaves a spare file, never a row without one.
    file_away(path, book.photographs_folder / file, photograph.sha256)
    height, width = photograph.pixels.shape[:2]
    at = now()
    values = {
        "sha256": photograph.sha256,
        "stone_id": stone.id,
        "name": shown(photograph.name),
        "file": file,
        "lamp": str(seen_as),
        "lamp_stated": lamp is not None,
        "occasion": occasion,
        "taken": _taken(taken, photograph),
        "operator": by,
        "magnification": magnification or photograph.magnification,
        "um_per_px": photograph.um_per_px,
        "width": width,
        "height": height,
        "bit_depth": photograph.bit_depth,
        "format": photograph.format,
        "size_bytes": photograph.size_bytes,
        "added": at,
        "setup_id": None if setup is None else setup.id,
        "flags": to_json(flags, tuple[Flag, ...]),
    }
    after = {"sha256": photograph.sha256, "name": values["name"], "lamp": str(seen_as), "occasion": occasion}
    with book.atomic() as connection:
        known = known_photograph(book, stone, photograph)
        if known is not None:  # another program was quicker
            return known, False
        # One that was taken out is entered anew; the journal keeps what was said of it before.
        c = schema.photographs.c
        connection.execute(
            delete(schema.photographs).where(c.sha256 == photograph.sha256, c.removed.is_not(None))
        )
        connection.execute(insert(schema.photographs).values(values))
        note(connection, at, by, "add photograph", stone.full_name, stone_id=stone.id, after=after)
        return find_photograph(book, photograph.sha256), True


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
    query = select(schema.photographs).where(c.stone_id == stone.id, c.removed.is_(None)).order_by(c.id)
    with book.snapshot() as connection:
        if occasion is not None:
            query = query.where(c.occasion == spelt(book, stone, occasion))
        return tuple(_entry(book, row) for row in connection.execute(query).mappings())


def find_photograph(book: Store, sha256: str) -> PhotographEntry:
    """Find a photograph by its SHA-256.

    Parameters
    ----------
    sha256 : str
        In hexadecimal.

    Returns
    -------
    PhotographEntry

    Raises
    ------
    BookError
        When the book has none of it.
    """
    found = _by_hash(book, sha256)
    if found is None:
        raise BookError(
            f"The book '{book.place}' holds no photograph with the SHA-256 '{sha256}'; add it first."
        )
    return found


def known_photograph(book: Store, stone: StoneEntry, photograph: Photograph) -> PhotographEntry | None:
    """Look whether a stone has this very photograph.

    Parameters
    ----------
    stone : StoneEntry
    photograph : Photograph

    Returns
    -------
    PhotographEntry or None

    Raises
    ------
    BookError
        When it belongs to another stone of the book.
    """
    known = _by_hash(book, photograph.sha256)
    if known is not None and known.stone_id != stone.id:
        with book.snapshot() as connection:
            other = stone_of_id(connection, known.stone_id)
        raise BookError(
            f"The photograph '{photograph.name}' is already in the book, as one of {other.full_name}; "
            "choose the right file, or the right stone."
        )
    return known


def named(entries: Sequence[PhotographEntry], name: str) -> PhotographEntry:
    """Choose one photograph as people name it.

    Parameters
    ----------
    entries : sequence of PhotographEntry
    name : str
        Name of its file, or at least six characters from the beginning of its SHA-256.

    Returns
    -------
    PhotographEntry

    Raises
    ------
    BookError
        When none or several are so named.
    """
    found = [e for e in entries if e.name == name or (len(name) >= 6 and e.sha256.startswith(name.lower()))]
    if len(found) == 1:
        return found[0]
    if found:
        kept = " or ".join(e.sha256[:12] for e in found)
        raise BookError(
            f"Several photographs of the stone are named '{name}'; name it by what it is kept as: {kept}."
        )
    there = ", ".join(f"'{e.name}'" for e in entries) or "none yet"
    raise BookError(f"The stone has no photograph '{name}'; there are: {there}.")


def correct_photograph(
    book: Store,
    entry: PhotographEntry,
    *,
    stone: StoneEntry | None = None,
    lamp: Lamp | None = None,
    occasion: str | None = None,
    magnification: float | None = None,
    scale: Scale | Literal["none"] | None = None,
    setup: SetupEntry | Literal["none"] | None = None,
    by: str,
) -> PhotographEntry:
    """Correct what is said of a photograph; the journal keeps what stood before.

    Examinations made from it stay as they are; examine again where the correction matters.

    Parameters
    ----------
    entry : PhotographEntry
    stone : StoneEntry, optional
        The stone it really shows; what is not given stays.
    lamp : Lamp, optional
    occasion : str, optional
    magnification : float, optional
    scale : Scale or "none", optional
        As a person measured it on the picture; ``"none"`` takes the one measured back.
    setup : SetupEntry or "none", optional
        The optical setup it was taken with; ``"none"`` says that none is known.
    by : str
        Who corrects.

    Returns
    -------
    PhotographEntry
        As it stands now.

    Raises
    ------
    BookError
        When nobody is named, somebody corrected the same meanwhile, or an examination rests on a
        photograph that is given to another stone.
    """
    by = operator(by, required=True)
    with book.atomic() as connection:
        old = find_photograph(book, entry.sha256)
        require_unchanged(
            (entry.lamp, old.lamp, lamp),
            (entry.occasion, old.occasion, occasion),
            (entry.magnification, old.magnification, magnification),
            (entry.scale, old.scale, scale),
            (entry.setup_id, old.setup_id, setup.id if isinstance(setup, SetupEntry) else setup),
            (entry.stone_id, old.stone_id, None if stone is None else stone.id),
        )
        owner = stone_of_id(connection, old.stone_id if stone is None else stone.id)
        if owner.id != old.stone_id:
            require_unexamined(book, old, "given to another stone")
        changes: dict[str, object] = {"stone_id": owner.id}
        if occasion is not None or owner.id != old.stone_id:
            changes["occasion"] = spelt(book, owner, occasion or old.occasion)
        if magnification is not None:
            changes["magnification"] = _possible(magnification)
        if scale is not None:
            changes["scale"] = None if scale == "none" else to_json(scale)
        if setup is not None:
            changes["setup_id"] = None if setup == "none" else setup.id
        if lamp is not None:
            flags = _without_doubts(old.flags) + _contradicted(lamp, stored_pixels(old))
            changes |= {
                "lamp": str(lamp),
                "lamp_stated": True,
                "flags": to_json(flags, tuple[Flag, ...]),
            }
        c = schema.photographs.c
        connection.execute(update(schema.photographs).where(c.sha256 == old.sha256).values(changes))
        new = find_photograph(book, old.sha256)
        before, after = _told(book, old), _told(book, new)
        if new != old:
            at = now()
            for stone_id in dict.fromkeys((old.stone_id, owner.id)):  # it may have left one
                note(
                    connection,
                    at,
                    by,
                    "correct photograph",
                    f"{owner.full_name}, {old.name}",
                    stone_id=stone_id,
                    before=before,
                    after=after,
                )
        return new


def stored_pixels(entry: PhotographEntry | ObjectPhotograph) -> Pixels:
    """Read the pixels of a stored photograph, making sure that it is still the one that was added.

    Parameters
    ----------
    entry : PhotographEntry or ObjectPhotograph

    Returns
    -------
    (H, W, 3) uint8 or uint16 array
        sRGB-encoded.

    Raises
    ------
    BookError
        When the file was altered or lost since.
    """
    from setstone.capture.errors import PhotographError
    from setstone.capture.open import open_photograph

    try:
        photograph = open_photograph(entry.path)
    except PhotographError as error:
        raise BookError(
            f"The photograph '{entry.name}' cannot be opened in the book any more ({entry.path}); "
            "add the original again, and it is put back in its place."
        ) from error
    if photograph.sha256 != entry.sha256:
        raise BookError(
            f"The photograph '{entry.name}' was altered in the book ({entry.path}); "
            "add the original again, and it is put back in its place."
        )
    return photograph.pixels


def _by_hash(book: Store, sha256: str) -> PhotographEntry | None:
    c = schema.photographs.c
    query = select(schema.photographs).where(c.sha256 == sha256, c.removed.is_(None))
    with book.snapshot() as connection:
        row = connection.execute(query).mappings().first()
    return None if row is None else _entry(book, row)


def _lamp(photograph: Photograph, stated: Lamp | None) -> tuple[Lamp, tuple[Flag, ...]]:
    from setstone.capture.fitness import fitness
    from setstone.capture.lamp import recognise_lamp

    flags = tuple(Flag(f.code, f.text) for f in fitness(photograph.pixels))
    flags += tuple(Flag("file-note", text) for text in photograph.notes)
    if stated is not None:
        return stated, flags + _contradicted(stated, photograph.pixels)
    reading = recognise_lamp(photograph.pixels)
    if reading.lamp is Lamp.OTHER and photograph.lamp_hint is not None:
        return photograph.lamp_hint, flags
    if reading.confidence < _SURE:
        flags += (Flag("lamp-uncertain", f"{reading.why} State the light it was taken under."),)
    return reading.lamp, flags


def _contradicted(stated: Lamp, pixels: Pixels) -> tuple[Flag, ...]:
    from setstone.capture.lamp import contradiction

    against = contradiction(stated, pixels)
    return () if against is None else (Flag("lamp-contradiction", against),)


def _without_doubts(flags: tuple[Flag, ...]) -> tuple[Flag, ...]:
    return tuple(f for f in flags if f.code not in ("lamp-uncertain", "lamp-contradiction"))


def _taken(stated: datetime | None, photograph: Photograph) -> datetime | None:
    if stated is not None:
        return in_utc(stated)
    try:
        return None if photograph.taken is None else in_utc(photograph.taken)
    except (OverflowError, OSError, ValueError):
        return None  # the clock of the camera was never set: a year no computer can place


def _possible(magnification: float | None) -> float | None:
    if magnification is not None and not (math.isfinite(magnification) and 0 < magnification <= 1e4):
        raise BookError(
            f"A magnification of {magnification:g} is not possible; give that of the microscope, for example 60."
        )
    return magnification


def require_unexamined(book: Store, entry: PhotographEntry, what: str) -> None:
    """Refuse to do something to a photograph on which an examination rests, for modules of this room."""
    c = schema.examinations.c
    query = select(c.id).where(or_(c.white == entry.sha256, c.blue == entry.sha256)).limit(1)
    with book.snapshot() as connection:
        if connection.execute(query).scalar() is not None:
            raise BookError(
                f"An examination rests on the photograph '{entry.name}', so it cannot be {what}; "
                "enter a remark on the stone instead."
            )


def _told(book: Store, entry: PhotographEntry) -> dict[str, object]:
    with book.snapshot() as connection:
        owner = stone_of_id(connection, entry.stone_id)
        named = select(schema.setups.c.name).where(schema.setups.c.id == entry.setup_id)
        setup = connection.execute(named).scalar()
    return {
        "stone": owner.full_name,
        "lamp": str(entry.lamp),
        "lamp_stated": entry.lamp_stated,
        "occasion": entry.occasion,
        "magnification": entry.magnification,
        "scale": None if entry.scale is None else to_json(entry.scale),
        "setup": setup,
    }


def _entry(book: Store, row: RowMapping) -> PhotographEntry:
    values = {k: v for k, v in row.items() if k not in ("id", "file", "removed")}
    values["lamp"] = Lamp(row["lamp"])
    values["path"] = book.photographs_folder / row["file"]
    values["flags"] = from_json(row["flags"], tuple[Flag, ...])
    values["scale"] = None if row["scale"] is None else from_json(row["scale"], Scale)
    return PhotographEntry(**values)
