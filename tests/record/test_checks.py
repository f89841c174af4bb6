"""Checks of instruments on something known: kept, used, and their absence marked."""

from datetime import UTC, datetime, timedelta

import pytest

from setstone.record.book import Book
from setstone.record.clock import day_of
from setstone.record.consistency import consistency
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.evidence.checks import VALID_DAYS, as_typed, typed_check
from setstone.record.evidence.line import read_line
from setstone.record.evidence.readings import ReadingKind, Word


@pytest.mark.parametrize(
    ("line", "unused", "unchecked"),
    [
        # Crown glass of 1.517 (BK7, nD 1.5168: Schott's catalogue, from memory) is a usual test glass.
        ("1.762-1.770", "", "no check on a glass of known index"),
        ("1.762-1.770 check 1.517/1.516", "", ""),
        ("1,762-1,770 check 1,517/1,520", "", ""),
        ("1.762-1.770 check 1.517/1.521", "its check failed", ""),
        ("1.762-1.770 ± 0.001 check 1.517/1.519", "its check failed", ""),
        (">1.81 check 1.517/1.517", "", ""),
        ("distant vision 1.54 check 1.52/1.51", "", ""),
        ("4.00 unset", "", "no check on a check weight"),
        ("4.00 unset check 1.0000g/0.9999g", "", ""),
        ("4.00 unset check 1.000 g/0.990 g", "its check failed", ""),
        ("0.5302 g / 0.3975 g unset check 0.5000g/0.5001g", "", ""),
        ("0.5302 g / 0.3975 g unset check 0.5000g/0.5010g", "its check failed", ""),
        # 0.0001 g is half of 0.001 ct (1 ct = 0.2 g).
        ("2.651 ct / 1.988 ct unset check 0.5000g/0.5001g", "", ""),
        ("2.651 ct / 1.988 ct unset check 500.0mg/500.3mg", "its check failed", ""),
    ],
)
def test_a_check_is_used_and_its_absence_marked(line: str, unused: str, unchecked: str) -> None:
    read = read_line(line).understood
    assert read.value is not None
    assert (read.unused == "") == (unused == "")
    assert unused in read.unused
    assert (read.unchecked == "") == (unchecked == "")
    assert unchecked in read.unchecked


@pytest.mark.parametrize(
    ("line", "word", "told"),
    [
        ("thermal 7 check 2/8 again 2/8", "high", "in order, before and afterwards"),
        ("thermal 7 check 2/8 again 2/7,5", "high", "in order, before and afterwards"),
        ("thermal high check low/high again low/high", "high", "before and afterwards"),
        ("thermal 7 check 2/8", "high", "in order"),
        ("thermal 6.5 check 2/8 again 4/9", None, "drifted: high by the check before, moderate"),
        ("thermal 7 check 2/8 again 8/2", None, "failed (simulant read 2, diamond read 8; afterwards"),
        ("thermal 7 check 2/8 again low/high", None, "failed"),
        ("thermal high check low/high again low/low", None, "failed"),
    ],
)
def test_a_thermal_tester_may_be_checked_again_afterwards(line: str, word: str | None, told: str) -> None:
    read = read_line(line)
    assert told in read.says
    weighed = read.understood.value if not read.understood.unused else None
    assert weighed == (None if word is None else Word(word))


@pytest.mark.parametrize(
    "line",
    [
        "polariscope double check 2/8",
        "1.762 check 17/1.5",
        "1.762 check high/low",
        "1.762 check 1.517/1.516 again 1.517/1.516",
        "1.762 check 1.517/1.516 on 2026-13-01",
        "4.00 unset check 1.000/0.999",
        "thermal 7 check 2/8 on 2026-03-02",
    ],
)
def test_what_is_no_check_is_refused(line: str) -> None:
    with pytest.raises(BookError, match="check"):
        read_line(line)


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (ReadingKind.THERMAL, "2/8"),
        (ReadingKind.THERMAL, "low/high again low/high"),
        (ReadingKind.REFRACTOMETER, "1,517/1.516 on 2026-03-02"),
        (ReadingKind.DENSITY, "1.0000g/0.9999g"),
    ],
)
def test_a_check_is_written_as_it_was_typed(kind: ReadingKind, text: str) -> None:
    assert as_typed(typed_check(kind, text)) == text


def test_a_check_is_kept_with_its_date(book: Book, stone: StoneEntry) -> None:
    entry = book.add_line(stone, "1.762-1.770 check 1.517/1.516", by="Ada")
    today = day_of(datetime.now(UTC))
    assert entry.details["check"] == {"known": "1.517", "read": "1.516", "on": today.isoformat()}
    again = book.correct_reading(stone, entry.id, value="1.761-1.769", by="Ada")
    assert again.details == entry.details
    with pytest.raises(BookError, match="made before the reading"):
        book.add_line(stone, f"1.762 check 1.517/1.516 on {today + timedelta(days=1)}", by="Ada")
    assert consistency(book, stone).read[0].unchecked == ""


def test_an_old_check_counts_as_none(book: Book, stone: StoneEntry) -> None:
    old = day_of(datetime.now(UTC)) - timedelta(days=VALID_DAYS + 1)
    book.add_line(stone, f"1.762-1.770 check 1.517/1.516 on {old}", by="Ada")
    # A reading of that time is still well checked.
    then = datetime.combine(old, datetime.min.time()).astimezone() + timedelta(hours=12)
    book.add_line(stone, f"1.762-1.770 check 1.517/1.516 on {old}", taken=then, by="Ada")
    late, early = consistency(book, stone).read
    assert (late.mark, early.mark, early.unchecked) == ("", "", "")
    assert "more than 31 days old" in late.unchecked


def test_a_failed_check_keeps_the_reading_out_of_the_comparison(book: Book, stone: StoneEntry) -> None:
    book.add_line(stone, "1.544-1.553 check 1.517/1.530", by="Ada")
    found = consistency(book, stone)
    assert found.contradictions == ()
    assert found.lines == ()
    assert "its check failed: a glass of known index of 1.517 read 1.530" in found.read[0].mark


def test_a_check_given_beside_the_reading(book: Book, stone: StoneEntry) -> None:
    entry = book.add_reading(
        stone, test="thermal tester", value="7", details={"check": "2/8 again 2/7.5"}, by="Ada"
    )
    assert entry.details["check"] == {
        "simulant": "2",
        "diamond": "8",
        "again": {"simulant": "2", "diamond": "7.5"},
    }
