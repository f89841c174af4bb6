"""Before and after on the bench: one frame, what changed, what is said; the sample stone is turned and has new fissures."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from setstone.annotate.bench.compare_page import compare_html
from setstone.annotate.bench.comparing import SIGNS, STEPS, Compared, compare
from setstone.capture.photograph import Lamp
from setstone.record import two_occasions
from setstone.record.book import Book
from setstone.record.errors import BookError


@pytest.fixture(scope="module")
def told() -> list[str]:
    return []


@pytest.fixture(scope="module")
def compared(two_days: Path, told: list[str]) -> Iterator[Compared]:
    with Book.open(two_days, read_only=True) as book:
        yield compare(book, book.stones()[0], "as received", "after", told.append)


def test_both_days_lie_in_one_frame(compared: Compared, told: list[str]) -> None:
    assert told == [*STEPS]
    assert set(compared.pictures) == {Lamp.WHITE, Lamp.BLUE}
    for pictures in compared.pictures.values():
        assert pictures.before.shape == pictures.after.shape == pictures.difference.shape
        assert pictures.before.dtype == np.uint8
    blue = compared.pictures[Lamp.BLUE]
    height, width = blue.before.shape[:2]
    middle = np.s_[height // 3 : 2 * height // 3, width // 3 : 2 * width // 3]
    one, other = blue.before[middle].mean(-1).ravel(), blue.after[middle].mean(-1).ravel()
    assert np.corrcoef(one, other)[0, 1] > 0.8


def test_marks_carry_the_sign_of_where_they_are_seen(compared: Compared) -> None:
    assert compared.marks[0].changed.change.possible_damage
    height, width = compared.pictures[Lamp.WHITE].before.shape[:2]
    for mark in compared.marks:
        assert mark.label == f"{mark.changed.entry.number}{SIGNS[mark.changed.change.where]}"
        assert ((mark.path >= 0) & (mark.path < (width, height))).all()


def test_the_page_leads_to_each_mark_and_says_how_well_they_fit(compared: Compared) -> None:
    page = compare_html(compared)
    assert all(f"href='fly:{at}'" in page for at in range(len(compared.marks)))
    assert page.index("Possible damage") < page.index("Seen only after") < page.index("Seen in both")
    assert compared.comparison is not None
    assert f"to {compared.comparison.residual_um:.0f} µm (root mean square)" in page
    assert "no finding" in page
    assert "This is no proof" in page


def test_what_does_not_fit_is_refused_with_the_reason(
    two_days: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise BookError("It cannot be told how <lid-5> was turned.")

    monkeypatch.setattr(two_occasions, "_registered", never)
    with Book.open(two_days, read_only=True) as book:
        found = compare(book, book.stones()[0], "as received", "after")
    assert not found.pictures
    assert not found.marks
    page = compare_html(found)
    assert "Not laid on one another" in page
    assert "&lt;lid-5&gt; was turned" in page
    assert "Same stone?" in page  # which is asked of each day by itself
