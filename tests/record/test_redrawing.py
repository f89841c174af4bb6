from dataclasses import replace

import numpy as np
import pytest
from made_up import examination, line

from setstone.measure.candidates import Candidate
from setstone.measure.outline import Outline
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.marking import candidate_redrawn, outline_redrawn
from setstone.record.vocabulary import FindingKind, Verdict

shapely = pytest.importorskip("shapely", reason="shapely comes with rapidocr")


def keep(book: Book, stone: StoneEntry, *candidates: Candidate) -> ExaminationEntry:
    result = examination(*candidates)
    return book.save_examination(stone, result, occasion="before", white=None, blue=None, by="Ada")


def circle(radius: float) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return 400 + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def wider(entry: ExaminationEntry, radius: float = 310) -> Outline:
    assert entry.result.outline is not None
    return outline_redrawn(entry.result.outline, circle(radius), ellipse=True)


def test_an_outline_drawn_again_gives_its_diameters_and_can_be_taken_back(
    book: Book, stone: StoneEntry
) -> None:
    entry = keep(book, stone, line(250))
    book.redraw_outline(entry, wider(entry), by="Ada")
    again = book.examination(stone)
    assert again.outline_redrawn
    assert again.result.diameters is not None
    assert again.result.diameters.mean.value == pytest.approx(620 * 4 / 1000, rel=1e-3)
    book.redraw_outline(entry, None, by="Ada")
    back = book.examination(stone)
    assert not back.outline_redrawn
    assert back.result.diameters == entry.result.diameters
    assert [j.action for j in book.journal(stone)][-2:] == ["draw again", "take drawing back"]


def test_a_candidate_drawn_again_keeps_its_number_and_its_first_form(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone, line(250), line(400))
    scale = entry.result.scale
    drawn = candidate_redrawn(entry.candidates[0].candidate, np.array([[250.0, 100], [250, 350]]), scale)
    book.redraw_candidate(entry, 1, drawn, by="Bea")
    first, second = book.examination(stone).candidates
    assert first.candidate.sizes["length"].value == pytest.approx(1.0)
    assert first.first_drawn is not None
    assert first.first_drawn.sizes["length"].value == 0.4
    assert second.first_drawn is None
    with pytest.raises(BookError, match="no candidate 7"):
        book.redraw_candidate(entry, 7, drawn, by="Bea")


def test_drawings_hold_for_the_next_examination(book: Book, stone: StoneEntry) -> None:
    entry = keep(book, stone, line(250), line(400))
    drawn = candidate_redrawn(
        entry.candidates[0].candidate, np.array([[250.0, 100], [250, 350]]), entry.result.scale
    )
    book.redraw_candidate(entry, 1, drawn, by="Bea")
    book.redraw_outline(entry, wider(entry), by="Ada")
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    again = keep(book, stone, line(400), line(250))
    assert again.outline_redrawn
    assert [c.number for c in again.candidates] == [1, 2]
    assert again.candidates[1].is_finding
    np.testing.assert_array_equal(again.candidates[1].candidate.path, drawn.path)
    assert again.candidates[1].first_drawn is not None


def test_nobody_draws_on_an_examination_that_was_made_again(book: Book, stone: StoneEntry) -> None:
    old = keep(book, stone)
    keep(book, stone)
    with pytest.raises(BookError, match="examined again since"):
        book.redraw_outline(old, wider(old), by="Ada")


def test_sizes_of_a_spot_follow_from_its_outline() -> None:
    """Area and axes against shapely and the ellipse they were made from."""
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    along, across = 30 * np.cos(angle), 10 * np.sin(angle)
    path = np.column_stack([500 + along * 0.8 - across * 0.6, 300 + along * 0.6 + across * 0.8])
    spot = replace(line(100), kind="spot", sizes={})
    scale = examination().scale
    assert scale is not None
    sizes = candidate_redrawn(spot, path, scale).sizes
    assert sizes["diameter"].value == pytest.approx(
        2 * np.sqrt(shapely.Polygon(path).area / np.pi) * scale.um_per_px
    )
    assert sizes["elongation"].value == pytest.approx(3.0, rel=1e-3)
    with pytest.raises(BookError, match="needs an area"):
        candidate_redrawn(spot, path[:2], scale)
    with pytest.raises(BookError, match="two different points"):
        candidate_redrawn(line(100), np.array([[3.0, 3.0], [3.0, 3.0]]), scale)
