"""The way to a book's database: transactions, and errors in plain words."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol, Self

from sqlalchemy import Connection, CursorResult, Engine, ExceptionContext, event
from sqlalchemy.exc import DBAPIError

from setstone.record import postgresql, sqlite
from setstone.record.errors import BookError
from setstone.record.place import Place, place_of


class Database(Protocol):
    """What a module must have that knows one kind of database: `sqlite` and `postgresql` do."""

    def engine_of(self, place: Place, *, read_only: bool) -> Engine: ...  # noqa: D102
    def mark(self, connection: Connection) -> None: ...  # noqa: D102
    def is_book(self, connection: Connection) -> bool: ...  # noqa: D102
    def no_book(self, place: Place) -> str: ...  # noqa: D102
    def sentence(self, error: DBAPIError, place: Place) -> str: ...  # noqa: D102
    def faults(self, connection: Connection) -> list[tuple[str, bool]]: ...  # noqa: D102
    def rebuild_indexes(self, connection: Connection) -> bool: ...  # noqa: D102
    def guarded_tables(self, connection: Connection) -> set[str]: ...  # noqa: D102


class Store:
    """A book's folder and its database, without any knowledge of what is kept there.

    Parameters
    ----------
    where : Path or str or Place
        As `setstone.record.place.place_of` takes it.
    why_read_only : str, optional
        Why nothing may be written; empty where it may.
    """

    def __init__(self, where: Path | str | Place, *, why_read_only: str = "") -> None:
        self.place = where if isinstance(where, Place) else place_of(where)
        self.why_read_only = why_read_only
        self.database: Database = sqlite if self.place.server is None else postgresql
        self._engine = self.database.engine_of(self.place, read_only=bool(why_read_only))
        event.listen(self._engine, "handle_error", _say_what_cannot_be_asked)
        self._open = True
        self._of_thread = threading.local()

    @property
    def folder(self) -> Path:
        """The folder of the book, in which the photographs are."""
        return self.place.folder

    @property
    def photographs_folder(self) -> Path:
        """Where the photographs are kept."""
        return self.place.photographs

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
        on_server = self.place.server is not None  # alters tables in place
        with self._transaction(writes=True, keys_checked=on_server) as connection:
            yield connection
            if not on_server and connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
                raise BookError(sqlite.damaged(self.place))

    def _current(self) -> Connection | None:
        return getattr(self._of_thread, "connection", None)

    @contextmanager
    def _transaction(self, *, writes: bool, keys_checked: bool = True) -> Iterator[Connection]:
        if not self._open:
            raise BookError(f"The book '{self.place}' is closed; open it again.")
        if writes and self.why_read_only:
            raise BookError(
                f"The book '{self.place}' is open for reading only, because {self.why_read_only}."
            )
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
            raise BookError(self.database.sentence(error, self.place)) from error


def _say_what_cannot_be_asked(context: ExceptionContext) -> None:
    # Drivers refuse these before the database sees them, with errors that are none of a database's.
    if isinstance(context.original_exception, OverflowError):
        raise BookError("No number in a book is as large as the one given; check it.")
    if isinstance(context.original_exception, UnicodeEncodeError):
        raise BookError("A text given holds half a character, which no book can hold; type it again.")


def new_id(made: CursorResult[Any]) -> int:
    """Return the number the database gave the row just inserted."""
    key = made.inserted_primary_key
    if key is None:
        raise RuntimeError("not the result of inserting one row")
    return int(key[0])
