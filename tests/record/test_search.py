from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from made_up import examination, line

from setstone.capture.photograph import Lamp
from setstone.record.book import Book
from setstone.record.consistency import consistency
from setstone.record.entries import StoneEntry
from setstone.record.progress import Stage
from setstone.record.standing import refresh_all
from setstone.record.vocabulary import Fact, FindingKind, Verdict, WorkKind


@pytest.fixture
def stones(book: Book, stone: StoneEntry) -> list[StoneEntry]:
    box = book.object()
    book.state_fact(box, Fact.MAKER, "Œuvre of the quay, 100% hand-made", by="Ada")
    others = [
        book.add_stone(box, f"lid-{n}", claimed_as=claim) for n, claim in ((4, "Spinel"), (5, "ruby, heated"))
    ]
    book.add_remark(others[0], "ΣΚΟΥΡΙΑ am Rand; grün", by="Ada")
    return [stone, *others]


def found(book: Book, text: str = "", **wanted: object) -> list[str]:
    return [p.stone.position for p in book.search(text, **wanted).stones]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "positions"),
    [
        ("", ["lid-3", "lid-4", "lid-5"]),
        ("ruby", ["lid-3", "lid-5"]),
        ("RUBY heated", ["lid-5"]),
        ("σκουρια GRÜN", ["lid-4"]),  # folded alike by both kinds of database
        ("œuvre", ["lid-3", "lid-4", "lid-5"]),
        ("100%", ["lid-3", "lid-4", "lid-5"]),
        ("1_0", []),
        ("100\\", []),
        ("garnet", []),
    ],
)
def test_text_is_found_wherever_it_stands(
    book: Book, stones: list[StoneEntry], text: str, positions: list[str]
) -> None:
    assert found(book, text) == positions


def test_every_kind_of_entry_is_searched(book: Book, stone: StoneEntry, picture: Path) -> None:
    book.add_photograph(stone, picture, lamp=Lamp.WHITE)
    entry = book.save_examination(
        stone, examination(line(250), line(400)), occasion="before", white=None, blue=None, by="Ada"
    )
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FINGERPRINT, by="Ada")
    book.decide(entry, 2, Verdict.REJECTED, reason="facet edge", by="Ada")
    reading = book.add_reading(stone, test="refractometer", value="1.762-1.770", by="Ada")
    book.add_work(stone, WorkKind.SET, adhesive="fish glue", by="Ada")
    book.state_fact(stone, Fact.SETTING, "claws", by="Ada")
    for text in ("white.png", "fingerprint", "facet edge", "1.762", "fish glue", "claws", "snuff"):
        assert found(book, text) == ["lid-3"], text
    book.withdraw_reading(stone, reading.id, reason="wrong stone on the table", by="Ada")
    assert found(book, "1.762") == []


def test_stones_are_found_by_claim_stage_and_date(
    book: Book, stones: list[StoneEntry], picture: Path
) -> None:
    assert found(book, species="ruby") == ["lid-3", "lid-5"]
    book.add_photograph(stones[1], picture, lamp=Lamp.WHITE)
    assert found(book, stages=[Stage.TO_EXAMINE]) == ["lid-4"]
    assert found(book, stages=[Stage.NO_PHOTOGRAPH], species="ruby") == ["lid-3", "lid-5"]
    now = datetime.now(UTC)
    book.add_remark(stones[2], "old glue", by="Ada")
    assert found(book, since=now) == ["lid-5"]
    assert found(book, until=now) == ["lid-3", "lid-4"]
    assert found(book, since=now + timedelta(days=1)) == []


def test_a_long_list_comes_in_pages_and_without_what_was_taken_out(
    book: Book, stones: list[StoneEntry]
) -> None:
    page = book.search(first=1, most=1)
    assert (page.total, [p.stone.position for p in page.stones]) == (3, ["lid-4"])
    book.remove_stone(stones[0], by="Ada")
    assert found(book) == ["lid-4", "lid-5"]
    book.restore_stone(stones[0], by="Ada")
    assert book.search().total == 3


def test_how_stones_stand_can_be_made_anew(book: Book, stones: list[StoneEntry]) -> None:
    book.sign(stones[0], by="Ada")
    before = book.progress()
    with book.atomic() as connection:
        refresh_all(connection)
    assert book.progress() == before


def test_a_photograph_given_to_another_stone_counts_there(
    book: Book, stones: list[StoneEntry], picture: Path
) -> None:
    entry, _ = book.add_photograph(stones[0], picture)
    book.correct_photograph(entry, stone=stones[1], by="Ada")
    assert [p.photographs for p in book.progress()] == [0, 1, 0]


def test_stones_with_contradictions_and_those_consistent_with_a_species_are_found(
    book: Book, stones: list[StoneEntry]
) -> None:
    # Claimed ruby, read single with an index of spinel (1.712-1.762, table of materials).
    book.add_reading(stones[0], test="polariscope", value="single", by="Ada")
    book.add_reading(stones[0], test="refractometer", value="1.718", by="Ada")
    assert found(book, contradicted=True) == ["lid-3"]
    assert found(book, species="spinel") == ["lid-3", "lid-4"]
    assert book.search(contradicted=True).stones[0].contradictions == len(
        consistency(book, stones[0]).contradictions
    )
    for reading in book.readings(stones[0]):
        book.withdraw_reading(stones[0], reading.id, reason="wrong stone", by="Ada")
    assert found(book, contradicted=True) == []
