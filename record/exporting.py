"""A whole book as JSON Lines and photographs, for any program to read and for `importing` to take in again.

What each line holds stands in ``docs/exchange.md``.
"""

import json
import shutil
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, Table, select

from setstone import __version__
from setstone.record import schema
from setstone.record.clock import now
from setstone.record.errors import BookError
from setstone.record.filing import file_away, sha256_of
from setstone.record.migrations import LATEST
from setstone.record.place import PHOTOGRAPHS
from setstone.record.store import Store

#: Name of what a first line says it is, and the version of how lines are written.
FORMAT, FORMAT_VERSION = "setstone book", 1
LINES = "book.jsonl"
#: Worked out from the other tables, so not part of an export.
DERIVED = frozenset({"fingerprints", "standings"})
_ROWS_AT_ONCE = 500


def export_book(book: Store, to: Path) -> Path:
    """Write all that a book holds: every line of its tables, and the photographs unaltered.

    Parameters
    ----------
    to : Path
        A folder that is empty or does not exist yet; or a file whose name ends in ``.zip``, which must not
        exist yet.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    BookError
        When it is there already or cannot be written, or a photograph of the book was altered or lost.
        Nothing is left behind then.
    """
    to = Path(to)
    is_zip = to.suffix.lower() == ".zip"
    if to.exists() and (is_zip or not to.is_dir() or any(to.iterdir())):
        raise BookError(f"'{to}' is there already; choose a folder or a file that does not exist yet.")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=to.parent, prefix=".exporting-") as name:
            made = Path(name) / "export"
            (made / PHOTOGRAPHS).mkdir(parents=True)
            with book.snapshot() as connection:
                _write_lines(connection, made / LINES)
                _copy_photographs(connection, book, made / PHOTOGRAPHS)
            if is_zip:
                made = _zipped(made, Path(name) / "export.zip")
            elif to.exists():
                to.rmdir()
            made.rename(to)
    except OSError as error:
        raise BookError(
            f"The export cannot be written to '{to}' ({error.strerror}); check the disk and the rights of the folder."
        ) from error
    return to


def exported_tables() -> list[Table]:
    """Tables of an export, those first to which others point; for modules of this room."""
    return [t for t in schema.metadata.sorted_tables if t.name not in DERIVED]


def _write_lines(connection: Connection, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as file:
        count = 0
        for line in _lines(connection):
            file.write(json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n")
            count += 1
        # Tells that nothing is missing at the end.
        file.write(json.dumps({"end": {"lines": count}}) + "\n")


def _lines(connection: Connection) -> Iterator[dict[str, Any]]:
    yield {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "revision": LATEST,
        "setstone": __version__,
        "exported": now().isoformat(),
    }
    for table in exported_tables():
        query = select(table).order_by(*table.primary_key.columns)
        rows = connection.execute(query, execution_options={"yield_per": _ROWS_AT_ONCE})
        for row in rows.mappings():
            yield {"table": table.name, "row": {name: _plain(value) for name, value in row.items()}}


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value


def files_of(tables: Iterable[Table]) -> list[Select[Any]]:
    """Queries for the files that lie in the folder of photographs: those of stones and of micrometers."""
    return [select(t.c.file, t.c.sha256, t.c.name) for t in tables if "file" in t.columns]


def _copy_photographs(connection: Connection, book: Store, to: Path) -> None:
    rows = [row for query in files_of(exported_tables()) for row in connection.execute(query)]
    for row in rows:
        source = book.photographs_folder / row.file
        if not source.is_file() or sha256_of(source) != row.sha256:
            raise BookError(
                f"The photograph '{row.name}' was altered or lost in the book ({source}); "
                "add the original again, and it is put back in its place, then export again."
            )
        file_away(source, to / row.file, row.sha256)


def _zipped(folder: Path, to: Path) -> Path:
    # Photographs are compressed already.
    with zipfile.ZipFile(to, "w", zipfile.ZIP_STORED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                kind = zipfile.ZIP_DEFLATED if path.name == LINES else zipfile.ZIP_STORED
                archive.write(path, path.relative_to(folder).as_posix(), kind)
    shutil.rmtree(folder)
    return to
