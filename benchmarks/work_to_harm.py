"""Pieces of work on a book, each with what must be true of it wherever it was broken off; for `killed_work.py` and `failing_disk.py`."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from made_up import examination, line
from PIL import Image

from setstone.annotate.handout import write_handout
from setstone.annotate.package.checking import check_package
from setstone.annotate.package.key import workshop_key
from setstone.annotate.package.writing import write_package
from setstone.annotate.texts import texts_in
from setstone.record.backing_up import back_up, restore
from setstone.record.book import Book, starting
from setstone.record.errors import BookError
from setstone.record.exporting import export_book
from setstone.record.importing import import_book
from setstone.record.place import place_of
from setstone.record.upgrading import make_tables
from setstone.record.verifying import check_book
from setstone.record.vocabulary import FindingKind, Verdict

#: Told once a piece of work has returned, as a command tells by its end.
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Work:
    """One kind of work.

    Parameters
    ----------
    name : str
    do : callable
        Works in a folder, told how often to; tells of each piece that is done.
    kept : callable
        Which of these pieces are found there afterwards; raises where something half is.
    """

    name: str
    do: Callable[[Path, Tell, int], None]
    kept: Callable[[Path], set[str]]


def make(folder: Path) -> None:
    """Make what all work begins from."""
    (folder / "new").mkdir(parents=True)
    for number in range(8):
        _picture(folder / "new" / f"{number}.png", number)
    with Book.create(folder / "book", workshop="Workshop on the Quay") as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")
        photograph, _ = book.add_photograph(stone, _picture(folder / "white.png", 99))
        book.save_examination(
            stone,
            examination(*(line(float(x)) for x in range(150, 650, 25))),
            occasion="as received",
            white=photograph.sha256,
            blue=None,
            by="Ada",
        )
        book.sign(stone, by="Ada")
        export_book(book, folder / "export")
        back_up(book, folder / "backup.zip")
    with starting(place_of(folder / "old")) as old, old.rebuilding() as connection:
        make_tables(connection, old, "0001")
        connection.exec_driver_sql("INSERT INTO book (id, workshop) VALUES (1, 'Quay')")
        connection.exec_driver_sql(
            "INSERT INTO objects (id, name, name_key, description, added) VALUES (1, 'Box', 'box', '', '2025-01-01 00:00:00')"
        )
        for position in ("lid-1", "lid-2", "lid-3"):
            connection.exec_driver_sql(
                "INSERT INTO stones (object_id, position, position_key, claimed_as, added) "
                "VALUES (1, ?, ?, 'ruby', '2025-01-01 00:00:00')",
                (position, position),
            )
    old.close()
    workshop_key(folder / "key.pem")


def _picture(path: Path, seed: int) -> Path:
    tone = np.random.default_rng(seed).integers(100, 200, (25, 25, 3)).astype(np.uint8)
    Image.fromarray(tone.repeat(32, axis=0).repeat(32, axis=1)).save(path)
    return path


def require_whole(folder: Path) -> None:
    """Open a book and verify all of it."""
    with Book.open(folder) as book:
        found = check_book(book)
        assert not found.troubles, found.troubles


def _add(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        for number in range(times):
            entry, _ = book.add_photograph(book.stone("lid-3"), folder / "new" / f"{number}.png", by="Ada")
            tell(entry.name)


def _added(folder: Path) -> set[str]:
    require_whole(folder / "book")
    with Book.open(folder / "book") as book:
        return {p.name for p in book.photographs(book.stone("lid-3"))}


def _examine(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        stone = book.stone("lid-3")
        white = book.photographs(stone)[0].sha256
        for _ in range(times):
            entry = book.save_examination(
                stone,
                examination(line(250.0), line(400.0)),
                occasion="before",
                white=white,
                blue=None,
                by="Ada",
            )
            tell(str(entry.id))


def _examined(folder: Path) -> set[str]:
    require_whole(folder / "book")
    with Book.open(folder / "book") as book:
        return {str(e.id) for e in book.examinations(book.stone("lid-3"))}


def _review(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        entry = book.examination(book.stone("lid-3"), "as received")
        for number in range(1, times + 1):
            book.decide(entry, number, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
            tell(str(number))


def _reviewed(folder: Path) -> set[str]:
    require_whole(folder / "book")
    with Book.open(folder / "book") as book:
        entry = book.examination(book.stone("lid-3"), "as received")
        return {str(c.number) for c in entry.candidates if c.decision is not None}


def _sign(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        stone = book.stone("lid-3")
        for _ in range(times):
            book.add_remark(stone, "old glue", by="Ada")
            tell(f"remark {len(book.remarks(stone))}")
            book.sign(stone, by="Ada")
            tell(f"version {len(book.versions(stone))}")


def _signed(folder: Path) -> set[str]:
    require_whole(folder / "book")
    with Book.open(folder / "book") as book:
        stone = book.stone("lid-3")
        remarks = {f"remark {n + 1}" for n in range(len(book.remarks(stone)))}
        return remarks | {f"version {v.number}" for v in book.versions(stone)}


def _hand_out(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        for number in range(times):
            write_handout(book, book.stones(), folder / f"{number % 2}.html")
            tell(f"{number % 2}.html")


def _handed_out(folder: Path) -> set[str]:
    require_whole(folder / "book")
    found = {p.name: p.read_text() for p in folder.glob("*.html")}
    assert all(text.rstrip().endswith("</html>") for text in found.values()), "half a hand-out"
    return set(found)


def _pack(folder: Path, tell: Tell, times: int) -> None:
    key = workshop_key(folder / "key.pem")
    with Book.open(folder / "book") as book:
        for number in range(times):
            write_package(book, book.stones(), folder / f"{number}.bag.zip", key)
            tell(f"{number}.bag.zip")


def _packed(folder: Path) -> set[str]:
    require_whole(folder / "book")
    found = list(folder.glob("*.bag.zip"))
    for package in found:
        assert not check_package(package, texts_in("en")).problems, "half a package"
    return {p.name for p in found}


def _migrate(folder: Path, tell: Tell, times: int) -> None:  # noqa: ARG001 once only
    with Book.open(folder / "old") as book:
        tell(str(len(book.stones())))


def _migrated(folder: Path) -> set[str]:
    require_whole(folder / "old")
    with Book.open(folder / "old") as book:
        return {str(len(book.stones()))}


def _import(folder: Path, tell: Tell, times: int) -> None:
    for number in range(times):
        import_book(folder / "export", folder / f"imported-{number}", by="Ada").close()
        tell(f"imported-{number}")


def _imported(folder: Path) -> set[str]:
    require_whole(folder / "book")
    found = set()
    for made in folder.glob("imported-*"):
        try:
            require_whole(made)
        except BookError as error:
            if "was never finished" not in str(error) and "holds no book" not in str(error):
                raise  # else it is not taken for a book, and said so
            continue
        found.add(made.name)
    return found


def _back_up(folder: Path, tell: Tell, times: int) -> None:
    with Book.open(folder / "book") as book:
        for number in range(times):
            back_up(book, folder / f"{number}.backup.zip")
            tell(f"{number}.backup.zip")


def _backed_up(folder: Path) -> set[str]:
    require_whole(folder / "book")
    found = list(folder.glob("*.backup.zip"))
    for number, file in enumerate(found):
        restore(file, folder / f"tried-{number}")
        assert dump(folder / f"tried-{number}") == dump(folder / "book"), "a backup is not the book"
        shutil.rmtree(folder / f"tried-{number}")
    return {f.name for f in found}


def _restore(folder: Path, tell: Tell, times: int) -> None:
    for number in range(times):
        restore(folder / "backup.zip", folder / f"restored-{number}")
        tell(f"restored-{number}")


def _restored(folder: Path) -> set[str]:
    found = list(folder.glob("restored-*"))
    for made in found:
        require_whole(made)
    return {f.name for f in found}


def dump(folder: Path) -> list[str]:
    """Every table and line of a book as SQL."""
    with closing(sqlite3.connect(folder / "book.db")) as database:
        return list(database.iterdump())


ALL = (
    Work("adding photographs", _add, _added),
    Work("examining", _examine, _examined),
    Work("reviewing", _review, _reviewed),
    Work("remarks and signatures", _sign, _signed),
    Work("hand-outs", _hand_out, _handed_out),
    Work("packages", _pack, _packed),
    Work("bringing up to date", _migrate, _migrated),
    Work("importing", _import, _imported),
    Work("backing up", _back_up, _backed_up),
    Work("restoring", _restore, _restored),
)
