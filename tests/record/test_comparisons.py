"""Comparisons kept in the book: of which photographs, by whom; one made again is added, none is lost."""

from dataclasses import replace

import numpy as np
import pytest
from made_up import comparison, examination, line
from sqlalchemy import delete

from setstone import __version__
from setstone.measure.changes import Where
from setstone.measure.glue import GlueChange, Rim
from setstone.measure.quantity import Quantity
from setstone.measure.same_stone import SameStone, Strength
from setstone.record import schema
from setstone.record.before_after import BeforeAfter
from setstone.record.book import Book
from setstone.record.comparisons import state_of_comparison
from setstone.record.convert import from_json, to_json
from setstone.record.entries import ComparisonResult, ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.gluing import WorkShown
from setstone.record.vocabulary import Verdict


@pytest.fixture
def two(book: Book, stone: StoneEntry) -> tuple[ExaminationEntry, ExaminationEntry]:
    """A stone examined before and after, where a third line is new."""
    return tuple(
        book.save_examination(
            stone, examination(*map(line, at)), occasion=occasion, white=None, blue=None, by="Ada"
        )
        for occasion, at in (("before", (250, 400)), ("after", (250, 400, 500)))
    )  # type: ignore[return-value]


SEEN = (Where.BOTH, Where.UNKNOWN, Where.AFTER)
Two = tuple[ExaminationEntry, ExaminationEntry]


def test_what_was_kept_is_read_again(book: Book, stone: StoneEntry, two: Two) -> None:
    kept = book.keep_comparison(comparison(*two, *SEEN), by="Bea")
    assert book.comparisons(stone) == (kept,)
    assert book.comparison_kept(comparison(*two, *SEEN)) == kept
    assert book.comparison_kept(comparison(*two, Where.BOTH)) is None  # decided or found otherwise meanwhile
    assert (kept.before, kept.after, kept.by, kept.version) == ("before", "after", "Bea", __version__)
    assert kept.result.residual_um == 3.0
    assert [one.where for one in kept.result.seen] == ["in both", "not comparable", "only after"]
    told = book.journal(stone)[-1]
    assert told.action == "compare"
    assert told.after is not None
    assert told.after["after"] == {"occasion": "after", "white": None, "blue": None}
    assert told.after["seen on one day only"] == ["3, after: only after the work: possible damage"]


def test_the_same_is_kept_once_and_another_result_is_added(book: Book, stone: StoneEntry, two: Two) -> None:
    first = book.keep_comparison(comparison(*two, *SEEN), by="Ada")
    assert book.keep_comparison(comparison(*two, *SEEN), by="Bea") == first
    second = book.keep_comparison(comparison(*two, *SEEN, residual_um=5.0), by="Bea")
    assert book.comparisons(stone) == (first, second)
    with pytest.raises(BookError, match="cannot be changed or removed"), book.atomic() as connection:
        connection.execute(delete(schema.comparisons))


def test_where_a_line_has_grown_is_kept(book: Book, two: Two) -> None:
    kept = book.keep_comparison(comparison(*two, Where.BOTH, Where.LONGER, Where.AFTER), by="Ada")
    told = book.differing(two[1])
    assert told == {one.number: one for one in kept.result.seen[1:]}
    path = two[1].candidates[1].candidate.path
    assert np.array(told[2].end) == pytest.approx(np.stack([path.mean(axis=0), path[-1]]), abs=0.05)
    assert (kept.result.seen[0].end, told[3].end) == ((), ())


def test_what_was_judged_since_is_compared_again_first(book: Book, two: Two) -> None:
    made = comparison(*two, *SEEN)
    book.decide(two[1], 3, Verdict.REJECTED, reason="dust", by="Ada")
    with pytest.raises(BookError, match="compare again"):
        book.keep_comparison(made, by="Ada")


def test_what_one_day_raises_as_damage_no_other_day_takes_back(
    book: Book, stone: StoneEntry, two: Two
) -> None:
    later = book.save_examination(stone, two[1].result, occasion="later", white=None, blue=None, by="Ada")
    book.keep_comparison(comparison(*two, *SEEN), by="Ada")
    book.keep_comparison(comparison(two[1], later, Where.BOTH, Where.BOTH, Where.BOTH), by="Ada")
    assert book.differing(two[1])[3].possible_damage
    book.keep_comparison(comparison(two[1], two[0], Where.BOTH, Where.BOTH), by="Ada")
    assert book.differing(two[1]) == {}  # the other way round these are the same two days


def test_nobody_compares_without_a_name(book: Book, two: Two) -> None:
    with pytest.raises(BookError):
        book.keep_comparison(comparison(*two, *SEEN), by="")


def test_what_differs_is_told_of_its_own_examination_only(book: Book, stone: StoneEntry, two: Two) -> None:
    book.keep_comparison(comparison(*two, *SEEN), by="Ada")
    before, after = two
    assert {n: one.says for n, one in book.differing(after).items()} == {
        3: "only after the work: possible damage"
    }
    assert book.differing(before) == {}
    again = book.save_examination(
        stone, after.result, occasion="after", white=None, blue=None, by="Ada"
    )  # its numbers may mean something else
    assert book.differing(again) == {}


def test_a_comparison_is_part_of_the_record_that_is_signed(book: Book, stone: StoneEntry, two: Two) -> None:
    book.sign(stone, by="Ada")
    kept = book.keep_comparison(comparison(*two, *SEEN), by="Ada")
    assert book.progress()[0].signature is None
    (new,) = book.difference(stone)
    assert (new.of, new.before, new.after["residual"]) == (f"comparison {kept.id}", None, "3 µm")


def test_what_speaks_for_one_stone_and_what_became_of_the_glue_are_kept_with_it(
    book: Book, stone: StoneEntry, two: Two
) -> None:
    dirty, clean = (
        Rim(None, Quantity(share, 0.05, ""), Quantity(lines, 0.2, "mm/mm²"))
        for share, lines in ((0.8, 11.0), (0.1, 3.0))
    )
    declined = "Photograph a grey card each time."
    glue = GlueChange(dirty, clean, None, None, None, declined, near_neutral=True)
    same = SameStone(Strength.STRONG, 1000.0, "12 findings agree.", 30.0)
    bare = comparison(*two, *SEEN)
    found = replace(bare, same=same, glue=WorkShown("before", "after", glue, 0.5, 0.4, less_sharp="after"))
    kept = book.keep_comparison(found, by="Ada")
    assert "1,000 times as often" in kept.result.same
    told = " ".join(kept.result.glue)
    assert "haze of the stone: 0.50, then 0.40" in told
    assert "Colours are not compared" in told
    assert "less sharp" in told
    assert book.comparison_kept(found) == kept  # read back equal
    state = state_of_comparison(kept)
    assert (state["same stone"], state["glue"]) == (kept.result.same, list(kept.result.glue))
    # What an older setstone kept, without them, still says what it said.
    old = {k: v for k, v in to_json(kept.result).items() if k not in ("same", "glue")}
    older = replace(kept, result=from_json(old, ComparisonResult))
    assert state_of_comparison(older).keys() == state.keys() - {"same stone", "glue"}


def test_photographs_that_do_not_lie_on_one_another_are_not_kept(
    book: Book, stone: StoneEntry, two: Two
) -> None:
    with pytest.raises(BookError, match="cannot be told how"):
        book.keep_comparison(BeforeAfter("before", "after", refused="It cannot be told how."), by="Ada")
    assert book.comparisons(stone) == ()
