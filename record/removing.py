"""Photographs taken out of the book, because they were added by mistake, and brought back; nothing is erased."""

from sqlalchemy import Connection, select, update

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import PhotographEntry
from setstone.record.errors import BookError
from setstone.record.inventory import stone_of_id
from setstone.record.journal import note
from setstone.record.photographs import find_photograph, require_unexamined
from setstone.record.store import Store
from setstone.record.text import operator

_p = schema.photographs.c


def remove_photograph(book: Store, entry: PhotographEntry, *, by: str) -> None:
    """Take a photograph out of the book; its file stays there, and `restore_photograph` brings it back.

    To add the same file again brings it back too, to whatever stone.

    Parameters
    ----------
    entry : PhotographEntry
    by : str
        Who takes it out.

    Raises
    ------
    BookError
        When nobody is named, it is not in the book, or an examination rests on it.
    """
    by, at = operator(by, required=True), now()
    with book.atomic() as connection:
        old = find_photograph(book, entry.sha256)
        require_unexamined(book, old, "taken out of the book")
        connection.execute(update(schema.photographs).where(_p.sha256 == old.sha256).values(removed=at))
        _note(connection, "remove photograph", old, by)


def restore_photograph(book: Store, entry: PhotographEntry, *, by: str) -> PhotographEntry:
    """Bring a photograph back that was taken out, as it stood.

    Parameters
    ----------
    entry : PhotographEntry
    by : str
        Who brings it back.

    Returns
    -------
    PhotographEntry

    Raises
    ------
    BookError
        When nobody is named, or it was not taken out.
    """
    by = operator(by, required=True)
    with book.atomic() as connection:
        brought_back = connection.execute(
            update(schema.photographs)
            .where(_p.sha256 == entry.sha256, _p.removed.is_not(None))
            .values(removed=None)
        )
        if not brought_back.rowcount:
            raise BookError(f"The photograph '{entry.name}' is in the book; it need not be brought back.")
        restored = find_photograph(book, entry.sha256)
        _note(connection, "restore photograph", restored, by)
        return restored


def require_present(connection: Connection, *sha256: str | None) -> None:
    """Refuse what rests on photographs that somebody took out meanwhile, for modules of this room."""
    gone = select(_p.name).where(_p.sha256.in_([s for s in sha256 if s]), _p.removed.is_not(None))
    name = connection.execute(gone.limit(1)).scalar()
    if name is not None:
        raise BookError(
            f"The photograph '{name}' was taken out of the book meanwhile, so nothing of its examination was kept; "
            "bring it back and examine again."
        )


def _note(connection: Connection, action: str, entry: PhotographEntry, by: str) -> None:
    told = {
        "sha256": entry.sha256,
        "name": entry.name,
        "lamp": str(entry.lamp),
        "occasion": entry.occasion,
    }
    before, after = (told, None) if action.startswith("remove") else (None, told)
    stone = stone_of_id(connection, entry.stone_id)
    note(connection, now(), by, action, stone.full_name, stone_id=stone.id, before=before, after=after)
