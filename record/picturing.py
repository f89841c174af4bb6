"""The photograph of an object as a whole, and where its stones are seen in it."""

import math
from pathlib import Path

from sqlalchemy import Connection, insert, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import ObjectEntry, ObjectPhotograph, StoneEntry
from setstone.record.errors import BookError
from setstone.record.filing import file_away, suffix
from setstone.record.inventory import objects
from setstone.record.journal import note
from setstone.record.store import Store
from setstone.record.text import operator, shown

#: Shorter side of a picture that shows anything, in pixels.
_LEAST_PX = 48

_o, _p = schema.object_photographs.c, schema.stone_places.c


def picture_object(
    book: Store, of: ObjectEntry, path: Path | None, *, by: str = ""
) -> ObjectPhotograph | None:
    """Keep a photograph of an object as a whole, in place of the one before; the file itself is only read.

    Parameters
    ----------
    of : ObjectEntry
    path : Path or None
        JPEG, PNG, TIFF or another that `setstone.capture.open` reads. None: show none; those before are kept in the book.
    by : str, optional
        Who says so.

    Returns
    -------
    ObjectPhotograph or None
        With the places that were marked in this very photograph before.

    Raises
    ------
    PhotographError
        When the file cannot be opened as a photograph.
    BookError
        When it cannot be stored, or there is none to take away.
    """
    from setstone.capture.open import open_photograph

    by = operator(by, required=False)
    before = object_photograph(book, of)
    if path is None:
        if before is None:
            raise BookError(f"'{of.name}' has no photograph of the whole; nothing is taken away.")
        row = {"sha256": before.sha256, "name": before.name, "file": before.path.name}
        size = before.width, before.height
    else:
        photograph = open_photograph(Path(path))
        size = photograph.pixels.shape[1], photograph.pixels.shape[0]
        if min(size) < _LEAST_PX:
            raise BookError(
                f"The photograph '{photograph.name}' is too small to show an object; use the original, not a thumbnail."
            )
        file = photograph.sha256 + suffix(photograph.format, photograph.name)
        # The file first, then the row: a crash between them leaves a spare file, never a row without one.
        file_away(Path(path), book.photographs_folder / file, photograph.sha256)
        if before is not None and before.sha256 == photograph.sha256:
            return before
        row = {"sha256": photograph.sha256, "name": shown(photograph.name), "file": file}
    at = now()
    with book.atomic() as connection:
        connection.execute(
            insert(schema.object_photographs).values(
                **row,
                object_id=of.id,
                width=size[0],
                height=size[1],
                shown=path is not None,
                by=by,
                at=at,
            )
        )
        note(
            connection,
            at,
            by,
            "show object" if path is not None else "show object no longer",
            of.name,
            object_id=of.id,
            before=None if before is None else {"sha256": before.sha256, "name": before.name},
            after=None if path is None else {"sha256": row["sha256"], "name": row["name"]},
        )
    return object_photograph(book, of)


def object_photograph(book: Store, of: ObjectEntry) -> ObjectPhotograph | None:
    """Read the photograph of an object as a whole, with the places of its stones; None where there is none."""
    with book.snapshot() as connection:
        row = connection.execute(
            select(schema.object_photographs).where(_o.object_id == of.id).order_by(_o.id.desc()).limit(1)
        ).first()
        if row is None or not row.shown:
            return None
        return ObjectPhotograph(
            row.sha256,
            row.name,
            book.photographs_folder / row.file,
            row.width,
            row.height,
            _places(connection, of, row.sha256),
        )


def place_stone(
    book: Store, stone: StoneEntry, at_share: tuple[float, float] | None, *, by: str = ""
) -> None:
    """Say where a stone is seen in the photograph of its object.

    Parameters
    ----------
    stone : StoneEntry
    at_share : (float, float) or None
        Shares of the width from the left and of the height from the top, 0 to 1; None takes the place back.
    by : str, optional
        Who says so.

    Raises
    ------
    BookError
        When the object has no photograph, or the place lies outside it.
    """
    by = operator(by, required=False)
    owner = next(o for o in objects(book) if o.id == stone.object_id)
    photograph = object_photograph(book, owner)
    if photograph is None:
        raise BookError(
            f"'{owner.name}' has no photograph of the whole yet; add it first, then say where its stones are."
        )
    if at_share is not None and not all(math.isfinite(v) and 0 <= v <= 1 for v in at_share):
        raise BookError(
            "A place lies in the photograph: from 0 to 100 % of its width from the left, and of its height from the top."
        )
    before = photograph.places.get(stone.id)
    if before == at_share:
        return
    x, y = at_share or (None, None)
    at = now()
    with book.atomic() as connection:
        connection.execute(
            insert(schema.stone_places).values(
                stone_id=stone.id, sha256=photograph.sha256, x=x, y=y, by=by, at=at
            )
        )
        note(
            connection,
            at,
            by,
            "place stone",
            stone.full_name,
            object_id=stone.object_id,  # of the object: a place in its picture is no part of the stone's record
            before=None if before is None else {"x": before[0], "y": before[1]},
            after=None if at_share is None else {"x": x, "y": y},
        )


def _places(connection: Connection, of: ObjectEntry, sha256: str) -> dict[int, tuple[float, float]]:
    rows = connection.execute(
        select(_p.stone_id, _p.x, _p.y)
        .join(schema.stones)
        .where(_p.sha256 == sha256, schema.stones.c.object_id == of.id, schema.stones.c.removed.is_(None))
        .order_by(_p.id)
    )
    newest = {row.stone_id: (row.x, row.y) for row in rows}
    return {stone: place for stone, place in newest.items() if place[0] is not None}
