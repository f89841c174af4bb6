"""Signatures: a person stands for what the book says of a stone."""

from sqlalchemy import Connection, func, insert, or_, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import Signature, StoneEntry
from setstone.record.errors import BookError
from setstone.record.journal import note
from setstone.record.standing import SIGNING
from setstone.record.store import Store
from setstone.record.text import operator
from setstone.record.versions import state_of

_s, _j = schema.signatures.c, schema.journal.c


def sign(book: Store, stone: StoneEntry, *, by: str) -> Signature:
    """Sign what stands on a stone now as a version; whatever is changed later is not signed, and the next version.

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

    Raises
    ------
    BookError
        When nobody is named, or no signature is in force.
    """
    with book.atomic():
        if signature(book, stone) is None:
            raise BookError(f"{stone.full_name} is not signed, so there is no signature to take back.")
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
        state = state_of(book, stone)
        number, unchanged = _newest_version(connection, stone)
        if in_force and not unchanged:
            number += 1
        connection.execute(
            insert(schema.signatures).values(
                stone_id=stone.id,
                in_force=in_force,
                by=made.by,
                at=made.at,
                version=number or None,
                state=state if in_force else None,
            )
        )
        action = "sign" if in_force else "take signature back"
        after = {"version": number} if number else None
        note(connection, made.at, made.by, action, stone.full_name, stone_id=stone.id, after=after)
    return made


def _newest_version(connection: Connection, stone: StoneEntry) -> tuple[int, bool]:
    """Number of the version signed last, 0 without one, and whether nothing was changed since."""
    number = connection.execute(select(func.max(_s.version)).where(_s.stone_id == stone.id)).scalar() or 0
    lines = select(func.max(_j.id)).where(_j.stone_id == stone.id, _j.action.in_(SIGNING))
    since = select(_j.id).where(
        or_(_j.stone_id == stone.id, _j.object_id == stone.object_id),
        _j.action.not_in(SIGNING),
        _j.id > (connection.execute(lines).scalar() or 0),
    )
    return number, number > 0 and connection.execute(since.limit(1)).scalar() is None
