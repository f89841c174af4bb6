"""Whether photographs show the stone of the record, and which stone of the book they show."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import func, select

from setstone.annotate.sheet_compare import comparison_sheet
from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LIKELY, Candidate, CandidateKind, LampName
from setstone.measure.changes import Where
from setstone.measure.errors import MeasurementError
from setstone.measure.examination import Examination
from setstone.measure.fingerprint import Fingerprint
from setstone.measure.outline import Outline
from setstone.measure.same_stone import Strength
from setstone.record import identity, schema
from setstone.record.book import Book
from setstone.record.changing import compare_occasions
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.gluing import compare_glue
from setstone.record.identity import (
    compare_stone,
    draw_fingerprints,
    find_stone_of,
    fingerprint_of,
    fingerprint_of_files,
)
from setstone.record.vocabulary import FindingKind, Verdict

CENTRE, RADIUS = 150.0, 110.0
TURNS = np.linspace(0, 2 * np.pi, 90, endpoint=False)


def outline(radius: float = RADIUS) -> Outline:
    points = CENTRE + radius * np.column_stack([np.cos(TURNS), np.sin(TURNS)])
    return Outline(points, np.ones(len(points), np.bool_), 1.0)


def candidates(seed: int, lamp: LampName = "white") -> tuple[Candidate, ...]:
    rng = np.random.default_rng(seed)
    lines = []
    for _ in range(4):
        way = rng.uniform(0, 2 * np.pi)
        along = np.linspace(0, 45, 20)[:, None]
        path = CENTRE + rng.uniform(-55, 55, 2) + along * (np.cos(way), np.sin(way))
        lines.append(Candidate("line", path, lamp, 0.8, (), 20.0))
    return tuple(lines)


def examined(
    book: Book,
    stone: StoneEntry,
    seed: int,
    folder: Path,
    occasion: str = "as received",
    lamp: LampName = "white",
) -> ExaminationEntry:
    """A stone of its own facets and lines, as if it had been examined."""
    rng = np.random.default_rng(seed)
    coarse = Image.fromarray(rng.integers(60, 200, (12, 12), np.uint8)).resize(
        (300, 300), Image.Resampling.BICUBIC
    )
    noisy = np.array(coarse)[..., None] + np.random.default_rng(len(occasion)).normal(0, 3, (300, 300, 3))
    file = folder / f"{stone.position}-{seed}-{len(occasion)}_{lamp}.png"
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(file)
    entry, _ = book.add_photograph(stone, file, occasion=occasion, by="Ada")
    result = Examination(lamp, (300, 300), None, outline(), None, None, candidates(seed, lamp), None, ())
    white, blue = (entry.sha256, None) if lamp == "white" else (None, entry.sha256)
    return book.save_examination(stone, result, occasion=occasion, white=white, blue=blue, by="Ada")


def kept(book: Book) -> int:
    with book.snapshot() as connection:
        return int(connection.execute(select(func.count()).select_from(schema.fingerprints)).scalar_one())


def test_a_stone_is_found_in_the_book(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    others = [book.add_stone(book.object(), f"lid-{k}", claimed_as="ruby") for k in range(4, 8)]
    first = examined(book, stone, 1, tmp_path)
    for k, other in enumerate(others, start=2):
        examined(book, other, k, tmp_path)
    shown = fingerprint_of(book, first)
    assert "were not searched" in find_stone_of(book, shown).says  # none drawn yet
    told: list[str] = []
    assert draw_fingerprints(book, told.append) == 5
    assert told == ["lid-3", "lid-4", "lid-5", "lid-6", "lid-7"]
    assert draw_fingerprints(book) == 0
    found = find_stone_of(book, shown)
    matches = found.matches
    assert (
        "Searched among 5 stones of the book, of which fewer than 0.1 would be as alike by chance"
        in found.says
    )
    assert [m.stone for m in matches] == [stone]
    assert matches[0].occasion == "as received"
    assert matches[0].result.likelihood_ratio > 30


def test_a_stone_taken_out_is_not_found(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    shown = fingerprint_of(book, examined(book, stone, 1, tmp_path))
    draw_fingerprints(book)
    book.remove_stone(stone, by="Ada")
    found = find_stone_of(book, shown)
    assert (found.matches, found.stones) == ((), 0)


def test_the_same_stone_on_another_occasion_and_another_stone(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    examined(book, stone, 1, tmp_path)
    again = examined(book, stone, 1, tmp_path, occasion="after")
    other = examined(book, book.add_stone(book.object(), "lid-4", claimed_as="ruby"), 2, tmp_path)
    matches = compare_stone(book, stone, fingerprint_of(book, again))
    assert {m.occasion for m in matches} == {"as received", "after"}
    assert all(m.result.strength in (Strength.STRONG, Strength.SOME) for m in matches)
    (only,) = compare_stone(book, stone, fingerprint_of(book, other), occasion="after")
    assert only.result.strength in (Strength.OPEN, Strength.AGAINST)


def test_what_was_rejected_is_not_drawn(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    entry = examined(book, stone, 1, tmp_path)
    assert fingerprint_of(book, entry).findings == 4
    for number in (1, 2):
        book.decide(entry, number, Verdict.REJECTED, by="Ada", reason="facet edge")
    book.decide(entry, 3, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    assert fingerprint_of(book, book.examination(stone)).findings == 2


def test_an_outline_drawn_again_asks_for_another_fingerprint(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    entry = examined(book, stone, 1, tmp_path)
    draw_fingerprints(book)
    book.redraw_outline(entry, outline(90), by="Ada")
    assert kept(book) == 0
    assert draw_fingerprints(book) == 1


def test_what_is_decided_asks_for_another_fingerprint(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    entry = examined(book, stone, 1, tmp_path)
    draw_fingerprints(book)
    book.decide(entry, 1, Verdict.REJECTED, by="Ada", reason="facet edge")
    assert kept(book) == 0
    assert draw_fingerprints(book) == 1


def test_a_book_for_reading_only_is_left_alone(
    book: Book, stone: StoneEntry, where: Path | str, tmp_path: Path
) -> None:
    examined(book, stone, 1, tmp_path)
    with Book.open(where, read_only=True) as only:
        assert draw_fingerprints(only) == 0
    assert kept(book) == 0


def test_packing_loses_next_to_nothing() -> None:
    rng = np.random.default_rng(4)
    waves = (rng.normal(size=(4, 24, 65)) + 1j * rng.normal(size=(4, 24, 65))).astype(np.complex64)
    back = identity._unpacked(identity.packed(Fingerprint(waves, 7)))
    assert back.findings == 7
    assert np.abs(back.waves - waves).max() < np.abs(waves).max() / 120


def test_files_that_do_not_fit(tmp_path: Path) -> None:
    for name in ("one_white.png", "two_white.png"):
        Image.fromarray(np.full((300, 300, 3), 90, np.uint8)).save(tmp_path / name)
    with pytest.raises(BookError, match="two photographs under white light"):
        fingerprint_of_files([tmp_path / "one_white.png", tmp_path / "two_white.png"])
    with pytest.raises(MeasurementError, match="No stone"):
        fingerprint_of_files([tmp_path / "one_white.png"])


def test_glue_asks_for_two_occasions(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    examined(book, stone, 1, tmp_path)
    with pytest.raises(BookError, match="two occasions"):
        compare_glue(book, stone)


def test_glue_before_and_after(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    examined(book, stone, 1, tmp_path)
    examined(book, stone, 1, tmp_path, occasion="after")
    shown = compare_glue(book, stone)
    assert (shown.before, shown.after) == ("as received", "after")
    assert shown.glue.before.residue.value == pytest.approx(shown.glue.after.residue.value, abs=0.15)


def test_glue_of_photographs_too_little_alike(book: Book, stone: StoneEntry, tmp_path: Path) -> None:
    examined(book, stone, 1, tmp_path)
    examined(book, stone, 2, tmp_path, occasion="after")
    with pytest.raises(BookError, match=r"how .+ was turned"):
        compare_glue(book, stone)


def test_days_with_blue_light_alone_are_compared_but_not_their_glue(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    examined(book, stone, 1, tmp_path, lamp="blue")
    examined(book, stone, 1, tmp_path, occasion="after", lamp="blue")
    found = compare_occasions(book, stone)
    assert [one.change.where for one in found.changed] == [Where.BOTH] * 4
    assert comparison_sheet(book, stone, "as received", "after").pictures.keys() == {Lamp.BLUE}
    with pytest.raises(MeasurementError, match="Glue is compared under white light"):
        compare_glue(book, stone)


def test_days_without_a_light_in_common_are_not_compared(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    examined(book, stone, 1, tmp_path)
    examined(book, stone, 1, tmp_path, occasion="after", lamp="blue")
    with pytest.raises(BookError, match="under the same light on both"):
        compare_occasions(book, stone)


def test_what_changed_is_told_with_numbers_of_its_occasion(
    book: Book, stone: StoneEntry, tmp_path: Path
) -> None:
    first = examined(book, stone, 1, tmp_path)
    second = examined(book, stone, 1, tmp_path, occasion="after")
    found = compare_occasions(book, stone)
    assert {one.change.where for one in found.changed} == {Where.BOTH}
    assert {one.occasion for one in found.changed} == {"after"}
    assert found.residual_um is None  # no scale is known
    shown = [c.number for c in second.candidates if c.candidate.score >= LIKELY]
    assert sorted(one.entry.number for one in found.changed) == shown
    book.decide(
        first, shown[0], Verdict.REJECTED, by="Ada", reason="facet edge"
    )  # a person's word on one day changes nothing
    assert {one.change.where for one in compare_occasions(book, stone).changed} == {Where.BOTH}
    with pytest.raises(BookError, match="named twice"):
        compare_occasions(book, stone, "after", "after")


@pytest.mark.parametrize(
    ("shape", "kind"),
    [("line", FindingKind.FISSURE), ("spot", FindingKind.CHIP), ("spot", FindingKind.CRYSTAL)],
)
def test_a_new_finding_of_damage_is_possible_damage_however_it_was_scored(
    book: Book, stone: StoneEntry, tmp_path: Path, shape: CandidateKind, kind: FindingKind
) -> None:
    examined(book, stone, 1, tmp_path)
    second = examined(book, stone, 1, tmp_path, occasion="after")
    drawn = Candidate(
        shape, np.array([[100.0, 190.0], [150.0, 205.0], [148.0, 210.0]]), "white", 0.3, (), 20.0
    )
    number = book.add_finding(second, drawn, kind=kind, by="Ada").number
    first, *_ = compare_occasions(book, stone).changed
    assert (first.entry.number, first.change.where, first.change.possible_damage) == (
        number,
        Where.AFTER,
        kind is not FindingKind.CRYSTAL,  # cleaning may have made it plain
    )
