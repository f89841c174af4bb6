"""Occasions on which a stone was photographed."""

from sqlalchemy import func, select

from setstone.record import schema
from setstone.record.entries import StoneEntry
from setstone.record.store import Store
from setstone.record.text import clean, key
from setstone.record.vocabulary import OCCASIONS

_photographs = schema.photographs.c


def occasions(book: Store, stone: StoneEntry) -> tuple[str, ...]:
    """Read the occasions of a stone in the order in which they were photographed.

    A photograph counts for the time at which it was taken, or was added where nobody knows that time.

    Returns
    -------
    tuple of str
        The last is that of the photograph taken last.
    """
    moment = func.coalesce(_photographs.taken, _photographs.added)
    query = (
        select(_photographs.occasion)
        .where(_photographs.stone_id == stone.id, _photographs.removed.is_(None))
        .group_by(_photographs.occasion)
        .order_by(func.max(moment), func.max(_photographs.id))
    )
    with book.snapshot() as connection:
        return tuple(connection.execute(query).scalars())


def spelt(book: Store, stone: StoneEntry, occasion: str) -> str:
    """Return an occasion as it is spelt already: ``Before`` and ``before`` are not two occasions.

    Parameters
    ----------
    stone : StoneEntry
    occasion : str

    Returns
    -------
    str

    Raises
    ------
    BookError
        When it is empty, too long or holds control characters.
    """
    occasion = clean(occasion, "The occasion", longest=60)
    for known in (*occasions(book, stone), *OCCASIONS):
        if key(known) == key(occasion):
            return known
    return occasion
