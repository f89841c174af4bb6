"""Readings of instruments and remarks on a stone."""

from typing import Any

from sqlalchemy import Table, insert, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.entries import ReadingEntry, RemarkEntry, StoneEntry
from setstone.record.journal import note
from setstone.record.store import Store, new_id
from setstone.record.text import clean, operator


def add_reading(
    book: Store,
    stone: StoneEntry,
    *,
    test: str,
    value: str,
    unit: str = "",
    uncertainty: str = "",
    instrument: str = "",
    stone_is_set: bool = True,
    remark: str = "",
    by: str,
) -> ReadingEntry:
    """Enter what an instrument or an eye read.

    Parameters
    ----------
    stone : StoneEntry
    test : str
        Which test, for example ``"refractometer"``.
    value : str
        As read and written, for example ``"1.762-1.770"``.
    unit, uncertainty, instrument, remark : str, optional
    stone_is_set : bool, optional
        Whether the stone was in its setting.
    by : str
        Who read it.

    Returns
    -------
    ReadingEntry

    Raises
    ------
    BookError
        When nobody is named, or a text cannot be kept.
    """
    values: dict[str, Any] = {
        "test": clean(test, "The name of the test"),
        "value": clean(value, "The value", longest=200),
        "unit": clean(unit, "The unit", longest=40, required=False),
        "uncertainty": clean(uncertainty, "The uncertainty", required=False),
        "instrument": clean(instrument, "The instrument", longest=200, required=False),
        "stone_is_set": stone_is_set,
        "remark": clean(remark, "The remark", longest=4000, required=False, lines=True),
    }
    return ReadingEntry(**_add(book, schema.readings, "add reading", stone, by, values))


def add_remark(book: Store, stone: StoneEntry, text: str, *, by: str) -> RemarkEntry:
    """Enter a remark on a stone.

    Parameters
    ----------
    stone : StoneEntry
    text : str
    by : str
        Who says it.

    Returns
    -------
    RemarkEntry

    Raises
    ------
    BookError
        When nobody is named, or the text cannot be kept.
    """
    values = {"text": clean(text, "The remark", longest=4000, lines=True)}
    return RemarkEntry(**_add(book, schema.remarks, "add remark", stone, by, values))


def readings(book: Store, stone: StoneEntry) -> tuple[ReadingEntry, ...]:
    """Read the readings of a stone, in the order they were entered.

    Returns
    -------
    tuple of ReadingEntry
    """
    return tuple(ReadingEntry(**row) for row in _of(book, schema.readings, stone))


def remarks(book: Store, stone: StoneEntry) -> tuple[RemarkEntry, ...]:
    """Read the remarks on a stone, in the order they were entered.

    Returns
    -------
    tuple of RemarkEntry
    """
    return tuple(RemarkEntry(**row) for row in _of(book, schema.remarks, stone))


def _add(
    book: Store, table: Table, action: str, stone: StoneEntry, by: str, values: dict[str, Any]
) -> dict[str, Any]:
    row = {**values, "stone_id": stone.id, "by": operator(by, required=True), "at": now()}
    with book.atomic() as connection:
        made = connection.execute(insert(table).values(row))
        note(connection, row["at"], row["by"], action, stone.full_name, stone_id=stone.id, after=values)
    return {**row, "id": new_id(made)}


def _of(book: Store, table: Table, stone: StoneEntry) -> list[dict[str, Any]]:
    query = select(table).where(table.c.stone_id == stone.id).order_by(table.c.id)
    with book.snapshot() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
