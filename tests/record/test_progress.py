from dataclasses import replace
from pathlib import Path

from made_up import examination, line

from setstone.capture.photograph import Lamp
from setstone.measure.scale import Scale
from setstone.record.book import Book
from setstone.record.entries import PhotographEntry, StoneEntry
from setstone.record.progress import Progress, Stage
from setstone.record.vocabulary import FindingKind, Verdict


def one(book: Book) -> Progress:
    (found,) = book.progress()
    return found


def examined(book: Book, stone: StoneEntry, white: PhotographEntry) -> None:
    result = examination(line(250), line(400, 0.9), line(500, 0.2))
    book.save_examination(stone, result, occasion="as received", white=white.sha256, blue=None, by="Ada")


def test_a_stone_goes_from_stage_to_stage(book: Book, stone: StoneEntry, picture: Path) -> None:
    assert one(book).stage is Stage.NO_PHOTOGRAPH
    white, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE)
    assert (one(book).stage, one(book).to_examine) == (Stage.TO_EXAMINE, ("as received",))
    examined(book, stone, white)
    assert (one(book).stage, one(book).left) == (Stage.TO_REVIEW, 2)
    entry = book.examination(stone)
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    book.decide(entry, 2, Verdict.REJECTED, reason="facet edge", by="Ada")
    assert (one(book).stage, one(book).left, one(book).findings) == (Stage.REVIEWED, 0, 1)
    book.decide(entry, 2, Verdict.OPEN, by="Ada")
    assert one(book).left == 1


def test_a_signature_holds_until_something_changes(book: Book, stone: StoneEntry, picture: Path) -> None:
    white, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE)
    examined(book, stone, white)
    for number in (1, 2):
        book.decide(book.examination(stone), number, Verdict.REJECTED, reason="dust", by="Ada")
    book.sign(stone, by="Bea")
    signed = one(book)
    assert signed.stage is Stage.SIGNED
    assert signed.signature is not None
    assert signed.signature.by == "Bea"
    book.add_remark(stone, "old glue", by="Ada")
    assert one(book).stage is Stage.REVIEWED
    book.sign(stone, by="Bea")
    book.take_signature_back(stone, by="Bea")
    assert one(book).stage is Stage.REVIEWED
    assert book.signature(stone) is None


def test_a_new_photograph_asks_for_a_new_examination(
    book: Book, stone: StoneEntry, picture: Path, blue_picture: Path
) -> None:
    white, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE)
    examined(book, stone, white)
    book.add_photograph(stone, blue_picture, lamp=Lamp.BLUE)
    assert one(book).stage is Stage.TO_EXAMINE


def test_a_scale_measured_since_asks_for_a_new_examination(
    book: Book, stone: StoneEntry, picture: Path
) -> None:
    white, _ = book.add_photograph(stone, picture, lamp=Lamp.WHITE)
    examined(book, stone, white)
    scale = Scale(5.0, 0.01, "given", "500 µm between two ends set by hand")
    measured = book.correct_photograph(white, scale=scale, by="Ada")
    assert one(book).to_examine == ("as received",)
    book.correct_photograph(measured, scale="none", by="Ada")
    assert book.photographs(stone)[0].scale is None
    assert one(book).to_examine == ()
    book.correct_photograph(white, scale=scale, by="Ada")
    result = replace(examination(line(250)), scale=scale)
    book.save_examination(stone, result, occasion="as received", white=white.sha256, blue=None, by="Ada")
    assert one(book).to_examine == ()
