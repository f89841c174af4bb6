"""The journal: one line for every change, written in the same transaction, never altered."""

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select, union

from setstone.record import schema
from setstone.record.entries import JournalEntry, StoneEntry
from setstone.record.standing import refresh, refresh_object
from setstone.record.store import Store


def note(
    connection: Connection,
    at: datetime,
    by: str,
    action: str,
    subject: str,
    *,
    stone_id: int | None = None,
    object_id: int | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Write one line, in the transaction of the change it tells of, when that is done.

    How the stones concerned stand is worked out anew.

    Parameters
    ----------
    connection : Connection
    at : datetime
        When, aware.
    by : str
        Who; empty where nobody was named.
    action : str
        What was done, in a few words.
    subject : str
        To what: a name people know it by.
    stone_id : int, optional
        The stone in whose journal it belongs.
    object_id : int, optional
        The object it tells of, where it is not about one of its stones.
    before, after : dict, optional
        What stood there before and what after, in values JSON can hold.
    """
    connection.execute(
        insert(schema.journal).values(
            at=at,
            by=by,
            action=action,
            subject=subject,
            stone_id=stone_id,
            object_id=object_id,
            before=before,
            after=after,
        )
    )
    if stone_id is not None:
        refresh(connection, [stone_id])
    if object_id is not None:
        refresh_object(connection, object_id)


def journal(book: Store, stone: StoneEntry | None = None) -> tuple[JournalEntry, ...]:
    """Read the journal, oldest line first.

    Parameters
    ----------
    stone : StoneEntry, optional
        Only lines about this stone.

    Returns
    -------
    tuple of JournalEntry
    """
    t = schema.journal
    lines = select(t.c.id, t.c.at, t.c.by, t.c.action, t.c.subject, t.c.before, t.c.after).order_by(t.c.id)
    if stone is not None:
        lines = lines.where(t.c.stone_id == stone.id)
    with book.snapshot() as connection:
        return tuple(JournalEntry(**row) for row in connection.execute(lines).mappings())


def newest_journal_line(book: Store) -> int:
    """Read the number of the newest line, 0 without one: it tells whether something was changed.

    Returns
    -------
    int
    """
    with book.snapshot() as connection:
        return int(connection.execute(select(func.max(schema.journal.c.id))).scalar() or 0)


def stones_changed_since(book: Store, line: int) -> frozenset[int]:
    """Tell on which stones, or on whose object, something was entered after a line of the journal.

    Parameters
    ----------
    line : int
        Its number, as `newest_journal_line` gives it.

    Returns
    -------
    frozenset of int
        Numbers of the stones.
    """
    j, s = schema.journal.c, schema.stones.c
    own = select(j.stone_id).where(j.id > line, j.stone_id.is_not(None))
    of_object = select(s.id).where(s.object_id.in_(select(j.object_id).where(j.id > line)))
    with book.snapshot() as connection:
        return frozenset(connection.execute(union(own, of_object)).scalars())
