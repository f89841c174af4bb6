"""Signatures: a person stands for what the book says of a stone."""

from sqlalchemy import insert, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import Signature, StoneEntry
from setstone.record.journal import note
from setstone.record.store import Store
from setstone.record.text import operator

_s = schema.signatures.c


def sign(book: Store, stone: StoneEntry, *, by: str) -> Signature:
    """Sign what stands on a stone now; whatever is changed on it later is not signed.

    Parameters
    ----------
    stone : StoneEntry
    by : str
        Who signs.

    Returns
    -------
    Signature

    Raises
    ------
    BookError
        When nobody is named.
    """
    return _write(book, stone, by, in_force=True)


def take_signature_back(book: Store, stone: StoneEntry, *, by: str) -> None:
    """Take a signature back; the journal keeps both.

    Parameters
    ----------
    stone : StoneEntry
    by : str
        Who takes it back.
    """
    _write(book, stone, by, in_force=False)


def signature(book: Store, stone: StoneEntry) -> Signature | None:
    """Read the signature in force, whether or not something was changed since.

    Parameters
    ----------
    stone : StoneEntry

    Returns
    -------
    Signature or None
    """
    query = select(_s.in_force, _s.by, _s.at).where(_s.stone_id == stone.id).order_by(_s.id.desc()).limit(1)
    with book.snapshot() as connection:
        row = connection.execute(query).first()
    return Signature(row.by, row.at) if row is not None and row.in_force else None


def _write(book: Store, stone: StoneEntry, by: str, *, in_force: bool) -> Signature:
    made = Signature(operator(by, required=True), now())
    with book.atomic() as connection:
        connection.execute(
            insert(schema.signatures).values(stone_id=stone.id, in_force=in_force, by=made.by, at=made.at)
        )
        action = "sign" if in_force else "take signature back"
        note(connection, made.at, made.by, action, stone.full_name, stone_id=stone.id)
    return made
