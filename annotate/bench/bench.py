"""The bench: one book at one window, what is chosen, and what a person does."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from psygnal import Signal

from setstone.annotate.bench import noting
from setstone.annotate.bench.choosing import in_order
from setstone.annotate.bench.presence import Presence
from setstone.annotate.bench.review import Review
from setstone.annotate.bench.steps import Step, Steps
from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LIKELY
from setstone.measure.scale import Scale
from setstone.record.before_after import BeforeAfter
from setstone.record.book import Book
from setstone.record.entries import (
    ComparisonEntry,
    ExaminationEntry,
    ObjectEntry,
    PhotographEntry,
    SetupEntry,
    StoneEntry,
)
from setstone.record.errors import BookError
from setstone.record.progress import Progress, Stage


class Bench:
    """One book at one window.

    Parameters
    ----------
    by : str
        Who works here.
    """

    #: Another book is open, or none.
    book_changed = Signal()
    #: Stones, or how far the work on them has come.
    stones_changed = Signal()
    #: Another stone or occasion is chosen.
    chosen = Signal()
    #: Photographs of the chosen stone.
    photographs_changed = Signal()
    #: The chosen occasion was examined, or another one is chosen.
    review_changed = Signal()
    #: Readings and remarks of the chosen stone.
    notes_changed = Signal()
    #: Something a person should know, in one sentence.
    said = Signal(str)

    def __init__(self, by: str = "") -> None:
        self.by = by
        self.steps = Steps()
        self.book: Book | None = None
        self.progress: tuple[Progress, ...] = ()
        self.stone: StoneEntry | None = None
        self.occasion = ""
        self.review: Review | None = None
        self._count_anew()
        self._presence: Presence | None = None
        self._last_line = 0

    # The book

    def open(self, where: Path | str, *, read_only: bool = False) -> None:
        """Open a book in place of the one that is open.

        Parameters
        ----------
        where : Path or str
            Its folder, or its address on a database server.
        read_only : bool
            Whether nothing shall be written.

        Raises
        ------
        BookError
            When it cannot be opened; the one that is open stays.
        """
        self._take(Book.open(where, read_only=read_only))

    def start(self, folder: Path, *, workshop: str = "") -> None:
        """Start a new book and open it.

        Raises
        ------
        BookError
            When it cannot be made; the one that is open stays.
        """
        self._take(Book.create(folder, workshop=workshop, by=self.by))

    def close(self) -> None:
        """Close the book."""
        if self.book is None:
            return
        self.book.close()
        if self._presence is not None:
            self._presence.leave()
            self._presence = None
        self.book, self.stone, self.review, self.occasion, self.progress = None, None, None, "", ()
        self.steps.forget()
        self._count_anew()
        self.book_changed.emit()

    @property
    def opened(self) -> Book:
        """The book; BookError when none is open."""
        if self.book is None:
            raise BookError("No book is open; open one first.")
        return self.book

    @property
    def required_stone(self) -> StoneEntry:
        """The chosen stone; BookError when none is."""
        if self.stone is None:
            raise BookError("No stone is chosen; choose one in the list first.")
        return self.stone

    @property
    def elsewhere(self) -> str:
        """Who has the book open at another window, in words; empty when nobody has."""
        return "" if self._presence is None else self._presence.other

    def _take(self, book: Book) -> None:
        self.close()
        self.book = book
        self._presence = Presence(book.folder, self.by)
        self._last_line = 0
        self._read_progress()
        self.book_changed.emit()
        self.stones_changed.emit()
        if self.progress:
            self.choose(
                next((p for p in self.progress if p.stage is not Stage.SIGNED), self.progress[0]).stone
            )
        if book.why_read_only:
            self.said.emit(f"This book is open for reading only, because {book.why_read_only}.")
        elif self.elsewhere:
            self.said.emit(
                f"This book is open in another window too ({self.elsewhere}); what is done there shows here, "
                "and nothing of it is overwritten."
            )

    def look_for_changes(self) -> bool:
        """Show what was done in another window meanwhile; return whether something was."""
        if self.book is None or self._newest_line() == self._last_line:
            return False
        self.refresh()
        return True

    def refresh(self) -> None:
        """Read everything that is shown from the book again."""
        self._read_progress()
        self.stones_changed.emit()
        if self.stone is not None and all(p.stone_id != self.stone.id for p in self.progress):
            self.choose(None)
            return
        self.photographs_changed.emit()
        self.notes_changed.emit()
        entry = self._latest()
        if self.review is not None and entry is not None and entry.id == self.review.entry.id:
            self.review.reload()
        elif self.review is not None or entry is not None:
            self._set_review(entry)

    # Objects and stones

    @property
    def objects(self) -> tuple[ObjectEntry, ...]:
        """Of the book, in the order they were added."""
        return () if self.book is None else self.book.objects()

    def add_object(self, name: str, *, description: str = "") -> ObjectEntry:
        """Add an object to the book; it stays, for nothing is lost by an object without stones."""
        added = self.opened.add_object(name, description=description, by=self.by)
        self.changed_here()
        return added

    def correct_object(self, entry: ObjectEntry, *, name: str) -> None:
        """Give an object another name."""
        book = self.opened

        def put(called: str) -> Callable[[], None]:
            def write() -> None:
                nonlocal entry
                entry = book.correct_object(entry, name=called, by=self.by)
                self.changed_here()
                if self.stone is not None and self.stone.object_id == entry.id:
                    self.stone = next(p.stone for p in self.progress if self.stone.id == p.stone_id)

            return write

        if name != entry.name:
            self.steps.take(Step(f"rename {entry.name}", put(name), put(entry.name)))

    def choose(self, stone: StoneEntry | None, occasion: str | None = None) -> None:
        """Choose a stone, and one of its occasions: the latest examined or photographed if not given."""
        if stone is not None and self.stone == stone and occasion in (None, self.occasion):
            return
        self.stone = stone
        self.occasion = "" if stone is None else occasion or self._last_occasion(stone)
        self.review = None
        entry = self._latest()
        if entry is not None:
            self.review = self._reviewing(entry)
        self.chosen.emit()
        self.photographs_changed.emit()
        self.notes_changed.emit()
        self.review_changed.emit()

    def choose_by(self, step: int, among: Sequence[int] | None = None) -> None:
        """Choose the stone that many places further, never beyond the ends.

        Parameters
        ----------
        step : int
        among : sequence of int, optional
            Numbers of stones in the order of a list; all, where none is given.
        """
        stones = {p.stone_id: p.stone for p in self.progress}
        ids = list(stones) if among is None else among
        if ids:
            at = ids.index(self.stone.id) + step if self.stone is not None and self.stone.id in ids else 0
            self.choose(stones[ids[min(len(ids) - 1, max(0, at))]])

    def add_stone(self, position: str, *, claimed_as: str = "", to: str = "") -> None:
        """Add a stone to an object; the object is added too where there is none of that name.

        Parameters
        ----------
        position : str
        claimed_as : str, optional
        to : str, optional
            Name of the object; the only one there is when not given.
        """
        book = self.opened
        if not to:
            to = book.object().name
        added: list[StoneEntry] = []

        def do() -> None:
            if added:
                book.restore_stone(added[0], by=self.by)
            else:
                with book.atomic():
                    known = {o.name.casefold(): o for o in book.objects()}
                    owner = known.get(to.casefold()) or book.add_object(to, by=self.by)
                    added.append(book.add_stone(owner, position, claimed_as=claimed_as, by=self.by))
            self.changed_here()
            self.choose(added[0])

        def undo() -> None:
            book.remove_stone(added[0], by=self.by)
            self._gone(added[0])

        self.steps.take(Step(f"add {position}", do, undo))

    def correct_stone(self, stone: StoneEntry, *, position: str, claimed_as: str) -> None:
        """Give a stone another position or claim."""
        book = self.opened

        def put(where: str, claim: str) -> Callable[[], None]:
            def write() -> None:
                nonlocal stone
                stone = book.correct_stone(stone, position=where, claimed_as=claim, by=self.by)
                if self.stone is not None and self.stone.id == stone.id:
                    self.stone = stone
                self.changed_here()
                self.chosen.emit()

            return write

        if (position, claimed_as) != (stone.position, stone.claimed_as):
            undo = put(stone.position, stone.claimed_as)
            self.steps.take(Step(f"correct {stone.position}", put(position, claimed_as), undo))

    def remove_stone(self, stone: StoneEntry) -> None:
        """Take a stone out of the book; undo brings it back with all that was done on it."""
        book = self.opened

        def do() -> None:
            book.remove_stone(stone, by=self.by)
            self._gone(stone)

        def undo() -> None:
            back = book.restore_stone(stone, by=self.by)
            self.changed_here()
            self.choose(back)

        self.steps.take(Step(f"remove {stone.position}", do, undo))

    def sign(self) -> None:
        """Sign the chosen stone."""
        book, stone = self.opened, self.required_stone

        def do() -> None:
            book.sign(stone, by=self.by)
            self.changed_here()

        def undo() -> None:
            book.take_signature_back(stone, by=self.by)
            self.changed_here()

        self.steps.take(Step(f"sign {stone.position}", do, undo))

    def take_signature_back(self) -> None:
        """Take the signature on the chosen stone back."""
        book, stone = self.opened, self.required_stone

        def do() -> None:
            book.take_signature_back(stone, by=self.by)
            self.changed_here()

        def undo() -> None:
            book.sign(stone, by=self.by)
            self.changed_here()

        self.steps.take(Step(f"take the signature on {stone.position} back", do, undo))

    @property
    def here(self) -> Progress | None:
        """How far the work on the chosen stone has come."""
        return next(
            (p for p in self.progress if self.stone is not None and p.stone_id == self.stone.id), None
        )

    # Photographs

    @property
    def photographs(self) -> tuple[PhotographEntry, ...]:
        """Of the chosen stone."""
        if self.book is None or self.stone is None:
            return ()
        return self.book.photographs(self.stone)

    @property
    def occasions(self) -> tuple[str, ...]:
        """Of the chosen stone, in the order they were photographed."""
        if self.book is None or self.stone is None:
            return ()
        return self.book.occasions(self.stone)

    def shown(self, lamp: Lamp) -> PhotographEntry | None:
        """The photograph to show in this light: the one examined, else the one added last."""
        there = [p for p in self.photographs if p.occasion == self.occasion]
        if self.review is not None:
            examined = self.review.entry.white if lamp is Lamp.WHITE else self.review.entry.blue
            for p in there:
                if p.sha256 == examined:
                    return p
        return next((p for p in reversed(there) if p.lamp is lamp), None)

    def picture(self, stone: StoneEntry) -> PhotographEntry | None:
        """The photograph that stands for a stone in a list: the one in white light added last, else any."""
        there = self.opened.photographs(stone)
        white = [p for p in there if p.lamp is Lamp.WHITE]
        chosen = white or list(there)
        return chosen[-1] if chosen else None

    def photographs_added(self, stone: StoneEntry, entries: Sequence[PhotographEntry]) -> None:
        """Take note of new photographs of a stone, which can be taken out again, and look at their occasion."""
        book, new = self.opened, True
        if not entries:
            self.changed_here()
            return

        def do() -> None:
            nonlocal new
            if not new:
                with book.atomic():
                    for entry in entries:
                        book.restore_photograph(entry, by=self.by)
                self._go_to(stone)
            new = False
            self._show_photographs(stone, entries[-1].occasion)

        def undo() -> None:
            with book.atomic():
                for entry in reversed(entries):
                    book.remove_photograph(entry, by=self.by)
            self._go_to(stone)
            self._show_photographs(stone, "")

        what = entries[0].name if len(entries) == 1 else f"{len(entries)} photographs"
        self.steps.take(Step(f"add {what} to {stone.position}", do, undo, examines=stone.id))

    def move_photograph(self, entry: PhotographEntry, to: StoneEntry) -> None:
        """Give a photograph to another stone."""
        book, back = self.opened, self.required_stone

        def put(owner: StoneEntry) -> Callable[[], None]:
            def write() -> None:
                nonlocal entry
                entry = book.correct_photograph(entry, stone=owner, by=self.by)
                self.changed_here()
                self.photographs_changed.emit()

            return write

        self.steps.take(Step(f"move {entry.name}", put(to), put(back), examines=to.id))

    def scale_of(self, entry: PhotographEntry) -> Scale | None:
        """Scale of a photograph: as a person set it, as it was examined with, of its setup, or as the file states."""
        if entry.scale is not None:
            return entry.scale
        examined = None
        if self.review is not None and self.review.entry.occasion == entry.occasion:
            examined = self.review.entry
        elif self.book is not None and self.stone is not None:
            examined = self.book.latest_examination(self.stone, entry.occasion)
        if examined is not None and entry.sha256 in (examined.white, examined.blue):
            return examined.result.scale
        calibrated = None if self.book is None else self.book.calibrated_scale(entry)[0]
        if calibrated is not None or entry.um_per_px is None:
            return calibrated
        from setstone.record.examining import given_scale  # loads the whole examination

        return given_scale(entry.um_per_px)

    @property
    def left_elsewhere(self) -> int:
        """Likely candidates nobody has judged yet on the other occasions of the chosen stone."""
        here = self.here
        return 0 if here is None else max(0, here.left - (self.review.likely_left if self.review else 0))

    def choose_unjudged_occasion(self) -> None:
        """Look at the first other occasion of the chosen stone on which a likely candidate is not judged yet."""
        for entry in self.opened.latest_examinations(self.required_stone):
            waits = any(c.decision is None and c.candidate.score >= LIKELY for c in entry.candidates)
            if waits and entry.occasion != self.occasion:
                self.choose(self.stone, entry.occasion)
                return

    def correct_photograph(
        self,
        entry: PhotographEntry,
        *,
        lamp: Lamp | None = None,
        occasion: str | None = None,
        scale: Scale | None = None,
        setup: SetupEntry | Literal["none"] | None = None,
    ) -> None:
        """Correct the light, the occasion, the scale or the optical setup of a photograph."""
        book = self.opened

        def put(**values: object) -> Callable[[], None]:
            def write() -> None:
                nonlocal entry
                entry = book.correct_photograph(entry, by=self.by, **values)  # type: ignore[arg-type]
                if "occasion" in values:
                    self.occasion = str(values["occasion"])
                self.changed_here()
                self.photographs_changed.emit()
                self._set_review(self._latest())

            return write

        old: dict[str, object] = {}
        new: dict[str, object] = {}
        if lamp is not None and lamp is not entry.lamp:
            old["lamp"], new["lamp"] = entry.lamp, lamp
        if occasion is not None and occasion != entry.occasion:
            old["occasion"], new["occasion"] = entry.occasion, occasion
        if scale is not None:
            old["scale"], new["scale"] = entry.scale or "none", scale
        if setup is not None and (None if setup == "none" else setup.id) != entry.setup_id:
            old["setup"] = "none" if entry.setup_id is None else book.setup(entry.setup_id)
            new["setup"] = setup
        if new:
            self.steps.take(Step(f"correct {entry.name}", put(**new), put(**old)))

    # Readings, remarks, facts and work

    enter_reading = noting.enter_reading
    withdraw_reading = noting.withdraw_reading
    add_remark = noting.add_remark
    take_remark_back = noting.take_remark_back
    state_fact = noting.state_fact
    picture_object = noting.picture_object
    place_stone = noting.place_stone
    add_work = noting.add_work
    take_work_back = noting.take_work_back

    def noted(self, stone: StoneEntry | None = None) -> None:
        """Take note that something was noted of a stone, which is shown then, or of an object."""
        self.changed_here()
        if stone is not None:
            self._go_to(stone)
        self.notes_changed.emit()

    # Examination

    def to_examine(self) -> Sequence[tuple[StoneEntry, str]]:
        """Stones and occasions that are photographed and not examined."""
        return [(p.stone, occasion) for p in self.progress for occasion in p.to_examine]

    def examined(self, entry: ExaminationEntry) -> None:
        """Take note of a new examination."""
        self.changed_here()
        # Steps so far may speak of numbers that mean something else now, or of photographs that must stay.
        self.steps.forget(entry.stone_id)
        if self.stone is not None and entry.stone_id == self.stone.id and entry.occasion == self.occasion:
            self._set_review(entry)

    def keep_comparison(self, found: BeforeAfter) -> ComparisonEntry:
        """Keep a comparison in the book; the review of its days raises what is seen on one of them only."""
        kept = self.opened.keep_comparison(found, by=self.by)
        self.changed_here()
        if self.stone is not None and kept.stone_id == self.stone.id:
            self._set_review(self._latest())
        return kept

    def changed_here(self) -> None:
        """Read again how far the work has come, after something was done here."""
        self._read_progress()
        self.stones_changed.emit()

    # Undo

    def undo(self) -> str:
        """Take the last step back; return its title."""
        return self.steps.undo()

    def redo(self) -> str:
        """Do the step again that was taken back last; return its title."""
        return self.steps.redo()

    # Inside

    def _count_anew(self) -> None:
        """Entries stand under the numbers the book gives them: nothing was entered anew yet."""
        self.reading_numbers, self.remark_numbers = noting.Numbers(), noting.Numbers()
        self.work_numbers = noting.Numbers()

    def _read_progress(self) -> None:
        there: tuple[Progress, ...] = ()
        if self.book is not None:
            newest = self._newest_line()
            if self.progress:
                # Only what was changed since: a book may hold thousands of stones.
                changed = self.book.stones_changed_since(self._last_line)
                kept = tuple(p for p in self.progress if p.stone_id not in changed)
                there = kept + self.book.progress(changed)
            else:
                there = self.book.progress()
            self._last_line = newest
        self.progress = tuple(sorted(there, key=lambda p: (p.object_id, in_order(p.position))))

    def _newest_line(self) -> int:
        return 0 if self.book is None else self.book.newest_journal_line()

    def _gone(self, stone: StoneEntry) -> None:
        self.changed_here()
        if self.stone is not None and self.stone.id == stone.id:
            self.choose(self.progress[0].stone if self.progress else None)

    def _go_to(self, stone: StoneEntry) -> None:
        """Choose a stone, as it is called now, where another one is chosen."""
        if self.stone is None or self.stone.id != stone.id:
            self.choose(next((p.stone for p in self.progress if p.stone_id == stone.id), None))

    def _show_photographs(self, stone: StoneEntry, occasion: str) -> None:
        """Show the photographs of a stone as they are now, where it is chosen; of its last occasion when none is given."""
        self.changed_here()
        if self.stone is not None and self.stone.id == stone.id:
            self.occasion = occasion or self._last_occasion(stone)
            self.photographs_changed.emit()
            self._set_review(self._latest())

    def _last_occasion(self, stone: StoneEntry) -> str:
        known = self.opened.occasions(stone)
        return known[-1] if known else ""

    def _latest(self) -> ExaminationEntry | None:
        if self.book is None or self.stone is None or not self.occasion:
            return None
        return self.book.latest_examination(self.stone, self.occasion)

    def _reviewing(self, entry: ExaminationEntry) -> Review:
        review = Review(self.opened, self.required_stone, entry, lambda: self.by, self.steps)
        review.changed.connect(self.changed_here)
        return review

    def _set_review(self, entry: ExaminationEntry | None) -> None:
        self.review = None if entry is None else self._reviewing(entry)
        self.review_changed.emit()
