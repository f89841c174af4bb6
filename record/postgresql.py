"""A book's database on a PostgreSQL server, for a workshop with several benches."""

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from setstone.record.errors import BookError
from setstone.record.place import Place
from setstone.record.sqlite import dump_json

#: How long to wait for another bench that is writing, and for the server to answer, in seconds.
PATIENCE_S = 10

#: Of the lock a bench holds while it writes; any number that no other program in the database uses.
_WRITING = 0x53455453

_MARK = "setstone book"


def engine_of(place: Place, *, read_only: bool) -> Engine:
    """Make the engine of a book on a server; nothing is opened yet.

    Raises
    ------
    BookError
        When the client library is not installed.
    """
    if place.server is None:
        raise RuntimeError("a place without a server")
    options = [f"-c lock_timeout={PATIENCE_S}s", "-c timezone=UTC"]
    if read_only:
        options.append("-c default_transaction_read_only=on")
    try:
        engine = create_engine(
            place.server,
            connect_args={"connect_timeout": PATIENCE_S, "options": " ".join(options)},
            json_serializer=dump_json,
            hide_parameters=True,
            # The server may have been started again since the last use.
            pool_pre_ping=True,
        )
    except ImportError as error:
        raise BookError(
            "To open a book on a database server, install the client library: pip install 'setstone[postgresql]'."
        ) from error
    event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: Connection) -> None:
    # Whoever means to write waits here for whoever is writing, as with SQLite: what was read inside stays true
    # until the end, so no bench overwrites what another has just entered. Writes are few and small; readers
    # are never held up. The lock ends with the transaction (PostgreSQL manual, 13.3.5, advisory locks).
    if connection.get_execution_options().get("writes", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITING})")
    else:
        # All that is read inside is of one moment (13.2.2).
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def mark(connection: Connection) -> None:
    """Mark a database as that of a book."""
    connection.exec_driver_sql(f"COMMENT ON TABLE book IS '{_MARK}'")


def is_book(connection: Connection) -> bool:
    """Tell whether a database is that of a book."""
    query = "SELECT obj_description(to_regclass('book'), 'pg_class')"
    return bool(connection.exec_driver_sql(query).scalar() == _MARK)


def no_book(place: Place) -> str:
    """Say that a database is not that of a book."""
    return f"The database '{place}' holds no setstone book; check its name, or start a book there."


def sentence(error: DBAPIError, place: Place) -> str:
    """Say in plain words what the server refuses (states: PostgreSQL manual, appendix A)."""
    state = getattr(error.orig, "sqlstate", None)
    known: dict[str | None, str] = {
        "55P03": f"The book '{place}' is in use by another bench; try again when it has finished.",
        "25006": f"The book '{place}' cannot be written; it is open for reading only.",
        "42501": f"The book '{place}' cannot be used with the rights you have on its database; ask whoever runs the server.",
        "53100": f"There is no room left on the disk of the server of the book '{place}'; nothing was changed.",
    }
    if state in known:
        return known[state]
    diagnosis = getattr(getattr(error.orig, "diag", None), "message_primary", None)
    reason = diagnosis or " ".join(str(error.orig).split())
    if state is None or state.startswith(("08", "57P")):
        return (
            f"The database of the book '{place}' lets nobody in ({reason}); check the address, the password and "
            "the network, or ask whoever runs the server."
        )
    return f"The database of the book '{place}' refused; nothing was changed ({reason})."


def faults(connection: Connection) -> list[tuple[str, bool]]:  # noqa: ARG001
    """Find nothing: a server checks its pages itself as they are read (PostgreSQL manual, 28.2, data checksums)."""
    return []


def rebuild_indexes(connection: Connection) -> bool:  # noqa: ARG001
    """Leave the indexes to whoever runs the server (REINDEX DATABASE)."""
    return False


def guarded_tables(connection: Connection) -> set[str]:
    """Tables whose lines the database refuses to change or remove (`migrations/append_only.py`)."""
    query = "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D' AND tgname LIKE '%%_only_grows'"
    return {name.removesuffix("_only_grows") for name in connection.exec_driver_sql(query).scalars()}
