"""Take in a whole book that `exporting` wrote: all of it or nothing."""

import hashlib
import json
import lzma
import math
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    DateTime,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    func,
    insert,
    select,
    text,
)
from sqlalchemy.exc import DBAPIError

from setstone.record import schema
from setstone.record.book import Book, starting
from setstone.record.clock import in_utc, now
from setstone.record.errors import BookError
from setstone.record.exporting import DERIVED, FORMAT, FORMAT_VERSION, LINES, files_of
from setstone.record.filing import file_away
from setstone.record.journal import note
from setstone.record.place import PHOTOGRAPHS, place_of
from setstone.record.standing import refresh_all
from setstone.record.text import operator
from setstone.record.upgrading import finish, known_revisions, make_tables
from setstone.record.versions import state_of

#: Name of a photograph in the folder: its SHA-256 and what kind of file it is; never a way out of the folder.
_FILE = re.compile(r"[0-9a-f]{64}(\.[a-z0-9]{1,8}){1,2}")
#: Rows are written when so many of them, or of their characters, are waiting.
_ROWS_AT_ONCE, _CHARACTERS_AT_ONCE = 500, 16_000_000
#: Longest line read: a hundred times that of the richest examination met.
MOST_CHARACTERS = 4_000_000
#: Largest photograph taken out of an export, in bytes: none larger is opened.
MOST_BYTES = 2_000_000_000
#: What reading a damaged zip raises.
DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    NotImplementedError,
    UnicodeDecodeError,
    IndexError,
    struct.error,
)
#: Bit of an entry of a zip that is encrypted (PKWARE APPNOTE 6.3, section 4.4.4, bit 0).
_LOCKED = 0x1


def import_book(source: Path, where: Path | str, *, by: str) -> Book:
    """Start a new book from an export.

    Parameters
    ----------
    source : Path
        The folder or the ``.zip`` of the export; only read.
    where : Path or str
        Where the new book shall be, as `Book.create` takes it.
    by : str
        Who imports it, for the journal.

    Returns
    -------
    Book
        Open. One exported by an older setstone is brought up to date.

    Raises
    ------
    BookError
        When the export is not whole, does not fit together, or was written by a newer setstone; or the
        new book cannot be made. Nothing is kept of it then.
    """
    by = operator(by, required=True)
    source = Path(source)
    with _opened(source) as root, starting(place_of(where)) as book:
        lines = _Lines(source, root)
        with book.rebuilding() as connection:
            make_tables(connection, book, lines.revision)
            try:
                _insert(connection, lines)
                _require_whole(connection, book, source)
            except DBAPIError as error:
                raise BookError(
                    f"The export '{source}' does not fit together near line {lines.number} ({_reason(error)}); export the book again."
                ) from error
            _take_photographs(connection, book, root / PHOTOGRAPHS)
            finish(connection, lines.revision)
            refresh_all(connection)
            _require_readable(book, source)
            after = {"exported": lines.exported, "revision": lines.revision}
            note(connection, now(), by, "import book", source.name, after=after)
    return book


@contextmanager
def _opened(source: Path) -> Iterator[Traversable]:
    """Open the folder or the zip of an export; damage found while it is read is said too."""
    with ExitStack() as open_until_the_end:
        try:
            if source.is_dir():
                root: Traversable = source
            elif not source.exists():
                raise BookError(f"There is no export '{source}'; check its name.")
            else:
                archive = open_until_the_end.enter_context(zipfile.ZipFile(source))
                if any(entry.flag_bits & _LOCKED for entry in archive.infolist()):
                    raise BookError(
                        f"'{source}' is locked with a password, which setstone does not open; unpack it, and import the folder."
                    )
                root = zipfile.Path(archive)
            if not (root / LINES).is_file():
                raise BookError(f"'{source}' is no export of a book: it holds no '{LINES}'; choose another.")
            yield root
        except (*DAMAGED, OSError) as error:
            raise BookError(
                f"'{source}' cannot be read as an export; choose its folder or its .zip, or export the book again "
                "where it is damaged."
            ) from error


