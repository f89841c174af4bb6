"""What a person notes of the chosen stone and its object: readings, remarks, facts, work; each can be taken back.

Nothing is erased by that: what is undone is withdrawn, what is done again is entered anew, and the journal keeps both.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setstone.annotate.bench.steps import Step
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.bench.typed_work import TypedWork
from setstone.record.entries import ObjectEntry, ReadingEntry, RemarkEntry, StoneEntry, WorkEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import Fact

if TYPE_CHECKING:
    from setstone.annotate.bench.bench import Bench

#: Reasons the book keeps for what was undone.
_UNDONE, _UNDONE_CORRECTION = "entered and taken back", "the correction was taken back"


class Numbers:
    """Numbers under which entries stand now: one that is entered anew gets another one.

    Examples
    --------
    >>> numbers = Numbers()
    >>> numbers.moved(1, 4)
    >>> numbers.moved(4, 7)
    >>> numbers.now(1), numbers.now(2)
    (7, 2)
    """

    def __init__(self) -> None:
        self._next: dict[int, int] = {}

    def now(self, number: int) -> int:
        """Number of the entry that was entered under this one."""
        while number in self._next:
            number = self._next[number]
        return number

    def moved(self, number: int, to: int) -> None:
        """Take note that an entry stands under another number, where it does."""
        if to != number:
            self._next[number] = to


def enter_reading(bench: "Bench", typed: TypedReading, *, instead_of: int | None = None) -> ReadingEntry:
    """Enter a reading of the chosen stone.

    Parameters
    ----------
    bench : Bench
    typed : TypedReading
    instead_of : int, optional
        Number of the reading it corrects, which stays in the book, withdrawn.

    Returns
    -------
    ReadingEntry
    """
    book, stone, numbers, values = bench.opened, bench.required_stone, bench.reading_numbers, typed.values()
    made: list[ReadingEntry] = []
    former = None if instead_of is None else _reading(bench, stone, instead_of)

    def write(number: int | None, values: dict[str, Any], reason: str = "") -> ReadingEntry:
        if number is None:
            return book.add_reading(stone, **values, by=bench.by)
        return book.correct_reading(stone, number, **values, reason=reason, by=bench.by)

    def do() -> None:
        entry = write(None if former is None else numbers.now(former.id), _again(made[0]) if made else values)
        if made:
            numbers.moved(made[0].id, entry.id)
        made.append(entry)
        bench.noted(stone)

    def undo() -> None:
        number = numbers.now(made[0].id)
        if former is None:
            book.withdraw_reading(stone, number, reason=_UNDONE, by=bench.by)
        else:
            numbers.moved(former.id, write(number, _again(former), _UNDONE_CORRECTION).id)
        bench.noted(stone)

    what = "enter" if former is None else "correct"
    # Numbers of findings may mean others after the next examination.
    linked = values.get("findings") or (former is not None and former.findings)
    title = f"{what} {typed.test or 'reading'} {typed.value}"
    bench.steps.take(Step(title, do, undo, examines=stone.id if linked else None))
    return made[0]


def withdraw_reading(bench: "Bench", number: int, reason: str) -> None:
    """Say that a reading of the chosen stone does not hold; it stays in the book."""
    book, stone, numbers = bench.opened, bench.required_stone, bench.reading_numbers
    former = _reading(bench, stone, number)

    def do() -> None:
        book.withdraw_reading(stone, numbers.now(number), reason=reason, by=bench.by)
        bench.noted(stone)

    def undo() -> None:
        numbers.moved(number, book.add_reading(stone, **_again(former), by=bench.by).id)
        bench.noted(stone)

    linked_to = stone.id if former.findings else None
    bench.steps.take(Step(f"withdraw {former.test} {former.value}", do, undo, examines=linked_to))


def add_remark(bench: "Bench", text: str) -> RemarkEntry:
    """Enter a remark on the chosen stone."""
    book, stone, numbers = bench.opened, bench.required_stone, bench.remark_numbers
    made: list[RemarkEntry] = []

    def do() -> None:
        made.append(book.add_remark(stone, text, by=bench.by))
        numbers.moved(made[0].id, made[-1].id)
        bench.noted(stone)

    def undo() -> None:
        book.take_remark_back(stone, numbers.now(made[0].id), reason=_UNDONE, by=bench.by)
        bench.noted(stone)

    bench.steps.take(Step("enter a remark", do, undo))
    return made[0]


def take_remark_back(bench: "Bench", number: int, reason: str) -> None:
    """Say that a remark on the chosen stone does not hold; it stays in the book."""
    book, stone, numbers = bench.opened, bench.required_stone, bench.remark_numbers
    former = next((r for r in book.remarks(stone) if r.id == number), None)
    if former is None:
        raise BookError("This remark was taken back already; look at the list again.")

    def do() -> None:
        book.take_remark_back(stone, numbers.now(number), reason=reason, by=bench.by)
        bench.noted(stone)

    def undo() -> None:
        numbers.moved(number, book.add_remark(stone, former.text, by=bench.by).id)
        bench.noted(stone)

    bench.steps.take(Step("take a remark back", do, undo))


def state_fact(bench: "Bench", of: ObjectEntry | StoneEntry, fact: Fact, value: str) -> None:
    """Enter what is said of an object, or of how a stone sits in it; an empty text takes it back."""
    book = bench.opened
    before = next((f.value for f in book.facts(of) if f.fact is fact), "")

    def put(said: str) -> Callable[[], None]:
        def write() -> None:
            book.state_fact(of, fact, said, by=bench.by)
            bench.noted()

        return write

    if value.strip() != before:
        title = f"{fact} {value.strip()}" if value.strip() else f"take the {fact} back"
        bench.steps.take(Step(title, put(value), put(before)))


def picture_object(bench: "Bench", of: ObjectEntry, path: Path | None) -> None:
    """Keep a photograph of an object as a whole, or show none."""
    book = bench.opened
    before = book.object_photograph(of)

    def put(shown: Path | None) -> Callable[[], None]:
        def write() -> None:
            book.picture_object(of, shown, by=bench.by)
            bench.noted()

        return write

    title = f"photograph of {of.name}" if path else f"show {of.name} no longer"
    bench.steps.take(Step(title, put(path), put(before.path if before else None)))


def place_stone(bench: "Bench", stone: StoneEntry, at: tuple[float, float] | None) -> None:
    """Say where a stone is seen in the photograph of its object, as shares of its width and height."""
    book = bench.opened
    owner = next(o for o in book.objects() if o.id == stone.object_id)
    photograph = book.object_photograph(owner)
    before = photograph.places.get(stone.id) if photograph else None

    def put(place: tuple[float, float] | None) -> Callable[[], None]:
        def write() -> None:
            book.place_stone(stone, place, by=bench.by)
            bench.noted()

        return write

    bench.steps.take(Step(f"place of {stone.position}", put(at), put(before)))


def add_work(bench: "Bench", typed: TypedWork) -> WorkEntry:
    """Enter what was done to the chosen stone."""
    stone, values = bench.required_stone, typed.values()
    made: list[WorkEntry] = []

    def do() -> None:
        made.append(bench.opened.add_work(stone, **(_done(made[0]) if made else values), by=bench.by))
        bench.work_numbers.moved(made[0].id, made[-1].id)
        bench.noted(stone)

    def undo() -> None:
        number = bench.work_numbers.now(made[0].id)
        bench.opened.take_work_back(stone, number, reason=_UNDONE, by=bench.by)
        bench.noted(stone)

    bench.steps.take(Step(f"enter {typed.kind}", do, undo))
    return made[0]


def take_work_back(bench: "Bench", number: int, reason: str) -> None:
    """Say that work entered on the chosen stone was not done; it stays in the book."""
    book, stone, numbers = bench.opened, bench.required_stone, bench.work_numbers
    former = next((w for w in book.work(stone) if w.id == number), None)
    if former is None:
        raise BookError("This work was taken back already; look at the list again.")

    def do() -> None:
        book.take_work_back(stone, numbers.now(number), reason=reason, by=bench.by)
        bench.noted(stone)

    def undo() -> None:
        numbers.moved(number, book.add_work(stone, **_done(former), by=bench.by).id)
        bench.noted(stone)

    bench.steps.take(Step(f"take back: {former.kind}", do, undo))


def _reading(bench: "Bench", stone: StoneEntry, number: int) -> ReadingEntry:
    former = next((r for r in bench.opened.readings(stone) if r.id == number), None)
    if former is None:
        raise BookError("This reading does not hold any more; look at the list again.")
    return former


def _again(entry: ReadingEntry) -> dict[str, Any]:
    """What is entered for a reading to stand again, read when it was read."""
    return {
        "test": entry.test,
        "value": entry.value,
        "unit": entry.unit,
        "uncertainty": entry.uncertainty,
        "instrument": entry.instrument,
        "stone_is_set": entry.stone_is_set,
        "remark": entry.remark,
        "details": dict(entry.details),
        "findings": entry.findings,
        "taken": entry.taken or entry.at,
    }


def _done(entry: WorkEntry) -> dict[str, Any]:
    """What is entered for work to stand again, done when it was done."""
    return {
        "kind": entry.kind,
        "adhesive": entry.adhesive,
        "solvent": entry.solvent,
        "remark": entry.remark,
        "done": entry.done,
        "done_by": entry.done_by,
    }
