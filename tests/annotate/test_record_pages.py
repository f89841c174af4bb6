"""What panels show of search, versions and work, without a window."""

import shutil
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.searching import PERIODS, Search, period
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.bench.typed_work import TypedWork
from setstone.annotate.bench.version_page import difference_html, version_words, versions_html
from setstone.annotate.bench.work_page import work_html
from setstone.record.book import Book
from setstone.record.entries import WorkEntry
from setstone.record.errors import BookError
from setstone.record.facts import wording_caution
from setstone.record.vocabulary import Fact, WorkKind
from setstone.sample_images import sample_stones


@pytest.fixture(scope="session")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages") / "book"
    with Book.create(folder, workshop="Workshop on the Quay") as book:
        box = book.add_object("Presentation snuff box")
        lid_3 = book.add_stone(box, "lid-3", claimed_as="ruby")
        book.add_stone(box, "lid-4", claimed_as="turquoise")
        book.add_photograph(lid_3, next(f for _, f in sample_stones()[0].photographs()), by="Ada")
    return folder


@pytest.fixture
def bench(begun: Path, tmp_path: Path) -> Iterator[Bench]:
    made = Bench("Ada")
    made.open(shutil.copytree(begun, tmp_path / "book"))
    yield made
    made.close()


def found(bench: Bench, search: Search) -> list[str]:
    ids = search.stones(bench.opened)
    return [p.stone.position for p in bench.progress if ids is None or p.stone.id in ids]


def test_stones_are_found_by_all_the_book_says(bench: Bench) -> None:
    bench.add_remark("old glue at the lower edge")
    bench.enter_reading(TypedReading("refractometer", "1.544-1.553 unset ± 0.002"))
    assert found(bench, Search()) == ["lid-3", "lid-4"]
    assert found(bench, Search("GLUE edge")) == ["lid-3"]
    assert found(bench, Search(species="turq")) == ["lid-4"]
    # Quartz, 1.544 to 1.553: handbook of mineralogy, as cited in record/evidence/materials.csv.
    assert found(bench, Search(species="quartz")) == ["lid-3"]
    assert found(bench, Search(contradicted=True)) == ["lid-3"]
    assert found(bench, Search(changed="today")) == ["lid-3", "lid-4"]
    assert found(bench, Search(changed="to 2020-01-01")) == []


def test_days_are_understood_as_local_days_to_their_end() -> None:
    since, until = period("2026-03-02 to  2026-03-09")
    assert since is not None
    assert until is not None
    assert (since.isoformat()[:16], until.isoformat()[:16]) == ("2026-03-02T00:00", "2026-03-10T00:00")
    assert period("2026-03-02 to")[1] is None
    assert period("to 2026-03-02")[0] is None
    for text in PERIODS:
        assert period(text, date(2026, 3, 2))[1] is None
    for wrong in ("yesterday", "2026-13-01", "to", "2026-3"):
        with pytest.raises(BookError, match="is no time; write a day as 2026-03-02"):
            period(wrong)


@given(st.text(max_size=30))
def test_whatever_is_typed_as_a_time_is_understood_or_refused(text: str) -> None:
    with suppress(BookError):
        since, until = period(text)
        assert since is None or since.tzinfo is not None
        assert until is None or until.tzinfo is not None


def test_the_difference_of_versions_is_told_in_words(bench: Bench) -> None:
    stone = bench.required_stone
    bench.sign()
    bench.correct_stone(stone, position="lid-3", claimed_as="spinel <?>")
    (photograph,) = bench.photographs
    bench.correct_photograph(photograph, occasion="before")
    bench.enter_reading(TypedReading("thermal tester", "high check 2/8"))
    changes = bench.opened.difference(stone)
    page = difference_html(changes, 1, None, bench.photographs)
    assert "Changed since version 1" in page
    assert "claimed as: ruby → <b>spinel &lt;?&gt;</b>" in page
    assert f"<b>Photograph {photograph.name}</b><br>occasion: as received → <b>before</b>" in page
    assert "<b>+ Reading 1</b> (new)" in page
    bench.sign()
    both = bench.opened.versions(stone)
    assert [version_words(v)[:9] for v in both] == ["version 1", "version 2"]
    assert "from version 1 to version 2" in difference_html(bench.opened.difference(stone, 1, 2), 1, 2)
    assert "Nothing was changed" in difference_html(bench.opened.difference(stone), 2, None)
    bench.take_signature_back()
    assert "signature taken back by Ada" in versions_html(bench.opened.versions(stone))


def test_work_is_told_the_latest_first_with_who_did_and_who_entered_it() -> None:
    done = datetime(2026, 3, 2, 12, tzinfo=UTC)
    first = WorkEntry(1, 1, WorkKind.UNSET, done, "Ada", "", "acetone <&>", "", "Ada", done)
    second = WorkEntry(2, 1, WorkKind.SET, done, "Bea", "acrylic", "", "two\nlines", "Ada", done)
    page = work_html((first, second))
    assert page.index("set again") < page.index("unset")
    assert "solvent: acetone &lt;&amp;&gt;" in page
    assert "entered by Ada" in page
    assert "two<br>lines" in page
    assert "No work is entered yet" in work_html(())


def test_products_named_before_are_offered_those_used_last_first(bench: Bench) -> None:
    bench.add_work(TypedWork(WorkKind.CLEANED, solvent="acetone"))
    bench.add_work(TypedWork(WorkKind.CLEANED, solvent="water"))
    bench.add_work(TypedWork(WorkKind.SET, adhesive="acrylic", solvent="acetone"))
    assert bench.opened.products() == (("acrylic",), ("acetone", "water"))


def test_wording_that_claims_more_than_was_seen_is_named() -> None:
    assert "'gold' is what an assay tells" in wording_caution(Fact.METAL, "18 ct gold")
    assert "'Genuine' says more" in wording_caution(Fact.MAKER, "Genuine work of the Quay")
    assert wording_caution(Fact.HALLMARK, "750 in a lozenge") == ""
    assert wording_caution(Fact.DATE, "about 1790, family tradition") == ""