class _Lines:
    """The lines of an export, the first of which is read at once."""

    def __init__(self, source: Path, root: Traversable) -> None:
        self._source = source
        self._root = root
        self.number = 0
        #: Characters of all lines so far.
        self.read = 0
        self._left = self._objects()
        first = next(self._left, {})
        if first.get("format") != FORMAT:
            raise BookError(f"'{source}' is no export of a book; choose another.")
        if first.get("version") != FORMAT_VERSION or str(first.get("revision")) not in known_revisions():
            raise BookError(
                f"The export '{source}' was made by a newer setstone; update setstone to import it."
            )
        self.revision: str = first["revision"]
        self.exported = str(first.get("exported", ""))

    def rows(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Read table and row of each line, to the end that the last line tells."""
        for line in self._left:
            end = line.get("end")
            if end is not None:
                if end != {"lines": self.number - 1} or next(self._left, None) is not None:
                    raise self.wrong("lines are missing or too many")
                return
            table, row = line.get("table"), line.get("row")
            if not isinstance(table, str) or not isinstance(row, dict):
                raise self.wrong("it names no table and row")
            yield table, row
        raise self.wrong("the end is missing")

    def wrong(self, what: str) -> BookError:
        """Say what is wrong with the line read last."""
        return BookError(
            f"The export '{self._source}' cannot be imported: line {self.number} of '{LINES}' is wrong ({what}); export the book again."
        )

    def _objects(self) -> Iterator[dict[str, Any]]:
        with (self._root / LINES).open(encoding="utf-8") as file:
            try:
                while line := file.readline(MOST_CHARACTERS + 1):
                    self.number += 1
                    self.read += len(line)
                    if len(line) > MOST_CHARACTERS:
                        raise self.wrong(f"it has more than {MOST_CHARACTERS} characters")
                    found = json.loads(line, parse_constant=_no_constant)
                    if not isinstance(found, dict):
                        raise self.wrong("it is no object")
                    yield found
            except (ValueError, RecursionError) as error:
                raise self.wrong("it is no JSON in UTF-8") from error


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON (RFC 8259)")


def _insert(connection: Connection, lines: _Lines) -> None:
    tables = _tables(connection)
    waiting: list[dict[str, Any]] = []
    current: Table | None = None
    written = 0

    def write() -> None:
        nonlocal written
        written = lines.read
        if current is not None and waiting:
            connection.execute(insert(current), waiting)
            waiting.clear()

    for name, row in lines.rows():
        table = tables.get(name)
        if table is None:
            raise lines.wrong(f"there is no table '{name}'")
        if (
            table is not current
            or len(waiting) >= _ROWS_AT_ONCE
            or lines.read - written >= _CHARACTERS_AT_ONCE
        ):
            write()
            current = table
        waiting.append(_values(table, row, lines))
    write()
    if connection.dialect.name == "postgresql":
        for table in tables.values():
            _count_on(connection, table)


def _tables(connection: Connection) -> dict[str, Table]:
    """Tables as they are at the revision of the export."""
    found = MetaData()
    found.reflect(connection)
    for table in found.tables.values():
        for column in table.columns:
            if isinstance(column.type, JSON):
                column.type = JSON(none_as_null=True)
    return {name: t for name, t in found.tables.items() if name not in DERIVED | {"alembic_version"}}


def _values(table: Table, row: dict[str, Any], lines: _Lines) -> dict[str, Any]:
    names = set(table.columns.keys())
    if set(row) != names:
        odd = sorted(names ^ set(row))[0]
        raise lines.wrong(
            f"'{odd}' of the table '{table.name}' is {'missing' if odd in names else 'not known'}"
        )
    return {name: _value(table.columns[name], value, lines) for name, value in row.items()}


def _value(column: Column[Any], value: Any, lines: _Lines) -> Any:
    if value is None and column.nullable:
        return None
    kind = column.type
    good = False
    if isinstance(kind, JSON):
        good = value is not None
    elif isinstance(kind, Boolean):
        good = isinstance(value, bool)
    elif isinstance(kind, DateTime):
        value = _moment(value)
        good = value is not None
    elif isinstance(kind, Integer):
        good = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1 << 31
    elif isinstance(kind, Float):
        good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    elif isinstance(kind, String):
        good = isinstance(value, str) and _can_be_kept(value) and len(value) <= (kind.length or len(value))
    if not good:
        raise lines.wrong(f"'{column.name}' of the table '{column.table.name}' cannot be {str(value)[:40]!r}")
    return value


def _moment(value: Any) -> datetime | None:
    try:
        moment = datetime.fromisoformat(value)
        return None if moment.tzinfo is None else in_utc(moment)
    except (TypeError, ValueError, OverflowError):
        return None


def _can_be_kept(value: str) -> bool:
    return "\0" not in value and not any("\ud800" <= c <= "\udfff" for c in value)


def _count_on(connection: Connection, table: Table) -> None:
    """Let the server number new rows after those that came with their numbers."""
    if "id" in table.columns:
        sequence = connection.execute(select(func.pg_get_serial_sequence(table.name, "id"))).scalar()
        newest = connection.execute(select(func.max(table.c.id))).scalar()
        if sequence is not None and newest is not None:
            connection.execute(select(func.setval(sequence, newest)))


def _require_whole(connection: Connection, book: Book, source: Path) -> None:
    """A server checks each line as it comes; SQLite was told not to."""
    if book.place.server is None:
        broken = connection.execute(text("PRAGMA foreign_key_check")).first()
        if broken is not None:
            raise BookError(
                f"The export '{source}' does not fit together: a line of '{broken[0]}' points to one of '{broken[2]}' "
                "that is not there; export the book again."
            )
    if connection.execute(select(func.count()).select_from(schema.book)).scalar() != 1:
        raise BookError(
            f"The export '{source}' does not fit together: the line of the book itself is missing; export the book again."
        )


def _take_photographs(connection: Connection, book: Book, folder: Traversable) -> None:
    rows = [row for query in files_of(_tables(connection).values()) for row in connection.execute(query)]
    for row in rows:
        kept = folder / row.file
        if not _FILE.fullmatch(row.file) or not row.file.startswith(row.sha256):
            raise BookError(
                f"The export holds a photograph '{row.file}', which is no name of one; export the book again."
            )
        if not kept.is_file():
            raise BookError(
                f"The export lacks the photograph '{row.name}' ({PHOTOGRAPHS}/{row.file}); put it back in place."
            )
        if _sha256_of(kept) != row.sha256:
            raise BookError(
                f"The photograph '{row.name}' of the export was altered ({PHOTOGRAPHS}/{row.file}); put the original back in place."
            )
        file_away(kept, book.photographs_folder / row.file, row.sha256)


def _sha256_of(file: Traversable) -> str:
    """Hash a file, but of one that a zip makes endless no more than can be a photograph; then the hash is another."""
    made, left = hashlib.sha256(), MOST_BYTES
    with file.open("rb") as stream:
        while left > 0 and (piece := stream.read(1 << 20)):
            made.update(piece)
            left -= len(piece)
    return made.hexdigest() if left > 0 else ""


def _require_readable(book: Book, source: Path) -> None:
    """Read everything once, as people will: what the tables allow and the program does not is found here."""
    try:
        book.journal()
        for owner in book.objects():
            book.facts(owner)
            book.object_photograph(owner)
        for stone in book.stones():
            state_of(book, stone)
            book.examinations(stone)
            book.versions(stone)
        for setup in book.setups():
            book.calibrations(setup)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise BookError(
            f"The export '{source}' holds what cannot be read ({error}); export the book again."
        ) from error


def _reason(error: DBAPIError) -> str:
    return str(error.orig).strip().splitlines()[0]
