"""Before and after on the bench: one frame, what changed, what is said; the sample stone is turned and has new fissures."""

from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from setstone.annotate import sheet as sheet_module
from setstone.annotate.bench.compare_page import compare_html
from setstone.annotate.bench.comparing import STEPS, Compared, compare
from setstone.annotate.phrases import Said
from setstone.annotate.shapes import Text
from setstone.annotate.sheet_compare import ComparisonSheet, DayCopies, comparison_sheet
from setstone.annotate.style import TAG_HEIGHT
from setstone.annotate.texts import LANGUAGES, texts_in
from setstone.annotate.two_days import SIGNS, TwoDays, shown_together
from setstone.annotate.views_compare import compare_view, overlay_of_changes
from setstone.capture.photograph import Lamp
from setstone.measure.changes import Where
from setstone.measure.fingerprint import Likeness
from setstone.measure.same_stone import weighed
from setstone.measure.units import shorter_turn
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


@pytest.fixture(scope="module")
def shown(compared: Compared) -> TwoDays:
    assert compared.shown is not None
    return compared.shown


def test_both_days_lie_in_one_frame(shown: TwoDays, told: list[str]) -> None:
    assert told == [*STEPS]
    assert set(shown.pictures) == {Lamp.WHITE, Lamp.BLUE}
    for pictures in shown.pictures.values():
        assert pictures.before.shape == pictures.after.shape == pictures.difference.shape
        assert pictures.before.dtype == np.uint8
    blue = shown.pictures[Lamp.BLUE]
    height, width = blue.before.shape[:2]
    middle = np.s_[height // 3 : 2 * height // 3, width // 3 : 2 * width // 3]
    one, other = blue.before[middle].mean(-1).ravel(), blue.after[middle].mean(-1).ravel()
    assert np.corrcoef(one, other)[0, 1] > 0.8


def test_days_named_the_other_way_round_are_told(two_days: Path) -> None:
    with Book.open(two_days, read_only=True) as book:
        stone = book.stones()[0]
        turned = compare(book, stone, "after", "as received")
        assert "'as received' were taken or added before those 'after'" in unescape(compare_html(turned))
        sheet = comparison_sheet(book, stone, "after", "as received")
    assert compare_view(sheet, stone, texts_in("de"))["notes"][0].language == ""


def test_the_hand_out_shows_the_two_days_a_person_kept_last(
    two_days: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheet_module, "comparison_sheet", lambda _book, _stone, *days: days)
    kept: tuple[SimpleNamespace, ...]
    with Book.open(two_days, read_only=True) as book:
        stone = book.stones()[0]
        for kept, expected in (
            ((), "as received repaired"),
            ((SimpleNamespace(before="after", after="repaired"),), "after repaired"),
            ((SimpleNamespace(before="after", after="taken away"),), "as received repaired"),
        ):
            monkeypatch.setattr(Book, "comparisons", lambda *_, kept=kept: kept)
            days: object = sheet_module._comparison(book, stone, ["as received", "after", "repaired"])
            assert days == tuple(expected.rsplit(maxsplit=1))


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
@pytest.mark.parametrize("lights", [0, 1, 2])
@pytest.mark.parametrize("turn_deg", [12.0, -12.0])
@pytest.mark.parametrize("findings", [0, 3])
def test_why_sameness_is_open_is_said_in_every_language(
    language: str, lights: int, turn_deg: float, findings: int
) -> None:
    result = weighed(Likeness((0.2, 0.1, 0.2, 0.1), turn_deg), findings, lights=lights)
    assert texts_in(language).said(result.why).language == ""
    note = two_occasions.SCALES_DISAGREE.format(apart=0.04)
    assert texts_in(language).said(note).language == ""


def test_a_wrong_scale_is_told(compared: Compared) -> None:
    assert compared.shown is not None
    both = compared.shown.comparison.both
    assert two_occasions._of_other_size(both.looks, both.registration) == ()
    wrong = replace(both.looks[1], um_per_px=1.04 * (both.looks[1].um_per_px or 0))
    (note,) = two_occasions._of_other_size((both.looks[0], wrong), both.registration)
    assert "disagree by 4%" in note


def test_marks_carry_the_sign_of_where_they_are_seen(shown: TwoDays) -> None:
    assert shown.marks[0].changed.change.possible_damage
    height, width = shown.pictures[Lamp.WHITE].before.shape[:2]
    for mark in shown.marks:
        assert mark.label == f"{mark.changed.entry.number}{SIGNS[mark.changed.change.where]}"
        assert ((mark.path >= 0) & (mark.path < (width, height))).all()


def test_the_page_leads_to_each_mark_and_says_how_well_they_fit(compared: Compared, shown: TwoDays) -> None:
    page = compare_html(compared)
    assert all(f"href='fly:{at}'" in page for at in range(len(shown.marks)))
    assert page.index("Possible damage") < page.index("Seen only after") < page.index("Seen in both")
    assert f"to {shown.comparison.residual_um:.0f} µm (root mean square)" in page
    angle, way = shorter_turn(shown.comparison.both.registration.turned_deg)
    assert f"was turned by {angle:.1f}° {way} to lie on as received" in page
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
    assert found.shown is None
    page = compare_html(found)
    assert "Not laid on one another" in page
    assert "&lt;lid-5&gt; was turned" in page
    assert "Same stone?" in page  # which is asked of each day by itself


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_hand_out_lists_what_differs_and_measures_the_glue(two_days: Path, language: str) -> None:
    texts = texts_in(language)
    with Book.open(two_days, read_only=True) as book:
        (stone,) = book.stones()
        view = compare_view(comparison_sheet(book, stone, "as received", "after"), stone, texts)
    first = view["rows"][0]
    assert first["damage"]
    assert first["label"].endswith("+")
    assert texts.occasion("after") in first["seen"]
    assert {row["label"][-1] for row in view["rows"]} <= {"+", "*", "−", "?"}
    assert view["svg"].count('class="tag candidate"') == len(view["rows"])
    assert [row[0] for row in view["glue"]] == [
        texts(f"compare.{name}") for name in ("yellowness", "residue", "crazing", "haze")
    ]
    assert view["same"].startswith(texts("compare.same_strong"))  # the truth: one stone
    assert texts("compare.same_note") in view["same"]


def test_a_line_that_has_grown_is_marked_at_its_end_and_told_as_longer(
    compared: Compared, shown: TwoDays
) -> None:
    comparison = shown.comparison
    new = next(one for one in comparison.changed if one.change.possible_damage)
    path = new.entry.candidate.path
    grown = replace(
        new,
        change=replace(new.change, where=Where.LONGER, chance=0.8, share=0.6, grown=path[len(path) // 2 :]),
    )
    drawn = shown_together(replace(comparison, changed=(grown,)))
    (mark,) = drawn.marks
    assert len(mark.path) == len(path) - len(path) // 2
    assert mark.label == f"{new.entry.number}*"
    assert grown.says.startswith(
        "60% of it lies along lines proposed or seen before; one end of it is seen only after, 80%"
    )
    page = compare_html(replace(compared, shown=drawn))
    assert page.index("Possible damage") < page.index(mark.label) < page.index("one end of it")
    texts = texts_in("en")
    copies = {lamp: DayCopies(b"", b"", b"", 400, 400) for lamp in drawn.pictures}
    sheet = ComparisonSheet("as received", "after", pictures=copies, marks=drawn.marks, size=(400, 400))
    (row,) = compare_view(sheet, compared.stone, texts)["rows"]
    assert row["damage"]
    assert "the marked end was not seen before" in row["seen"]
    assert "the marked end estimated 80" in row["why"]


def test_numbers_of_marks_in_one_place_stand_apart(two_days: Path) -> None:
    with Book.open(two_days, read_only=True) as book:
        (stone,) = book.stones()
        sheet = comparison_sheet(book, stone, "as received", "after")
    drawn = overlay_of_changes(replace(sheet, marks=sheet.marks[:1] * 4), texts_in("en"), 1.0)
    labels = [shape for group in drawn.groups for shape in group.tag if isinstance(shape, Text)]
    assert len(labels) == 4
    for one, other in combinations(labels, 2):
        assert np.hypot(one.x - other.x, one.y - other.y) > TAG_HEIGHT * max(sheet.size) / 1000


def test_photographs_that_do_not_fit_are_no_comparison(
    two_days: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise BookError("It cannot be told how lid-5 was turned.")

    monkeypatch.setattr(two_occasions, "_registered", never)
    with Book.open(two_days, read_only=True) as book:
        (stone,) = book.stones()
        sheet = comparison_sheet(book, stone, "as received", "after")
    view = compare_view(sheet, stone, texts_in("en"))
    assert view["refused"] == Said("It cannot be told how lid-5 was turned.")
    assert view["same"]
