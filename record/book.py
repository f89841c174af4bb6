"""The book: a workshop's record, a folder with one database and the photographs."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import select

from setstone.record import comparisons as _comparisons
from setstone.record import deciding, inventory, notes, redrawing, schema, signing
from setstone.record import examinations as _examinations
from setstone.record import facts as _facts
from setstone.record import journal as _journal
from setstone.record import occasions as _occasions
from setstone.record import photographs as _photographs
from setstone.record import picturing as _picturing
from setstone.record import progress as _progress
from setstone.record import removing as _removing
from setstone.record import setups as _setups
from setstone.record import versions as _versions
from setstone.record import work as _work
from setstone.record.entries import ObjectEntry
from setstone.record.errors import BookError
from setstone.record.place import PHOTOGRAPHS, Place, place_of
from setstone.record.store import Store
from setstone.record.text import clean, operator
from setstone.record.upgrading import bring_up_to_date, set_up


class Book(Store):
    """A workshop's record.

    Each method is the function of the same name in a module of this room; a book is opened with
    `Book.open` and closed by the end of its ``with`` block.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, Book.create(Path(folder) / "book") as book:
    ...     box = book.add_object("Presentation snuff box")
    ...     stone = book.add_stone(box, "lid-3", claimed_as="ruby")
    ...     book.stone("LID-3").full_name
    'Presentation snuff box/lid-3'
    """

    add_object = inventory.add_object
    objects = inventory.objects
    correct_object = inventory.correct_object
    picture_object = _picturing.picture_object
    object_photograph = _picturing.object_photograph
    place_stone = _picturing.place_stone
    add_stone = inventory.add_stone
    stones = inventory.stones
    stone = inventory.find_stone
    correct_stone = inventory.correct_stone
    remove_stone = inventory.remove_stone
    restore_stone = inventory.restore_stone
    removed_stones = inventory.removed_stones
    removed_stone = inventory.find_removed_stone
    add_photograph = _photographs.add_photograph
    photographs = _photographs.photographs
    photograph = _photographs.find_photograph
    known_photograph = _photographs.known_photograph
    correct_photograph = _photographs.correct_photograph
    remove_photograph = _removing.remove_photograph
    restore_photograph = _removing.restore_photograph
    add_setup = _setups.add_setup
    setups = _setups.setups
    setup = _setups.find_setup
    calibrate_setup = _setups.calibrate_setup
    calibrations = _setups.calibrations
    calibrated_scale = _setups.calibrated_scale
    occasions = _occasions.occasions
    save_examination = _examinations.save_examination
    examinations = _examinations.examinations
    examination = _examinations.examination
    latest_examination = _examinations.latest_examination
    latest_examinations = _examinations.latest_examinations
    decide = deciding.decide
    decisions = deciding.decisions
    add_finding = deciding.add_finding
    keep_comparison = _comparisons.keep_comparison
    comparisons = _comparisons.comparisons
    comparison_kept = _comparisons.comparison_kept
    differing = _comparisons.differing
    redraw_outline = redrawing.redraw_outline
    redraw_candidate = redrawing.redraw_candidate
    sign = signing.sign
    take_signature_back = signing.take_signature_back
    signature = signing.signature
    versions = _versions.versions
    difference = _versions.difference
    progress = _progress.progress
    search = _progress.search
    matching = _progress.matching
    state_fact = _facts.state_fact
    facts = _facts.facts
    add_work = _work.add_work
    take_work_back = _work.take_work_back
    work = _work.work
    products = _work.products
    add_reading = notes.add_reading
    add_line = notes.add_line
    correct_reading = notes.correct_reading
    withdraw_reading = notes.withdraw_reading
    readings = notes.readings
    is_set = notes.is_set
    add_remark = notes.add_remark
    take_remark_back = notes.take_remark_back
    remarks = notes.remarks
    journal = _journal.journal
    newest_journal_line = _journal.newest_journal_line
    stones_changed_since = _journal.stones_changed_since

    @classmethod
    def create(cls, where: Path | str, *, workshop: str = "", by: str = "") -> "Book":
        """Start a book in a folder that is empty or does not exist yet.

        Parameters
        ----------
        where : Path or str
            The folder, or the address of a database server with the shared folder of the photographs, as
            `setstone.record.place.place_of` takes it; the server has an empty database of that name.
        workshop : str, optional
            Whose book it is; shown on the hand-out.
        by : str, optional
            Who starts it.

        Returns
        -------
        Book
            Open.

        Raises
        ------
        BookError
            When the folder or the database is not empty or cannot be written.
        """
        workshop = clean(workshop, "The name of the workshop", longest=200, required=False)
        by = operator(by, required=False)
        with starting(place_of(where)) as book:
            set_up(book, workshop, by)
        return book

    @classmethod
    def open(cls, where: Path | str, *, read_only: bool = False) -> "Book":
        """Open a book, bringing one of an older version up to date.

        Parameters
        ----------
        where : Path or str
            The folder, or the address of a database server, as `create` takes it.
        read_only : bool
            Whether nothing shall be written. A folder that cannot be written is opened so in any case;
            `why_read_only` of the book says why.

        Returns
        -------
        Book

        Raises
        ------
        BookError
            When there is no book, or it is damaged, of a newer version, or cannot be read.
        """
        place = place_of(where)
        _require_book(place)
        book = cls(place, why_read_only="it was opened so" if read_only else _why_not_written(place))
        try:
            bring_up_to_date(book)
            if not book.photographs_folder.is_dir():
                raise BookError(
                    f"The photographs of the book '{place}' are missing; put its folder '{PHOTOGRAPHS}' back in place"
                    f"{'' if place.server is None else f' in {place.folder}'}."
                )
        except BaseException:
            book.close()
            raise
        return book

    @property
    def workshop(self) -> str:
        """Whose book it is."""
        with self.snapshot() as connection:
            return connection.execute(select(schema.book.c.workshop)).scalar() or ""

    def object(self, name: str | None = None) -> ObjectEntry:
        """Find an object by its name, or the only one there is.

        Raises
        ------
        BookError
            When there is none of that name, or several and none is named.
        """
        if name is not None:
            return inventory.find_object(self, name)
        everything = self.objects()
        if len(everything) == 1:
            return everything[0]
        if not everything:
            raise BookError(f"The book '{self.place}' holds no object yet; add one first.")
        raise BookError(
            f"The book '{self.place}' holds several objects; say which: "
            + ", ".join(f"'{o.name}'" for o in everything)
            + "."
        )


@contextmanager
def starting(place: Place) -> Iterator[Book]:
    """Make the folders of a book whose tables are made inside; nothing is left behind when that fails.

    For modules of this room.

    Yields
    ------
    Book
        Without any table; it stays open.
    """
    try:
        _require_empty(place)
        new_folder = not place.folder.exists()
        place.folder.mkdir(parents=True, exist_ok=True)
        place.photographs.mkdir()
    except OSError as error:
        raise BookError(
            f"The folder '{place.folder}' cannot be made or written ({error.strerror}); choose another place."
        ) from error
    book: Book | None = None
    try:
        book = Book(place)
        yield book
    except BaseException:
        if book is not None:
            book.close()
        # Nothing of a book that never was stays behind to be in the way of the next try.
        place.database.unlink(missing_ok=True)
        shutil.rmtree(place.photographs)
        if new_folder:
            place.folder.rmdir()
        raise


def _require_empty(place: Place) -> None:
    folder = place.folder
    if place.database.exists():
        raise BookError(f"There is a book in '{folder}' already; open it, or choose another folder.")
    if folder.is_dir():
        if any(folder.iterdir()):
            raise BookError(
                f"The folder '{folder}' is not empty; choose one that is empty or does not exist yet."
            )
    elif folder.exists():
        raise BookError(f"'{folder}' is a file, not a folder; choose another name.")


def _require_book(place: Place) -> None:
    """Say what is missing before SQLite would make an empty database of its own."""
    folder = place.folder
    try:
        if folder.is_file():
            raise BookError(f"'{folder}' is a file; give the folder of the book.")
        if not folder.is_dir():
            raise BookError(f"There is no folder '{folder}'; check its name, or start a book there.")
        if place.server is None and not place.database.is_file():
            raise BookError(
                f"The folder '{folder}' holds no book; choose the folder of your book, or start one."
            )
    except OSError as error:
        raise BookError(
            f"The folder '{folder}' cannot be read ({error.strerror}); check the rights of the folder."
        ) from error


def _why_not_written(place: Place) -> str:
    """Say why a book cannot be written: one on a read-only disk or share, or of somebody else."""
    for path in (place.folder, place.photographs, place.database):
        if path.exists() and not os.access(
            path, os.W_OK, effective_ids=os.access in os.supports_effective_ids
        ):
            return f"'{path}' cannot be written"
    return ""
