"""The folder of a book and the way to its database: transactions, and errors in plain words."""

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, Self

from sqlalchemy import URL, Connection, CursorResult, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from setstone.record.errors import BookError

DATABASE = "book.db"
PHOTOGRAPHS = "photographs"
BACKUPS = "backups"

#: How long to wait for another program that is writing, in seconds.
_PATIENCE_S = 10.0


class Store:
    """A book's folder and its database, without any knowledge of what is kept there.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._engine = _engine(folder / DATABASE)
        self._open = True
        self._of_thread = threading.local()

    @property
    def photographs_folder(self) -> Path:
        """Where the photographs are kept."""
        return self.folder / PHOTOGRAPHS

    def close(self) -> None:
        """Let go of the database; the book cannot be used afterwards."""
        self._open = False
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def atomic(self) -> Iterator[Connection]:
        """Make all changes inside together or not at all.

        It may be nested: what fails inside and is caught there is undone alone. The book can be used
        from several threads; each has its own transaction.

        Yields
        ------
        Connection
            In a transaction that may write.

        Raises
        ------
        BookError
            When the database refuses, for example because another program is writing.
        """
        outer = self._current()
        if outer is None:
            with self._transaction(writes=True) as connection:
                yield connection
            return
        if not outer.get_execution_options()["writes"]:
            # Waiting here for the lock would be waiting for oneself.
            raise RuntimeError("a change cannot begin inside a snapshot; begin with atomic() instead")
        with self._plainly(), outer.begin_nested():
            yield outer

    @contextmanager
    def snapshot(self) -> Iterator[Connection]:
        """See one state of the book in all that is read inside, whoever writes meanwhile.

        Yields
        ------
        Connection
            In a transaction that only reads, or in the one of the `atomic` around it.
        """
        outer = self._current()
        if outer is not None:
            yield outer
            return
        with self._transaction(writes=False) as connection:
            yield connection

    @contextmanager
    def rebuilding(self) -> Iterator[Connection]:
        """Write with foreign keys unchecked until the end, as rebuilding a table asks for.

        Yields
        ------
        Connection
            In a transaction of its own (sqlite.org/lang_altertable.html, section 7).
        """
        with self._transaction(writes=True, keys_checked=False) as connection:
            yield connection
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
            if broken is not None:
                raise BookError(damaged(self.folder))

    def _current(self) -> Connection | None:
        return getattr(self._of_thread, "connection", None)

    @contextmanager
    def _transaction(self, *, writes: bool, keys_checked: bool = True) -> Iterator[Connection]:
        if not self._open:
            raise BookError(f"The book '{self.folder}' is closed; open it again.")
        with self._plainly(), self._engine.connect().execution_options(writes=writes) as connection:
            if not keys_checked:
                connection.detach()  # not to be used again by others
                # Through the driver: in a transaction, which SQLAlchemy would begin, it has no effect.
                connection.connection.cursor().execute("PRAGMA foreign_keys = OFF")
            with connection.begin():
                self._of_thread.connection = connection
                try:
                    yield connection
                finally:
                    self._of_thread.connection = None

    @contextmanager
    def _plainly(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise BookError(_sentence(error, self.folder)) from error


def _engine(database: Path) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(database)),
        connect_args={"timeout": _PATIENCE_S},
        # JSON knows no NaN, and a database server refuses it; `convert` writes such numbers as words.
        json_serializer=partial(json.dumps, ensure_ascii=False, allow_nan=False),
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


def _sentence(error: DBAPIError, folder: Path) -> str:
    code = getattr(error.orig, "sqlite_errorcode", 0) & 0xFF  # the rest tells sub-cases apart
    known: dict[int, str] = {
        sqlite3.SQLITE_BUSY: f"The book '{folder}' is in use by another program; try again when it has finished.",
        sqlite3.SQLITE_READONLY: f"The book '{folder}' cannot be written; check the rights of the folder and its files.",
        sqlite3.SQLITE_FULL: f"There is no room left on the disk of the book '{folder}'; nothing was changed.",
        sqlite3.SQLITE_CANTOPEN: f"The database of the book '{folder}' cannot be opened; check the folder and its rights.",
        sqlite3.SQLITE_CORRUPT: damaged(folder),
        sqlite3.SQLITE_NOTADB: damaged(folder),
    }
    return known.get(
        code, f"The database of the book '{folder}' refused; nothing was changed ({error.orig})."
    )


def new_id(made: CursorResult[Any]) -> int:
    """Return the number the database gave the row just inserted."""
    key = made.inserted_primary_key
    if key is None:
        raise RuntimeError("not the result of inserting one row")
    return int(key[0])


def damaged(folder: Path) -> str:
    """Say that the database of a book is damaged."""
    return (
        f"The database '{folder / DATABASE}' is damaged; restore it from your last copy of the folder. "
        "The photographs beside it are not affected."
    )
