"""A book's database as a SQLite file."""

import json
import sqlite3
from functools import partial

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from setstone.record.place import Place

#: Marks a SQLite database as a setstone book: "SETS" (sqlite.org/pragma.html#pragma_application_id).
APPLICATION_ID = 0x53455453

#: How long to wait for another program that is writing, in seconds.
PATIENCE_S = 10.0

# JSON knows no NaN, and a database server refuses it; `convert` writes such numbers as words.
dump_json = partial(json.dumps, ensure_ascii=False, allow_nan=False)


def engine_of(place: Place, *, read_only: bool) -> Engine:
    """Make the engine of a book without a server; nothing is opened yet."""
    mode = "ro" if read_only else "rwc"
    engine = create_engine(
        # An address of SQLite's own, which alone can ask for reading only (sqlite.org/uri.html).
        URL.create("sqlite", database=place.database.as_uri(), query={"mode": mode, "uri": "true"}),
        connect_args={"timeout": PATIENCE_S},
        json_serializer=dump_json,
        # Without the values: a message must not spill a page of numbers.
        hide_parameters=True,
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    # The sqlite3 module begins transactions late and not for every statement; SQLAlchemy's
    # documentation of the dialect says to switch that off and to begin them oneself (`_begin`).
    connection.isolation_level = None
    for pragma in (
        # A rollback journal, not a write-ahead log: at rest the book is one database file that may be copied
        # with its folder, and it may lie on a network drive, where a write-ahead log does not work
        # (sqlite.org/wal.html). Writes are few and small; nobody waits for them.
        "journal_mode = DELETE",
        # What is committed stays, even if the power fails at once: as FULL, and the removal of the journal
        # is synced too (sqlite.org/pragma.html#pragma_synchronous).
        "synchronous = EXTRA",
        "foreign_keys = ON",
        # Lets INSERT OR REPLACE fire the triggers that keep the journal from being changed
        # (sqlite.org/lang_conflict.html).
        "recursive_triggers = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    # Whoever means to write takes the lock first: two that both have read and then want to write
    # could only be told to start again.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def mark(connection: Connection) -> None:
    """Mark a database as that of a book."""
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")


def is_book(connection: Connection) -> bool:
    """Tell whether a database is that of a book."""
    return bool(connection.exec_driver_sql("PRAGMA application_id").scalar() == APPLICATION_ID)


def no_book(place: Place) -> str:
    """Say that a database is not that of a book."""
    if place.database.stat().st_size == 0:
        return (
            f"The book in '{place.folder}' was never finished: its '{place.database.name}' is empty, as after a start or an "
            "import that was interrupted; start or import it again in another folder."
        )
    return (
        f"The folder '{place.folder}' holds no setstone book: its '{place.database.name}' belongs to something else; "
        "choose another folder."
    )


def sentence(error: DBAPIError, place: Place) -> str:
    """Say in plain words what the database refuses."""
    code = getattr(error.orig, "sqlite_errorcode", 0) & 0xFF  # the rest tells sub-cases apart
    known: dict[int, str] = {
        sqlite3.SQLITE_BUSY: f"The book '{place}' is in use by another program; try again when it has finished.",
        sqlite3.SQLITE_READONLY: f"The book '{place}' cannot be written; check the rights of the folder and its files.",
        sqlite3.SQLITE_FULL: f"There is no room left on the disk of the book '{place}'; nothing was changed.",
        sqlite3.SQLITE_CANTOPEN: f"The database of the book '{place}' cannot be opened; check the folder and its rights.",
        sqlite3.SQLITE_CORRUPT: damaged(place),
        sqlite3.SQLITE_NOTADB: damaged(place),
    }
    return known.get(code, f"The database of the book '{place}' refused; nothing was changed ({error.orig}).")


def faults(connection: Connection) -> list[tuple[str, bool]]:
    """Find damage of the database, and whether it is in an index, which the tables suffice to make anew."""
    found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    # The messages as of SQLite's source, pragma.c.
    return [(f, "index" in f and "Tree" not in f) for f in found if f != "ok"]


def rebuild_indexes(connection: Connection) -> bool:
    """Make the indexes anew where one is damaged; tell whether one was."""
    damaged_ones = any(in_an_index for _, in_an_index in faults(connection))
    if damaged_ones:
        connection.exec_driver_sql("REINDEX")
    return damaged_ones


def guarded_tables(connection: Connection) -> set[str]:
    """Tables whose lines the database refuses to change or remove (`migrations/append_only.py`)."""
    names = (
        connection.exec_driver_sql("SELECT name FROM sqlite_schema WHERE type = 'trigger'").scalars().all()
    )
    return {
        n.removesuffix("_no_update") for n in names if f"{n.removesuffix('_no_update')}_no_delete" in names
    }


def damaged(place: Place) -> str:
    """Say that the database of a book is damaged."""
    return (
        f"The database '{place.database}' is damaged; restore it from your last copy of the folder or your last backup. "
        "The photographs beside it are not affected."
    )
