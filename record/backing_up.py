"""A whole book in one file, as it stands at one moment, and back again to the last byte.

For reading by other programs there is `exporting`; a backup is the database itself, so a restored book is the same book.
"""

import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

from setstone.record import sqlite
from setstone.record.errors import BookError
from setstone.record.filing import sha256_of, sync_file, sync_folder
from setstone.record.importing import DAMAGED
from setstone.record.place import DATABASE, PHOTOGRAPHS, Place
from setstone.record.store import Store

#: Names of all that lies in a backup: never a way out of the folder.
_NAME = re.compile(rf"{DATABASE}|{PHOTOGRAPHS}/[0-9a-f]{{64}}(\.[a-z0-9]{{1,8}}){{1,2}}")
_FILES = "SELECT file, name FROM {}"


def back_up(book: Store, to: Path) -> tuple[str, ...]:
    """Write a book to one file; others may go on writing in it meanwhile.

    Parameters
    ----------
    to : Path
        A file ending in ``.zip``; it must not exist yet. It is there whole or not at all.

    Returns
    -------
    tuple of str
        Names of photographs that are lost, and so are not in the backup; the rest is.

    Raises
    ------
    BookError
        When the file is there already or cannot be written, or the book is on a server.
    """
    to = Path(to)
    if book.place.server is not None:
        raise BookError(
            "The database of this book is on a server, which has its own backup (PostgreSQL's pg_dump, with the folder of the "
            "photographs); or write the whole book with 'setstone export'."
        )
    if to.exists():
        raise BookError(f"'{to}' is there already; choose a file that does not exist yet.")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=to.parent, prefix=".backing-up-") as name:
            database, archive = Path(name) / DATABASE, Path(name) / "backup.zip"
            # The database first: files are there before the rows that name them, and stay.
            with (
                book.snapshot(),
                closing(sqlite3.connect(f"{book.place.database.as_uri()}?mode=ro", uri=True)) as source,
                closing(sqlite3.connect(database)) as target,
            ):
                source.backup(target)
            lost = _pack(database, book.photographs_folder, archive)
            sync_file(archive)
            # Not over a file that came meanwhile.
            os.link(archive, to) if hasattr(os, "link") else archive.rename(to)
        sync_folder(to.parent)
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise BookError(
            f"The backup cannot be written to '{to}' ({reason}); check the disk and the rights of the folder."
        ) from error
    return lost


def restore(source: Path, folder: Path) -> None:
    """Bring a book back from its backup; each of its files is compared with what the book knows of it.

    Parameters
    ----------
    source : Path
        The backup; only read.
    folder : Path
        Where the book shall be: an empty folder, or one that does not exist yet. It is there whole or not at all.

    Raises
    ------
    BookError
        When the backup is damaged or none, or the folder is not empty or cannot be written.
    """
    source, folder = Path(source), Path(folder).absolute()
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise BookError(f"'{folder}' is not an empty folder; choose one that is empty or does not exist yet.")
    if not source.is_file():
        raise BookError(f"There is no backup '{source}'; check its name.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".restoring-") as name:
            made = Place(Path(name) / "book")
            made.photographs.mkdir(parents=True)
            _unpack(source, made)
            _require_database(source, made)
            for place in (made.photographs, made.folder):
                sync_folder(place)
            if folder.exists():
                folder.rmdir()
            made.folder.rename(folder)
        sync_folder(folder.parent)
    except OSError as error:
        raise BookError(
            f"The book cannot be restored to '{folder}' ({error.strerror}); check the disk and the rights of the folder."
        ) from error


def _pack(database: Path, photographs: Path, archive: Path) -> tuple[str, ...]:
    lost = []
    # Photographs are compressed already.
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_STORED) as packed:
        packed.write(database, DATABASE, zipfile.ZIP_DEFLATED)
        for file, name in sorted(_named(database).items()):
            try:
                packed.write(photographs / file, f"{PHOTOGRAPHS}/{file}")
            except FileNotFoundError:
                lost.append(name)
    return tuple(lost)


def _named(database: Path) -> dict[str, str]:
    """Files the tables name, whatever revision they are of, and what the photographs are called."""
    with closing(sqlite3.connect(database)) as opened:
        tables = [name for (name,) in opened.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        having = [t for t in tables if "file" in [c[1] for c in opened.execute(f"PRAGMA table_info('{t}')")]]
        return {file: name for t in having for file, name in opened.execute(_FILES.format(t))}


def _unpack(source: Path, made: Place) -> None:
    try:
        with zipfile.ZipFile(source) as packed:
            if DATABASE not in packed.namelist():
                raise BookError(f"'{source}' is no backup of a book; choose another.")
            for entry in packed.infolist():
                if not _NAME.fullmatch(entry.filename):
                    raise BookError(
                        f"'{source}' holds '{entry.filename[:80]}', which no backup does; choose another."
                    )
                path = made.folder / entry.filename
                with packed.open(entry) as content, path.open("xb") as file:
                    shutil.copyfileobj(content, file, 1 << 20)
                sync_file(path)
                if entry.filename != DATABASE:
                    path.chmod(0o444)
                    if sha256_of(path) != path.name[:64]:
                        raise BookError(
                            f"The photograph '{path.name}' in '{source}' was altered before it was backed up or since; "
                            "take another backup, or unpack this one by hand."
                        )
    except (*DAMAGED, RuntimeError) as error:
        raise BookError(f"The backup '{source}' is damaged ({error}); take another.") from error


def _require_database(source: Path, made: Place) -> None:
    with closing(sqlite3.connect(made.database)) as opened:
        try:
            whole = opened.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            is_book = opened.execute("PRAGMA application_id").fetchone() == (sqlite.APPLICATION_ID,)
        except sqlite3.DatabaseError:
            whole = is_book = False
    if not (whole and is_book):
        raise BookError(f"The database in '{source}' is damaged or no book's; take another backup.")
