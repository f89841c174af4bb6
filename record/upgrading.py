"""Bring the database of a book to the shape this version of setstone works with."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, insert, inspect
from sqlalchemy.exc import DatabaseError

from setstone import __version__
from setstone.record import schema
from setstone.record.clock import now
from setstone.record.errors import BookError
from setstone.record.journal import note
from setstone.record.migrations import LATEST
from setstone.record.place import BACKUPS
from setstone.record.sqlite import damaged
from setstone.record.standing import refresh_all
from setstone.record.store import Store

if TYPE_CHECKING:
    from alembic.config import Config

_STEPS = "setstone.record:migrations"
_PROGRAM = f"setstone {__version__}"


def set_up(store: Store, workshop: str, by: str) -> None:
    """Make the tables of an empty book.

    Parameters
    ----------
    store : Store
        With a database that holds nothing yet.
    workshop : str
        Whose book it is.
    by : str
        Who makes the book, for the journal.
    """
    with store.rebuilding() as connection:
        make_tables(connection, store)
        connection.execute(insert(schema.book).values(id=1, workshop=workshop))
        after = {"workshop": workshop, "made with": _PROGRAM}
        note(connection, now(), by, "start book", store.folder.name, after=after)


def make_tables(connection: Connection, store: Store, revision: str = "head") -> None:
    """Make the tables of an empty book, for modules of this room.

    Parameters
    ----------
    connection : Connection
        Of `Store.rebuilding`.
    store : Store
    revision : str
        Of the tables.

    Raises
    ------
    BookError
        When the database holds something already.
    """
    if inspect(connection).get_table_names():
        raise BookError(f"The database of '{store.place}' holds something already; choose an empty one.")
    _take_steps(connection, revision)
    store.database.mark(connection)


def bring_up_to_date(store: Store) -> None:
    """Bring the database of an older book to the latest revision, after copying it.

    Parameters
    ----------
    store : Store

    Raises
    ------
    BookError
        When the folder holds no setstone book, when the book is damaged, was made by a newer version,
        or cannot be written.
    """
    with store.snapshot() as connection:
        revision = _revision(connection, store)
    if revision == LATEST:
        return
    if revision not in known_revisions():
        raise BookError(f"The book '{store.place}' was made by a newer setstone; update setstone to open it.")
    if store.why_read_only:
        raise BookError(
            f"The book '{store.place}' is of an older version and cannot be brought up to date, because "
            f"{store.why_read_only}; open it once where it can be written."
        )
    with store.rebuilding() as connection:
        # Read again under the lock: another program may have been quicker.
        revision = _revision(connection, store)
        if revision == LATEST:
            return
        copy = None if store.place.server is not None else _copy(store.folder, store.place.database, revision)
        try:
            _take_steps(connection)
            refresh_all(connection)
        except DatabaseError as error:
            safe = "" if copy is None else f"; a copy of its database is '{copy}'"
            raise BookError(
                f"The book '{store.place}' could not be brought up to date and was left as it is ({error.orig}){safe}."
            ) from error
        before, after = (
            {"revision": revision},
            {"revision": LATEST, "copy": None if copy is None else copy.name},
        )
        what = "bring book up to date"
        note(connection, now(), _PROGRAM, what, store.folder.name, before=before, after=after)


def finish(connection: Connection, revision: str) -> None:
    """Take the steps that are left after a revision, for modules of this room."""
    if revision != LATEST:
        _take_steps(connection)


def _revision(connection: Connection, store: Store) -> str:
    if not store.database.is_book(connection):
        raise BookError(store.database.no_book(store.place))
    try:
        found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    except DatabaseError as error:
        raise BookError(damaged(store.place)) from error
    if found is None:
        raise BookError(damaged(store.place))
    return str(found)


def _copy(folder: Path, database: Path, revision: str) -> Path:
    copies = folder / BACKUPS
    copy = copies / f"book-{revision}-{now():%Y%m%dT%H%M%S.%fZ}.db"
    try:
        copies.mkdir(exist_ok=True)
        # SQLite's own copying: a file copy could catch the database between two pages.
        with closing(sqlite3.connect(database)) as book, closing(sqlite3.connect(copy)) as target:
            book.backup(target)
    except (OSError, sqlite3.Error) as error:
        raise BookError(
            f"The book '{folder}' is of an older version and was not brought up to date, because its database could "
            f"not be copied to '{copy}' first ({error}); make room or check the rights of the folder."
        ) from error
    return copy


# Alembic is loaded only here: it takes longer than opening a book.


def known_revisions() -> set[str]:
    """Revisions this version of setstone knows, for modules of this room."""
    from alembic.script import ScriptDirectory

    return {step.revision for step in ScriptDirectory.from_config(_config()).walk_revisions()}


def _take_steps(connection: Connection, revision: str = "head") -> None:
    from alembic import command

    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def _config() -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", _STEPS)
    return config
