"""Whether a book is whole: its database, photographs, references, signatures; and the repair of what can be made anew."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from sqlalchemy import Connection, func, select

from setstone.record import schema
from setstone.record.clock import now
from setstone.record.errors import BookError
from setstone.record.examinations import read_examination
from setstone.record.exporting import files_of
from setstone.record.filing import sha256_of
from setstone.record.journal import note
from setstone.record.standing import SIGNING, refresh_all, stale
from setstone.record.store import Store

#: Where files are moved that belong to nothing in the book.
SET_ASIDE = "set-aside"
#: A younger file may be one that another program is adding just now.
_SETTLED = timedelta(days=1)


@dataclass(frozen=True)
class Trouble:
    """Something wrong with a book.

    Parameters
    ----------
    what : str
        One sentence.
    remedy : str
        What to do, in one sentence.
    repairable : bool
        Whether `repair_book` puts it right.
    """

    what: str
    remedy: str
    repairable: bool = False


@dataclass(frozen=True)
class Verified:
    """What was looked at, and what is wrong.

    Parameters
    ----------
    stones, photographs, examinations, signatures, journal_lines : int
        How many were looked at.
    troubles : tuple of Trouble
        Empty for a book that is whole.
    """

    stones: int
    photographs: int
    examinations: int
    signatures: int
    journal_lines: int
    troubles: tuple[Trouble, ...]


_REPAIR = "'setstone check --repair' makes it anew."
_RESTORE = "restore the book from your last backup; nothing in it can make this anew."


def check_book(book: Store) -> Verified:
    """Verify all of a book; nothing is changed.

    That it is a book, and of a revision this setstone knows, `Book.open` has seen to.

    Returns
    -------
    Verified
    """
    with book.snapshot() as connection:
        count = [
            connection.execute(select(func.count()).select_from(table)).scalar() or 0
            for table in (schema.stones, schema.examinations, schema.signatures, schema.journal)
        ]
        known = [
            row for query in files_of(schema.metadata.sorted_tables) for row in connection.execute(query)
        ]
        troubles = [
            *_database(connection, book),
            *_references(connection),
            *_unreadable(connection),
            *_signatures(connection),
        ]
        if not troubles:  # else they do not tell how a stone stands
            troubles += _standings(connection)
    # Without a transaction: it takes long, and a book only ever gets files, so none that is named can go meanwhile.
    troubles += _photographs(book, {row.file: (row.sha256, row.name) for row in known})
    spare = strays(book)
    if spare:
        names = ", ".join(f"'{p.name}'" for p in spare[:3]) + (" …" if len(spare) > 3 else "")
        what = f"{len(spare)} files among the photographs belong to nothing in the book, as after an interruption ({names})."
        troubles.append(
            Trouble(what, f"'setstone check --repair' moves them to the folder '{SET_ASIDE}'.", True)
        )
    stones, examinations, signatures, lines = count
    return Verified(stones, len({r.file for r in known}), examinations, signatures, lines, tuple(troubles))


def repair_book(book: Store, *, by: str) -> tuple[str, ...]:
    """Make anew what follows from the rest of the book, and move aside what belongs to nothing in it.

    No original and nothing a person entered is changed.

    Parameters
    ----------
    by : str
        Who repairs, for the journal.

    Returns
    -------
    tuple of str
        What was done, one sentence each; empty when there was nothing to do.

    Raises
    ------
    BookError
        When the book cannot be written.
    """
    done = []
    with book.atomic() as connection:
        if book.database.rebuild_indexes(connection):
            done.append("The indexes of the database were made anew.")
        if not list(_references(connection)) and stale(connection):
            refresh_all(connection)
            done.append("How the stones stand, for lists and search, was worked out anew.")
        # Under the lock of whoever writes: what is named meanwhile is seen.
        for path in strays(book):
            aside = book.folder / SET_ASIDE
            try:
                aside.mkdir(exist_ok=True)
                path.rename(aside / path.name)
            except OSError as error:
                raise BookError(
                    f"'{path}' cannot be moved to '{aside}' ({error.strerror}); check the disk and the rights of the folder."
                ) from error
            done.append(f"'{path.name}', which belongs to nothing in the book, was moved to '{SET_ASIDE}'.")
        if done:
            note(connection, now(), by, "repair book", book.folder.name, after={"done": done})
    return tuple(done)


def strays(book: Store) -> tuple[Path, ...]:
    """Find files among the photographs that nothing in the book names, and that nobody is adding just now."""
    with book.snapshot() as connection:
        known = {
            row.file for query in files_of(schema.metadata.sorted_tables) for row in connection.execute(query)
        }
    before = (now() - _SETTLED).timestamp()
    return tuple(
        path
        for path in sorted(book.photographs_folder.iterdir())
        if path.name not in known and path.lstat().st_mtime < before
    )


def _database(connection: Connection, book: Store) -> Iterator[Trouble]:
    for fault, in_an_index in book.database.faults(connection):
        yield Trouble(
            f"The database is damaged: {fault}.",
            _REPAIR if in_an_index else _RESTORE.capitalize(),
            in_an_index,
        )
    guarded = book.database.guarded_tables(connection)
    for name in sorted(schema.ONLY_GROW - guarded):
        yield Trouble(
            f"The database no longer refuses changes to the lines of '{name}': somebody took its guard away.",
            "Compare the book with your last backup, and restore that.",
        )


def _references(connection: Connection) -> Iterator[Trouble]:
    for table in schema.metadata.sorted_tables:
        for key in table.foreign_keys:
            parent = key.column
            other = parent.table.alias()
            lost = (
                select(func.count())
                .select_from(table)
                .where(key.parent.is_not(None), key.parent.not_in(select(other.c[parent.name])))
            )
            number = connection.execute(lost).scalar()
            if number:
                yield Trouble(
                    f"{number} lines of '{table.name}' point by '{key.parent.name}' to lines of '{parent.table.name}' that are not there.",
                    _RESTORE.capitalize(),
                )


def _unreadable(connection: Connection) -> Iterator[Trouble]:
    """What was entered must be readable as what it is: values of every line, and all of every examination."""
    for table in schema.metadata.sorted_tables:
        try:
            for _ in connection.execute(select(table), execution_options={"yield_per": 500}):
                pass
        except (ValueError, TypeError) as error:
            yield Trouble(f"A line of '{table.name}' cannot be read ({error}).", _RESTORE.capitalize())
            return
    for number in connection.execute(select(schema.examinations.c.id)).scalars().all():
        try:
            read_examination(connection, number)
        except Exception as error:
            yield Trouble(
                f"Examination {number} cannot be read ({type(error).__name__}: {error}).",
                "Examine the stone again; the photographs and earlier examinations are kept.",
            )


def _signatures(connection: Connection) -> Iterator[Trouble]:
    """Each signature is told by the journal too, and holds the version it stands for, with its photographs."""
    s, j = schema.signatures.c, schema.journal.c
    told = {
        (row.stone_id, row.at, row.by, row.action == SIGNING[0])
        for row in connection.execute(select(j.stone_id, j.at, j.by, j.action).where(j.action.in_(SIGNING)))
    }
    kept = {sha256[:12] for sha256 in connection.execute(select(schema.photographs.c.sha256)).scalars()}
    newest: dict[int, int] = {}
    for row in connection.execute(select(schema.signatures).order_by(s.id)):
        entry = f"The signature of {row.by} of {row.at:%Y-%m-%d %H:%M} UTC"
        if (row.stone_id, row.at, row.by, row.in_force) not in told:
            yield Trouble(f"{entry} is not told by the journal.", _RESTORE.capitalize())
        told.discard((row.stone_id, row.at, row.by, row.in_force))
        if row.version is None:  # of a setstone that kept none yet
            continue
        before = newest.get(row.stone_id, 0)
        if row.version not in (before, before + 1):
            yield Trouble(
                f"{entry} is of version {row.version}, which does not follow version {before}.",
                _RESTORE.capitalize(),
            )
        newest[row.stone_id] = max(before, row.version)
        if not row.in_force:
            continue
        if not isinstance(row.state, dict):
            yield Trouble(f"{entry} does not hold the version it stands for.", _RESTORE.capitalize())
            continue
        for name in row.state:
            if name.startswith("photograph ") and name.removeprefix("photograph ") not in kept:
                yield Trouble(
                    f"{entry} stands for the {name}…, which the book does not name.", _RESTORE.capitalize()
                )
    for _, at, by, _ in sorted(told, key=str):
        yield Trouble(
            f"The journal tells of a signature by {by} of {at:%Y-%m-%d %H:%M} UTC that is not there.",
            _RESTORE.capitalize(),
        )


def _standings(connection: Connection) -> Iterator[Trouble]:
    number = len(stale(connection))
    if number:
        yield Trouble(
            f"Lists and search show {number} {'stone' if number == 1 else 'stones'} otherwise than the book says.",
            _REPAIR,
            True,
        )


def _photographs(book: Store, known: dict[str, tuple[str, str]]) -> Iterator[Trouble]:
    for file, (sha256, name) in known.items():
        path = book.photographs_folder / file
        try:
            state = "" if sha256_of(path) == sha256 else "was altered"
        except FileNotFoundError:
            state = "is lost"
        except OSError as error:
            state = f"cannot be read ({error.strerror})"
        if state:
            yield Trouble(
                f"The photograph '{name}' {state} ({path}).",
                "Add the original again with 'setstone photo add', which puts it back, or restore your last backup.",
            )
