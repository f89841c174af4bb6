"""A book with something in every kind of table."""

from pathlib import Path

import numpy as np
from made_up import comparison, examination, line

from setstone.capture.photograph import Lamp
from setstone.measure.changes import Where
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.marking import drawn_by_hand
from setstone.record.vocabulary import Fact, FindingKind, Verdict, WorkKind


def fill(book: Book, stone: StoneEntry, white: Path) -> None:
    """Put something into every table."""
    book.add_photograph(stone, white, lamp=Lamp.WHITE)
    entry = book.save_examination(
        stone, examination(line(250), line(400)), occasion="before", white=None, blue=None, by="Ada"
    )
    book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by="Ada")
    book.redraw_candidate(entry, 2, line(410), by="Ada")
    # Its contrast is not a number, which JSON has no word for.
    spot = drawn_by_hand(entry.result, np.array([[1.0, 1.0]]), diameter_um=40)
    book.add_finding(entry, spot, kind=FindingKind.CRYSTAL, by="Ada")
    again, later = (
        book.save_examination(
            stone, examination(line(251)), occasion=occasion, white=None, blue=None, by="Bea"
        )
        for occasion in ("before", "after")
    )
    book.keep_comparison(comparison(again, later, Where.AFTER), by="Bea")
    reading = book.add_reading(
        stone, test="loupe", value="fissure", findings=[("before", 1)], details={"part": "table"}, by="Ada"
    )
    book.correct_reading(stone, reading.id, value="feather", reason="looked again", by="Bea")
    book.add_remark(stone, "old glue\nat the rim, ΣΚΟΥΡΙΑ, 石", by="Ada")
    book.state_fact(book.object(), Fact.HALLMARK, "crowned G", by="Ada")
    book.add_work(stone, WorkKind.UNSET, solvent="ethanol", by="Ada")
    book.take_work_back(stone, book.work(stone)[0].id, reason="lid-4", by="Ada")
    book.sign(stone, by="Ada")
