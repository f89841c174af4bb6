"""What is said of an object and of how its stones sit in it: marks as read, age and maker as claimed."""

import re

from sqlalchemy import ColumnElement, insert, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import FactEntry, ObjectEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator
from setstone.record.vocabulary import Fact

_f = schema.facts.c

#: Words by which a description says more than anybody here has tested (common practice, no source).
_TOO_MUCH = re.compile(
    r"\b(authentic|certified|fine quality|genuine|guaranteed|original|pure|real|solid|undoubtedly)\b",
    re.IGNORECASE,
)
_METALS = re.compile(r"\b(gold|silver|platinum|palladium)\b", re.IGNORECASE)


def state_fact(
    book: Store, of: ObjectEntry | StoneEntry, fact: Fact, value: str, *, by: str
) -> FactEntry | None:
    """Enter what is said of an object, or of how a stone sits in it, in place of what was said before.

    Parameters
    ----------
    of : ObjectEntry or StoneEntry
        A stone for its setting and its back, else the object.
    fact : Fact
    value : str
        A mark as read, ``"750, worn"``; a statement as claimed, ``"about 1790"``. Empty takes it back.
    by : str
        Who read it, or was told.

    Returns
    -------
    FactEntry or None
        None when it was taken back.

    Raises
    ------
    BookError
        When nobody is named, the text cannot be kept, or it is no fact of a stone or of an object.
    """
    by = operator(by, required=True)
    value = clean(value, f"The {fact}", longest=500, required=False)
    if isinstance(of, StoneEntry) != fact.of_stone:
        whose = (
            "a stone; name the stone" if fact.of_stone else "the object, not of a stone; leave the stone out"
        )
        raise BookError(f"The {fact} is that of {whose}.")
    at = now()
    with book.atomic() as connection:
        before = next((f.value for f in facts(book, of) if f.fact is fact), None)
        stone_id, object_id = (of.id, of.object_id) if isinstance(of, StoneEntry) else (None, of.id)
        row = {
            "object_id": object_id,
            "stone_id": stone_id,
            "name": str(fact),
            "value": value,
            "by": by,
            "at": at,
        }
        made = connection.execute(insert(schema.facts).values(row))
        note(
            connection,
            at,
            by,
            f"state {fact}",
            of.full_name if isinstance(of, StoneEntry) else of.name,
            stone_id=stone_id,
            object_id=object_id if stone_id is None else None,
            before=None if before is None else {str(fact): before},
            after={str(fact): value},
        )
    return FactEntry(new_id(made), fact, value, by, at) if value else None


def facts(book: Store, of: ObjectEntry | StoneEntry) -> tuple[FactEntry, ...]:
    """Read what is said of an object as a whole, or of how a stone sits in it.

    Parameters
    ----------
    of : ObjectEntry or StoneEntry

    Returns
    -------
    tuple of FactEntry
        In the order of `Fact`; what was said before stands in the journal.
    """
    mine: ColumnElement[bool] = _f.stone_id == of.id
    if isinstance(of, ObjectEntry):
        mine = (_f.object_id == of.id) & _f.stone_id.is_(None)
    with book.snapshot() as connection:
        rows = connection.execute(select(schema.facts).where(mine).order_by(_f.id))
        holding = {Fact(row.name): row for row in rows}
    return tuple(
        FactEntry(row.id, fact, row.value, row.by, row.at)
        for fact in Fact
        if (row := holding.get(fact)) is not None and row.value
    )


def wording_caution(fact: Fact, value: str) -> str:
    """Say where a text claims more than was read, seen or told.

    Parameters
    ----------
    fact : Fact
    value : str
        As typed.

    Returns
    -------
    str
        One sentence; empty where there is nothing to say.

    Examples
    --------
    >>> wording_caution(Fact.METAL, "solid gold")
    "'solid' says more than anybody here has tested; leave it out, or say who says so."
    >>> wording_caution(Fact.METAL, "yellow metal")
    ''
    """
    word = _TOO_MUCH.search(value)
    if word is not None:
        return f"'{word[0]}' says more than anybody here has tested; leave it out, or say who says so."
    metal = _METALS.search(value)
    if fact is Fact.METAL and metal is not None:
        return (
            f"'{metal[0]}' is what an assay tells; write what is seen, for example 'yellow metal', and the mark as the "
            "hallmark."
        )
    return ""
