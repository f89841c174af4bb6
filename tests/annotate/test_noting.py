"""What is noted of a stone is taken back and entered again; the book keeps all of it."""

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from made_up import examination, line

from setstone.annotate.bench.adding import add_files
from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.bench.typed_work import TypedWork, moment
from setstone.record.book import Book
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import Fact, WorkKind
from setstone.record.work import Known
from setstone.sample_images import sample_stones

LID_3 = sample_stones()[0].folder


@pytest.fixture(scope="session")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("noting") / "book"
    with Book.create(folder, workshop="Workshop on the Quay") as book:
        box = book.add_object("Presentation snuff box")
        for position in ("lid-3", "lid-4"):
            book.add_stone(box, position, claimed_as="ruby")
    return folder


@pytest.fixture
def bench(begun: Path, tmp_path: Path) -> Iterator[Bench]:
    made = Bench("Ada")
    made.open(shutil.copytree(begun, tmp_path / "book"))
    yield made
    made.close()


def values(bench: Bench) -> list[str]:
    return [r.value for r in bench.opened.readings(bench.required_stone)]


def actions(bench: Bench) -> list[str]:
    return [j.action for j in bench.opened.journal(bench.required_stone)]


def drop(bench: Bench, *names: str) -> tuple[PhotographEntry, ...]:
    stone = bench.required_stone
    files = [LID_3 / f"{name}.jpg" for name in names]
    arrival = add_files(bench.opened, stone, files, by="Ada", progress=lambda _: None)
    bench.photographs_added(stone, arrival.added)
    return arrival.added


def test_a_reading_is_taken_back_and_stands_again_as_it_was_read(bench: Bench) -> None:
    first = bench.enter_reading(TypedReading("refractometer", "1.762-1.770 table unset ± 0.002 # worn"))
    assert bench.undo() == "enter refractometer 1.762-1.770 table unset ± 0.002 # worn"
    assert values(bench) == []
    bench.redo()
    (again,) = bench.opened.readings(bench.required_stone)
    assert (again.value, again.details, again.remark) == (first.value, first.details, first.remark)
    assert again.taken == first.at
    assert actions(bench)[-3:] == ["add reading", "withdraw reading", "add reading"]


def test_corrections_and_withdrawals_are_steps_too(bench: Bench) -> None:
    first = bench.enter_reading(TypedReading("thermal tester", "high check 2/8"))
    second = bench.enter_reading(TypedReading("thermal tester", "low check 2/8"), instead_of=first.id)
    bench.withdraw_reading(second.id, "touched the claw")
    seen = [values(bench)]
    for _ in range(3):
        bench.undo()
        seen.append(values(bench))
    assert seen == [[], ["low"], ["high"], []]
    for _ in range(3):
        bench.redo()
        seen.append(values(bench))
    assert seen[-3:] == [["high"], ["low"], []]
    for _ in range(3):
        bench.undo()
    assert values(bench) == []
    with pytest.raises(BookError, match="does not hold any more"):
        bench.withdraw_reading(first.id, "again")


def test_what_is_undone_on_another_stone_is_shown(bench: Bench) -> None:
    bench.enter_reading(TypedReading("", "1.54"))
    bench.choose_by(1)
    assert bench.required_stone.position == "lid-4"
    bench.undo()
    assert bench.required_stone.position == "lid-3"
    assert values(bench) == []


def test_photographs_are_taken_out_and_brought_back(bench: Bench) -> None:
    drop(bench, "before_white", "before_blue")
    later = drop(bench, "after_white")
    assert bench.occasion == "after"
    assert bench.undo() == "add after_white.jpg to lid-3"
    assert (bench.occasion, len(bench.photographs)) == ("as received", 2)
    assert bench.undo() == "add 2 photographs to lid-3"
    assert (bench.occasion, bench.photographs) == ("", ())
    bench.redo()
    bench.redo()
    assert bench.photographs[-1] == later[0]
    assert bench.occasion == "after"


def test_once_examined_photographs_stay_and_what_was_done_on_other_stones_can_be_undone(bench: Bench) -> None:
    def examine(stone: StoneEntry, white: str) -> None:
        entry = bench.opened.save_examination(
            stone, examination(line(250)), occasion="as received", white=white, blue=None, by="Ada"
        )
        bench.examined(entry)

    lid_3 = bench.required_stone
    (photograph,) = drop(bench, "before_white")
    bench.choose_by(1)
    bench.state_fact(bench.required_stone, Fact.BACK, "closed")
    examine(lid_3, photograph.sha256)
    assert bench.undo() == "back closed"
    assert bench.undo() == ""
    assert len(bench.opened.photographs(lid_3)) == 1


def test_facts_are_stated_and_taken_back(bench: Bench) -> None:
    (box,) = bench.objects
    bench.state_fact(box, Fact.HALLMARK, "crowned G")
    bench.state_fact(box, Fact.HALLMARK, "crowned G, worn ")
    bench.state_fact(box, Fact.HALLMARK, "crowned G, worn")  # as it stands: no step
    assert bench.undo() == "hallmark crowned G, worn"
    assert [f.value for f in bench.opened.facts(box)] == ["crowned G"]
    bench.undo()
    assert bench.opened.facts(box) == ()


def test_work_is_entered_taken_back_and_stands_again(bench: Bench) -> None:
    typed = TypedWork(WorkKind.SET, adhesive="acrylic copolymer", done="2026-03-02 14:30", done_by="Bea")
    first = bench.add_work(typed)
    assert (first.done_by, first.done) == ("Bea", datetime(2026, 3, 2, 14, 30).astimezone(UTC))
    bench.undo()
    assert bench.opened.work(bench.required_stone) == ()
    bench.redo()
    (again,) = bench.opened.work(bench.required_stone)
    assert (again.kind, again.adhesive, again.done) == (WorkKind.SET, "acrylic copolymer", first.done)
    bench.take_work_back(again.id, "it was lid-4")
    bench.undo()
    bench.undo()
    assert bench.opened.work(bench.required_stone) == ()


def test_remarks_are_entered_taken_back_and_stand_again(bench: Bench) -> None:
    def there() -> list[str]:
        return [r.text for r in bench.opened.remarks(bench.required_stone)]

    bench.add_remark("old glue at the lower edge")
    bench.add_remark("chip at the girdle")
    assert bench.undo() == "enter a remark"
    assert there() == ["old glue at the lower edge"]
    bench.redo()
    again = bench.opened.remarks(bench.required_stone)[-1]
    bench.take_remark_back(again.id, "it was lid-4")
    assert there() == ["old glue at the lower edge"]
    with pytest.raises(BookError, match="taken back already"):
        bench.take_remark_back(again.id, "it was lid-4")
    assert bench.undo() == "take a remark back"
    assert there() == ["old glue at the lower edge", "chip at the girdle"]
    bench.undo()
    bench.undo()
    assert there() == []


def test_a_time_that_is_none_is_refused_in_words() -> None:
    assert moment(" ") is None
    with pytest.raises(BookError, match=r"'last week' is no time; write it as 2026-03-02 14:30"):
        moment("last week")


def test_a_claim_brings_its_cautions() -> None:
    said = TypedWork(WorkKind.CLEANED, solvent="acetone").cautions("emerald", Known())
    assert any("safety sheet" in text for text in said)
